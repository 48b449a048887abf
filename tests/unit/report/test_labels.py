"""The label sheet."""

import re
import zlib
from base64 import a85decode
from collections.abc import Callable
from pathlib import Path

import pytest
from reportlab.graphics.barcode.qr import QrCodeWidget

from assistant.plan import Plan, parse_plan
from assistant.plan.vials import vials
from assistant.report.labels import SHEET_70_BY_36, Sheet, label_sheet

PLANS = Path(__file__).parents[3] / "plans"


def read(name: str, *changes: tuple[str, str]) -> Plan:
    """Read a shipped plan with pieces of its text replaced."""
    text = (PLANS / f"{name}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        text = text.replace(old, new, 1)
    return parse_plan(text.encode(), name)


def words(raw: bytes) -> list[str]:
    """Every string a PDF of reportlab prints, in order."""
    found: list[str] = []
    # Pages are the streams in ASCII85; fonts are not.
    for packed in re.findall(rb">>\s*stream\r?\n([!-z]*?)~>\s*endstream", raw):
        page = zlib.decompress(a85decode(packed))
        found += [text.decode("latin-1") for text in re.findall(rb"\((.*?)\) Tj", page)]
    return found


def pages(raw: bytes) -> int:
    """Number of pages of a PDF."""
    return len(re.findall(rb"/Type /Page\b", raw))


def test_every_vial_has_its_label() -> None:
    """Everything by which a vial is known, of all thirty, on two pages; date and initials blank."""
    plan = read("double-cone")
    raw = label_sheet(plan, vials(plan))
    shown = words(raw)
    assert pages(raw) == 2
    for each in ("Tarvolin 20 mg tablets", "Batch TV2611", "Date", "Initials"):
        assert shown.count(each) == 30
    assert [word for word in shown if word.startswith("Vial ")] == [
        f"Vial {number}" for number in range(1, 31)
    ]
    assert shown.count("middle set, port 1") == 10
    assert shown.count("WB2") == 0
    assert all(shown.count(place.code) == 3 for place in plan.locations)


def test_codes_carry_the_marks(coded: list[str]) -> None:
    """Each label's code is made from the mark of its vial, in order."""
    plan = read("bin")
    label_sheet(plan, vials(plan))
    assert coded == [vial.mark(plan.study.batch) for vial in vials(plan)]


MASKS: tuple[Callable[[int, int], bool], ...] = (
    lambda r, c: (r + c) % 2 == 0,
    lambda r, _: r % 2 == 0,
    lambda _, c: c % 3 == 0,
    lambda r, c: (r + c) % 3 == 0,
    lambda r, c: (r // 2 + c // 3) % 2 == 0,
    lambda r, c: (r * c) % 2 + (r * c) % 3 == 0,
    lambda r, c: ((r * c) % 2 + (r * c) % 3) % 2 == 0,
    lambda r, c: ((r + c) % 2 + (r * c) % 3) % 2 == 0,
)
"""The eight masks of ISO/IEC 18004."""

Modules = list[list[bool]]


def modules(text: str) -> Modules:
    """The dark modules of a label's code."""
    widget = QrCodeWidget(text, barLevel="M")
    widget.qr.make()
    size = range(widget.qr.getModuleCount())
    return [[bool(widget.qr.isDark(row, column)) for column in size] for row in size]


def codewords(code: Modules) -> list[int]:
    """Read a code of version 2, as a scanner does: format, mask, then the bits two by two."""
    size = len(code)
    marks = [code[8][c] for c in (0, 1, 2, 3, 4, 5, 7, 8)]
    marks += [code[r][8] for r in (7, 5, 4, 3, 2, 1, 0)]
    told = int("".join(str(int(mark)) for mark in marks), 2) ^ 0b101010000010010
    assert told >> 13 == 0, "error correction level M"
    mask = MASKS[told >> 10 & 7]
    bits: list[bool] = []
    pairs = [c for c in range(size - 1, 0, -2) if c > 6] + [5, 3, 1]
    for turn, right in enumerate(pairs):
        rows = range(size) if turn % 2 else range(size - 1, -1, -1)
        bits += [
            code[r][c] ^ mask(r, c)
            for r in rows
            for c in (right, right - 1)
            if not reserved(r, c, size)
        ]
    whole = len(bits) // 8 * 8
    return [int("".join(str(int(b)) for b in bits[i : i + 8]), 2) for i in range(0, whole, 8)]


def reserved(row: int, column: int, size: int) -> bool:
    """Whether a module belongs to the finder, timing, alignment or format patterns."""
    finder = (row < 9 and (column < 9 or column >= size - 8)) or (row >= size - 8 and column < 9)
    alignment = abs(row - (size - 7)) <= 2 and abs(column - (size - 7)) <= 2
    return finder or alignment or row == 6 or column == 6


def syndromes(words_read: list[int], count: int) -> list[int]:
    """Reed-Solomon syndromes over GF(256); all zero in a faultless code."""
    powers = [1]
    for _ in range(254):
        doubled = powers[-1] << 1
        powers.append(doubled ^ 0x11D if doubled & 256 else doubled)
    place = {value: exponent for exponent, value in enumerate(powers)}
    found = []
    for root in range(count):
        total = 0
        for word in words_read:
            total = (powers[(place[total] + root) % 255] if total else 0) ^ word
        found.append(total)
    return found


def test_codes_can_be_read() -> None:
    """Every code of a shipped plan is read back by a reader written from ISO/IEC 18004."""
    plan = read("v-blender")
    for vial in vials(plan):
        found = codewords(modules(vial.mark(plan.study.batch)))
        assert syndromes(found, 16) == [0] * 16
        stream = "".join(f"{word:08b}" for word in found[:28])
        assert stream[:4] == "0100", "byte mode"
        length = int(stream[4:12], 2)
        text = bytes(int(stream[12 + 8 * i : 20 + 8 * i], 2) for i in range(length))
        assert text.decode("ascii") == vial.mark(plan.study.batch)


def test_reader_sees_a_wrong_module() -> None:
    """One module turned over is noticed, so the reading above proves something."""
    plan = read("v-blender")
    code = modules(vials(plan)[0].mark(plan.study.batch))
    code[12][12] = not code[12][12]
    assert any(syndromes(codewords(code), 16))


@pytest.mark.slow
def test_same_plan_same_bytes() -> None:
    """No date and no random identity stand in the file."""
    plan = read("v-blender")
    assert label_sheet(plan, vials(plan)) == label_sheet(plan, vials(plan))
    other = read("v-blender", ("QD0388", "QD0389"))
    assert label_sheet(other, vials(other)) != label_sheet(plan, vials(plan))


def test_every_label_names_the_plan_file() -> None:
    """What is printed with a plan can be matched with the hash that stands in the record."""
    plan = read("double-cone")
    shown = words(label_sheet(plan, vials(plan), "plan 0f3a"))
    assert shown.count("PV-0417 rev 2   plan 0f3a") == 30
    assert words(label_sheet(plan, vials(plan))).count("PV-0417 rev 2") == 30


def test_full_page_starts_no_empty_one() -> None:
    """Twenty-four labels fill one page; the next begins another."""
    plan = read("double-cone")
    assert SHEET_70_BY_36.per_page == 24
    assert pages(label_sheet(plan, vials(plan)[:24])) == 1
    assert pages(label_sheet(plan, vials(plan)[:25])) == 2


def test_long_names_are_shortened_to_their_room() -> None:
    """An 80-character batch ends in dots; the code still carries the whole."""
    plan = read("double-cone", ("TV2611", "T" * 80), ('"C2"', '"WWWWWWWWWWWW"'))
    shown = words(label_sheet(plan, vials(plan)))
    batch = next(word for word in shown if word.startswith("Batch"))
    assert batch.endswith("...")
    assert len(batch) < 40
    assert any(re.fullmatch(r"W+\.\.\.", word) for word in shown)
    assert "T" * 80 in vials(plan)[0].mark(plan.study.batch)


def test_another_sheet() -> None:
    """Other stationery is a matter of its measures."""
    plan = read("bin")
    small = Sheet(columns=2, rows=5, width=90.0, height=50.0, left=10.0, top=20.0)
    assert small.per_page == 10
    assert pages(label_sheet(plan, vials(plan), sheet=small)) == 2
