"""QR codes, checked by their fixed parts (ISO/IEC 18004:2015, 6.3 and table 1)."""

import pytest

from assistant.report.qr_code import qr_rows

FINDER = ("1111111", "1000001", "1011101", "1011101", "1011101", "1000001", "1111111")


@pytest.mark.parametrize(("text", "size"), [("214-7QKD-2MXA-R", 21), ("x" * 20, 25)])
def test_the_code_is_square_with_three_finder_patterns(text: str, size: int) -> None:
    """Version 1 has 21 modules a side, each version four more; corners and timing are fixed."""
    rows = qr_rows(text)
    assert [len(row) for row in rows] == [size] * size
    for top, left in ((0, 0), (0, size - 7), (size - 7, 0)):
        assert tuple(row[left : left + 7] for row in rows[top : top + 7]) == FINDER
    assert rows[6][8:13] == "10101"
    assert [rows[size - 8][8]] == ["1"]


def test_another_text_gives_another_code() -> None:
    """And the same text the same one."""
    assert qr_rows("a") == qr_rows("a") != qr_rows("b")
