"""The session sheet: what stands on the pages, and codes that a scanner can read."""

import re
import zlib
from base64 import a85decode
from datetime import UTC, datetime
from functools import cache

import pytest

from assistant.clock import ManualClock
from assistant.conformance import retell
from assistant.grammar.language import parse_grammar
from assistant.plan import parse_plan
from assistant.plan.vials import vials
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


def test_every_vial_has_the_code_of_its_label(coded: list[str]) -> None:
    """The head first, then the six vials as `labels` prints them before the session."""
    export = export_of()
    printed(export)
    plan = parse_plan(SMALL, "plan")
    assert coded[1:] == [vial.mark("TV2611") for vial in vials(plan)]
    assert coded[1:] == [label_code(export, sample) for sample in export.samples]


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
    assert coded[0] == f"{export.head.code} {export.head.hash}"
    assert f"Head code {export.head.code} of entry {export.head.seq}" in shown
    coded.clear()
    printed(export.model_copy(update={"head": None, "samples": ()}))
    assert coded == []


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
        ("typed", "typed without a microphone"),
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
