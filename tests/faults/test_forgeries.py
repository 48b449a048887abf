"""The README's table of forgeries is what the program answers."""

import shutil

import pytest

from tests.faults.forgeries import ANCHORS, FORGERIES, README, STAMPED_ANEW, results, table_of


def shown() -> str:
    """Return the table of the README."""
    return README.read_text("utf-8").split("<!-- forgeries -->")[1].split("<!-- end")[0].strip()


def test_every_forgery_is_in_the_table() -> None:
    """Thirty kinds and more."""
    assert len(FORGERIES) >= 30
    assert all(f"| {what} |" in shown() for what in FORGERIES), "python -m tests.faults.forgeries"


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("openssl") is None, reason="needs openssl")
def test_the_table_is_what_verify_answers() -> None:
    """What stands at the end catches everything; the genuine record is refused by nothing.

    A time stamp is no proof against whoever has the forged record stamped anew: then the delay is
    all that is seen.
    """
    found = results()
    assert shown() == table_of(found), "python -m tests.faults.forgeries"
    genuine = found.pop("none: the genuine record")
    assert set(genuine.values()) == {"-"}
    for what, answer in found.items():
        assert {answer[anchor] for anchor in ANCHORS[2:-1]} == {"caught"}, what
        anew = what.endswith(STAMPED_ANEW)
        assert answer["time stamp"] == ("pointed out" if anew else "caught"), what
