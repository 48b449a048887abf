"""The session sheet: what stands on the pages, and codes that a scanner can read."""

import re
import zlib
from base64 import a85decode
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import cache

import pytest

from assistant.clock import ManualClock
from assistant.conformance import retell
from assistant.grammar.language import parse_grammar
from assistant.plan import parse_plan
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Heard, Meaning
from assistant.report import session_sheet as module
from assistant.report.export import Export
from assistant.report.export_collect import Collector
from assistant.report.export_tables import tables
from assistant.report.session_sheet import session_sheet
from assistant.report.sheet_labels import label_code, label_table
from assistant.storage import bundled_files
from assistant.testing import Departure, quick_record
from tests.dialogue import full
from tests.memory_journal import MemoryJournal

GRAMMAR = bundled_files.read_grammar("en")
CONE = full("double-cone").split(b"[[locations]]")
SMALL = b"[[locations]]".join(CONE[:3])


@cache
def export_of(
    departures: tuple[Departure, ...] = (), until: State | None = None, plan: bytes = SMALL
) -> Export:
    """An export of a record made in memory."""
    journal = MemoryJournal()
    clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
    quick_record(journal, clock, plan, GRAMMAR, departures=departures, until=until)
    read = parse_plan(plan, "plan")
    collector = Collector(read)
    told = retell(journal.lines(), read, parse_grammar(GRAMMAR, "en"))
    return collector.export(collector.collect(told), ())


def pages(raw: bytes) -> list[bytes]:
    """What is drawn on each page."""
    found = re.findall(rb"ASCII85Decode.*?stream\r?\n(.*?)endstream", raw, re.DOTALL)
    return [zlib.decompress(a85decode(packed.strip().removesuffix(b"~>"))) for packed in found]


def words(page: bytes) -> str:
    """What is printed on a page."""
    pieces = re.findall(rb"\(((?:\\.|[^\\)])*)\) Tj", page)
    text = " ".join(piece.decode("latin-1") for piece in pieces)
    return " ".join(re.sub(r"\\([()\\])", r"\1", text).split())


def printed(export: Export) -> str:
    """Everything printed on the sheet of an export."""
    return " ".join(words(page) for page in pages(session_sheet(export)))


# ISO/IEC 15417 (from memory): widths of bars and spaces of the symbols 0 to 106, in modules.
WIDTHS = (
    "212222 222122 222221 121223 121322 131222 122213 122312 132212 221213 221312 231212 "
    "112232 122132 122231 113222 123122 123221 223211 221132 221231 213212 223112 312131 "
    "311222 321122 321221 312212 322112 322211 212123 212321 232121 111323 131123 131321 "
    "112313 132113 132311 211313 231113 231311 112133 112331 132131 113123 113321 133121 "
    "313121 211331 231131 213113 213311 213131 311123 311321 331121 312113 312311 332111 "
    "314111 221411 431111 111224 111422 121124 121421 141122 141221 112214 112412 122114 "
    "122411 142112 142211 241211 221114 413111 241112 134111 111242 121142 121241 114212 "
    "124112 124211 411212 421112 421211 212141 214121 412121 111143 111341 131141 114113 "
    "114311 411113 411311 113141 114131 311141 411131 211412 211214 211232 2331112 "
)
SYMBOLS = WIDTHS.split()
CODE_C, CODE_B, START_B, START_C = 99, 100, 104, 105

Bar = tuple[float, float]


def bars(page: bytes) -> list[list[Bar]]:
    """Left edge and width of the bars of each code on a page."""
    codes: list[list[Bar]] = []
    for x, width in re.findall(rb"\nn ([\d.]+) 0 ([\d.]+) [\d.]+ re f", page):
        bar = (float(x), float(width))
        if not codes or bar[0] <= codes[-1][-1][0]:
            codes.append([])
        codes[-1].append(bar)
    return codes


def scan(code: Sequence[Bar]) -> str:
    """Read a Code 128 from its bars, as a scanner does; AssertionError where it is none."""
    module = min(width for _, width in code)
    widths: list[int] = []
    for (left, width), after in zip(code, [*code[1:], None], strict=True):
        widths.append(round(width / module))
        if after is not None:
            widths.append(round((after[0] - left - width) / module))
    stop, body = "".join(map(str, widths[-7:])), widths[:-7]
    assert stop == SYMBOLS[-1]
    values = [
        SYMBOLS.index("".join(map(str, body[index : index + 6])))
        for index in range(0, len(body), 6)
    ]
    start, *data, check = values
    assert check == (start + sum(n * v for n, v in enumerate(data, start=1))) % 103
    text, paired = "", start == START_C
    assert paired or start == START_B
    for value in data:
        if value in (CODE_B, CODE_C) and (value == CODE_C) != paired:
            paired = not paired
        else:
            text += f"{value:02d}" if paired else chr(value + 32)
    return text


def test_every_vial_has_a_code_that_can_be_read() -> None:
    """Batch and vial number of all six, read back from what is drawn by a reader of our own."""
    export = export_of()
    found = [scan(code) for page in pages(session_sheet(export)) for code in bars(page)]
    assert found == [label_code(export, sample) for sample in export.samples]
    assert found == [f"TV2611|{number}" for number in range(1, 7)]


def test_the_reader_sees_a_wrong_bar() -> None:
    """The twin: one bar a module wider is no code any more."""
    (code, *_) = (code for page in pages(session_sheet(export_of())) for code in bars(page))
    module = min(width for _, width in code)
    left, width = code[4]
    with pytest.raises((AssertionError, ValueError)):
        scan([*code[:4], (left, width + module), *code[5:]])


