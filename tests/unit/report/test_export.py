"""What an export says of a record: who did what when, what a correction took back, what is open."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from assistant.clock import ManualClock
from assistant.conformance import FoldedEntry, retell
from assistant.errors import RecordBroken
from assistant.grammar.language import parse_grammar
from assistant.plan import parse_plan
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Meaning
from assistant.report import export as module
from assistant.report.export import SCHEMA_FILE, Export, Sample, schema, to_json
from assistant.report.export_collect import Collector
from assistant.report.export_tables import tables
from assistant.storage import bundled_files
from assistant.testing import Departure, quick_record
from tests.dialogue import full
from tests.memory_journal import MemoryJournal

GRAMMAR = bundled_files.read_grammar("en")
CONE = full("double-cone").split(b"[[locations]]")
SMALL = b"[[locations]]".join(CONE[:3])
WEIGHED = SMALL + (
    b'[weighing]\nbalance = "BAL-2"\nreadability_mg = 0.1\nminimum_mg = 82.0\n'
    if b"[weighing]" not in SMALL
    else b""
)


def told_of(
    *departures: Departure, plan: bytes = SMALL, until: State | None = None
) -> list[FoldedEntry]:
    """A record made in memory, told again."""
    journal = MemoryJournal()
    clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
    quick_record(journal, clock, plan, GRAMMAR, departures=departures, until=until)
    language = parse_grammar(GRAMMAR, "en")
    return list(retell(journal.lines(), parse_plan(plan, "plan"), language))


def export_of(*departures: Departure, plan: bytes = SMALL, until: State | None = None) -> Export:
    """Its export."""
    collector = Collector(parse_plan(plan, "plan"))
    faults = collector.collect(told_of(*departures, plan=plan, until=until))
    return collector.export(faults, ())


def took_back(state: State, visit: int) -> Departure:
    """The operator corrects himself in a state."""
    return Departure(state, Meaning(intent=Intent.CORRECTION), visit=visit)


def said(export: Export, words: str) -> list[int]:
    """Numbers of the entries in which something was said."""
    return [e.seq for e in export.entries if e.event.get("text") == words]


def seqs(sample: Sample) -> dict[str, int]:
    """In which entry each thing was done to a vial."""
    marks = {name: getattr(sample, name) for name in ("taken", "emptied", "weighed", "voided")}
    return {name: moment.seq for name, moment in marks.items() if moment is not None}


def test_the_published_schema_is_the_models() -> None:
    """The file inside the package is what the models say now."""
    path = Path(module.__file__).with_name(SCHEMA_FILE)
    assert path.read_text("utf-8") == schema(), (
        f"write it anew: python -c 'from assistant.report.export import schema; "
        f'print(schema(), end="")\' > {path.name}'
    )


def test_json_holds_every_field() -> None:
    """Also those that say nothing, so that a reader need not guess."""
    told = json.loads(to_json(export_of(until=State.WITHDRAWING)))
    assert set(told) == set(Export.model_fields)
    assert told["session"]["ended"] is None
    assert told["samples"][0]["mass_mg"] == ""


def test_each_vial_knows_when_it_was_taken_and_emptied() -> None:
    """By the entries in which the port was closed and the die pushed out."""
    export = export_of()
    closed = [said(export, f"{which} closed again")[0] for which in ("bottom", "middle", "top")]
    full = [said(export, f"vial {which} full")[0] for which in ("one", "two", "three")]
    for sample, taken, emptied in zip(export.samples, closed, full, strict=False):
        assert seqs(sample) == {"taken": taken, "emptied": emptied}
    assert export.session.opened is not None
    assert export.session.ended is not None
    assert export.session.ended.seq == len(export.entries)


def test_what_was_corrected_counts_from_its_last_time() -> None:
    """A vial said full and taken back is emptied when it is said again; taken stays what it was."""
    export = export_of(took_back(State.EMPTYING_DIES, 2))
    first, again = said(export, "vial one full")
    assert again > first
    closed = said(export, "bottom closed again")[0]
    assert seqs(export.samples[0]) == {"taken": closed, "emptied": again}


def test_a_closing_taken_back_leaves_nothing() -> None:
    """Until the port is closed anew, nothing was taken."""
    opened_again = export_of(took_back(State.RAISING, 1), until=State.RAISING)
    assert {sample.status for sample in opened_again.samples} == {"planned", "taken"}
    export = export_of(took_back(State.RAISING, 1))
    first, again = said(export, "bottom closed again")[:2]
    assert first < again
    assert seqs(export.samples[0])["taken"] == again


def test_a_weight_is_timed_and_can_be_taken_back() -> None:
    """The mass on record is the last one affirmed."""
    plain = export_of(plan=WEIGHED)
    assert all(seqs(s)["weighed"] > seqs(s)["emptied"] for s in plain.samples)
    assert all(float(s.mass_mg) > 300 for s in plain.samples)
    corrected = export_of(took_back(State.EMPTYING_DIES, 2), plan=WEIGHED)
    assert seqs(corrected.samples[0])["weighed"] > seqs(plain.samples[0])["weighed"]
    assert float(corrected.samples[0].mass_mg) > 300


OVERRUN = Departure(State.FILLING, 45.0, visit=2)


@pytest.mark.parametrize(
    ("intent", "status", "vials"),
    [
        (Intent.DEVIATION_ACCEPTED, "accepted", 6),
        (Intent.SAMPLES_VOIDED, "void", 6),
        (Intent.INSERTION_REPEATED, "repeat", 9),
    ],
)
def test_a_deviation_has_its_end(intent: Intent, status: str, vials: int) -> None:
    """Who disposed of it, when, why; what became of the vials it touched."""
    export = export_of(OVERRUN, Departure(State.DISPOSING, Meaning(intent=intent)))
    (deviation,) = [d for d in export.deviations if d.number == 1]
    assert (deviation.kind, deviation.detail, deviation.location) == ("overrun", "middle", "C2")
    assert (deviation.status, deviation.reason) == (status, "seen and judged by the supervisor")
    assert deviation.disposed is not None
    assert deviation.disposed.seq > deviation.raised.seq
    touched = [sample for sample in export.samples if 1 in sample.deviations]
    assert [sample.vial for sample in touched] == list(deviation.vials)
    assert len(export.samples) == vials
    assert export.totals["vials-listed"] == vials
    assert export.totals[f"deviations-{status}"] == 1
    if status == "void":
        assert [sample.status for sample in touched] == ["void"] * len(touched)
        assert all("voided" in seqs(sample) for sample in touched)


def test_a_voided_vial_keeps_its_weight() -> None:
    """Void never means deleted: mass and the time of weighing stay what they were."""
    void = Departure(State.DISPOSING, Meaning(intent=Intent.SAMPLES_VOIDED))
    before, after = export_of(OVERRUN, plan=WEIGHED), export_of(OVERRUN, void, plan=WEIGHED)
    assert after.samples[1].status == "void"
    assert after.samples[1].mass_mg == before.samples[1].mass_mg != ""
    assert after.samples[1].weighed == before.samples[1].weighed
    assert seqs(after.samples[1])["voided"] > seqs(after.samples[1])["weighed"]


def test_a_disposal_taken_back_is_open_again() -> None:
    """Time, person and reason of the first disposal are gone with it; both stand in the entries."""
    void = Departure(State.DISPOSING, Meaning(intent=Intent.SAMPLES_VOIDED))
    export = export_of(OVERRUN, void, took_back(State.SIGNING, 1), took_back(State.DISPOSING, 2))
    (deviation,) = export.deviations
    assert deviation.disposed is not None
    assert deviation.status == "accepted"
    first = said(export, "void the samples")[0]
    assert deviation.disposed.seq > first
    assert all("voided" not in seqs(sample) for sample in export.samples)


def test_a_deviation_taken_back_is_withdrawn() -> None:
    """It keeps its number and names no vial any more."""
    short = Departure(State.EMPTYING_DIES, Meaning(intent=Intent.VIAL_SHORT, vial=1))
    export = export_of(short, took_back(State.EMPTYING_DIES, 2))
    (deviation,) = export.deviations
    assert (deviation.kind, deviation.status) == ("short-die", "withdrawn")
    assert export.totals["deviations-withdrawn"] == 1
    assert export.samples[0].status == "full"
    assert all(sample.deviations == () for sample in export.samples)


def test_entries_may_be_left_out() -> None:
    """For who needs only the vials of a very long record."""
    collector = Collector(parse_plan(SMALL, "plan"))
    assert collector.collect(told_of(), entries=False) == []
    export = collector.export([], ())
    assert export.entries == ()
    assert export.condition == "whole"


def test_it_goes_as_far_as_the_record_holds() -> None:
    """What breaks it is one sentence; what stood before is exported, as damaged."""

    def broken() -> Iterator[FoldedEntry]:
        yield from told_of()[:12]
        raise RecordBroken("Entry 13 is not sound.")

    collector = Collector(parse_plan(SMALL, "plan"))
    faults = collector.collect(broken())
    assert faults == ["Entry 13 is not sound."]
    export = collector.export(faults, ())
    assert (export.condition, len(export.entries)) == ("damaged", 12)
    assert b"damaged" in tables(export)["samples.csv"]


def test_numbers_stay_numbers_in_a_spreadsheet() -> None:
    """A sign in front of a number is no formula; in front of words it is kept from being one."""
    remark = Departure(State.OPENING, Meaning(intent=Intent.NOTE_SPILL))
    export = export_of(remark)
    (deviation,) = export.deviations
    for text, shown in (("-5.2", b",-5.2,"), ("-cmd", b",'-cmd,"), ("@x", b",'@x,")):
        other = deviation.model_copy(update={"reason": text})
        made = tables(export.model_copy(update={"deviations": (other,)}))["deviations.csv"]
        assert shown in made