@pytest.mark.parametrize("batch", ["A", "Batch 7/26-b (rework)", "0123456789012345"])
def test_other_batches_can_be_read_too(batch: str) -> None:
    """Short ones, punctuation, and digits that the code packs in pairs."""
    export = export_of(plan=SMALL.replace(b"TV2611", batch.encode()))
    found = [scan(code) for page in pages(session_sheet(export)) for code in bars(page)]
    assert found == [f"{batch}|{number}" for number in range(1, 7)]


def test_a_label_says_what_the_code_does_not() -> None:
    """Location, position, port, depth, what came of it, when, and by whom."""
    export = export_of()
    text = words(pages(session_sheet(export))[-1])
    assert "Label data" in text
    sample = export.samples[1]
    assert sample.emptied is not None
    when = f"{sample.emptied.utc[:10]} {sample.emptied.utc[11:19]} UTC"
    assert (
        f"Vial 2 C2 Tarvolin 20 mg tablets, batch TV2611 middle set, port 1, {sample.depth_mm} mm "
        f"in, full {when}, {sample.emptied.by}"
    ) in text


def test_without_a_sample_there_is_no_label() -> None:
    """A session that broke off before the first vial has none to stick anywhere."""
    export = export_of(until=State.WITHDRAWING)
    assert label_table(export, 500.0) is None
    assert "Label data" not in printed(export)


def test_labels_of_voided_and_doubtful_vials() -> None:
    """A void vial bears the word; where no time is known, that is said; a mass is shown."""
    export = export_of()
    first, second, third, *rest = export.samples
    void = first.model_copy(update={"status": "void"})
    bare = second.model_copy(update={"taken": None, "emptied": None, "mass_mg": "401.5"})
    early = third.model_copy(update={"emptied": None})
    made = export.model_copy(update={"samples": (void, bare, early, *rest)})
    text = printed(made)
    assert "VOID Vial 1 C2" in text
    assert "full, 401.5 mg time unknown," in text
    assert third.taken is not None
    assert f"{third.taken.utc[11:19]} UTC, Mira Oostveld" in text


def test_a_long_course_is_cut_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    """The rest is in the tables and in JSON."""
    export = export_of()
    assert "more entries" not in printed(export)
    monkeypatch.setattr(module, "MOST_ENTRIES", 50)
    left = len(export.entries) - 50
    assert f"{left} more entries are in the tables and the JSON export." in printed(export)


def test_doubt_and_refusal_are_seen_in_the_course() -> None:
    """What was heard but not accepted stands there with the decision."""
    doubt = Heard(source="voice", text="dies are seated", decision="refuse", reason="unclear")
    export = export_of.__wrapped__(departures=(Departure(State.SEATING, doubt),))
    assert "heard: dies are seated (refuse)" in printed(export)


def test_an_empty_record_has_a_sheet() -> None:
    """Nothing could be proved: the sheet says so on its page."""
    export = Collector(parse_plan(SMALL, "plan")).export(["Entry 1 is not sound."], ())
    text = printed(export)
    assert "no entry could be proved" in text
    assert "Does not hold: Entry 1 is not sound." in text
    assert "DAMAGED" in text


def test_a_repeated_location_says_which_attempt() -> None:
    """The second time the sampler went in is told apart from the first."""
    overrun = Departure(State.FILLING, 45.0, visit=2)
    again = Departure(State.DISPOSING, Meaning(intent=Intent.INSERTION_REPEATED))
    export = export_of(departures=(overrun, again))
    assert {sample.attempt for sample in export.samples} == {1, 2}
    assert "C2 (attempt 2)" in printed(export)


def test_the_head_is_there_for_a_scanner(coded: list[str]) -> None:
    """Code and hash of the last entry, in one symbol and in words; none of an empty record."""
    export = export_of()
    shown = printed(export)
    assert export.head is not None
    assert coded == [f"{export.head.code} {export.head.hash}"]
    assert f"Head code {export.head.code} of entry {export.head.seq}" in shown
    printed(export.model_copy(update={"head": None}))
    assert len(coded) == 1


def test_pages_are_counted_and_samples_reconciled() -> None:
    """Each page says which it is and of how many; nothing planned or taken is left out."""
    export = export_of()
    each = [words(page) for page in pages(session_sheet(export))]
    for number, text in enumerate(each, start=1):
        assert f"page {number} of {len(each)}" in text
    assert "samples planned: 6; samples taken: 6; samples full: 6" in each[0]
    early = printed(export_of(until=State.EMPTYING_DIES))
    assert "samples planned: 6; samples taken: 3; samples full: 0" in early
    assert "samples still in the sampler: 3" in early


def test_every_page_and_row_says_what_is_no_live_session() -> None:
    """A rehearsal, or a record that does not say; a live one has no such line."""
    rehearsed = export_of()
    session = rehearsed.session
    for kind, mark in (
        ("rehearsal", "rehearsal"),
        ("", "not on record whether live or a rehearsal"),
        ("live", "live"),
    ):
        export = rehearsed.model_copy(update={"session": session.model_copy(update={"kind": kind})})
        for page in pages(session_sheet(export)):
            assert (f"SESSION: {mark.upper()}" in words(page)) == (kind != "live")
        for name, raw in tables(export).items():
            first, *rows = raw.decode("utf-8-sig").splitlines()
            if name != "about.csv":
                assert first.startswith("condition,session,")
                assert all(row.startswith(f"whole,{mark},") for row in rows)
