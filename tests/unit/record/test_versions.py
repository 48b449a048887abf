"""A record is intact or not; that a later version derives other numbers is another statement."""

from collections.abc import Callable
from pathlib import Path

import pytest
from pydantic import JsonValue

from assistant import conformance
from assistant.cli import main
from assistant.clock import ManualClock
from assistant.conformance import retell
from assistant.errors import RecordBroken
from assistant.grammar import parse_grammar
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.plan import parse_plan
from assistant.ports import Instant
from assistant.storage import bundled_files
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder
from assistant.testing import quick_record

PLAN = b"[[locations]]".join(bundled_files.read_plan("double-cone").split(b"[[locations]]")[:2])
GRAMMAR = bundled_files.read_grammar("en")


@pytest.fixture
def record(tmp_path: Path) -> Path:
    """A closed record, written by this version."""
    with RecordFolder.create(tmp_path / "r", PLAN, GRAMMAR) as folder:
        quick_record(folder, ManualClock(), PLAN, GRAMMAR)
    return tmp_path / "r"


@pytest.mark.usefixtures("record", "coarse_geometry")
def test_another_version_reports_both_numbers(
    record: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The record is intact; the difference is named with its entry and both numbers; exit 0."""
    monkeypatch.setattr(conformance, "PRESENT", "sampling-assistant 9.9")
    assert main(["verify", str(record)]) == 0
    shown = capsys.readouterr().out
    assert "numbers otherwise. The versions differ; this says nothing against the record" in shown
    assert "enter, depth: recorded 785, derived 780" in shown


@pytest.mark.usefixtures("record", "coarse_geometry")
def test_the_same_version_stays_broken(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing explains another number there."""
    assert main(["verify", str(record)]) == 1
    assert "claims effects that the procedure does not ask for" in capsys.readouterr().err


def test_the_version_that_wrote_it_is_named(
    record: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """And that this one derives the same."""
    assert main(["verify", str(record)]) == 0
    assert f"written by {conformance.PRESENT}; re-derived by" in capsys.readouterr().out


Outcome = dict[str, JsonValue]
CHANGES: dict[str, Callable[[Outcome], Outcome]] = {
    "state": lambda made: {**made, "state": "closed"},
    "no list": lambda made: {**made, "effects": None},
    "one effect more": lambda made: {**made, "effects": [*_list(made), {"do": "close"}]},
    "no object": lambda made: {**made, "effects": ["say"]},
    "another field": lambda made: _said(made, {"urgent": 1}),
    "another prompt": lambda made: _said(made, {"prompt": "close"}),
    "text alone": lambda made: _said(made, {"text": "Insert quickly."}),
    "a number as text": lambda made: _said(made, {"slots": {"depth": "785"}}),
}


def _list(made: Outcome) -> list[JsonValue]:
    effects = made["effects"]
    assert isinstance(effects, list)
    return effects


def _said(made: Outcome, change: dict[str, JsonValue]) -> Outcome:
    (said,) = _list(made)
    assert isinstance(said, dict)
    return {**made, "effects": [{**said, **change}]}


def resealed(record: Path, change: Callable[[Outcome], Outcome]) -> list[bytes]:
    """The record as another version wrote it, the outcome before entering changed."""
    last: Entry | None = None
    lines = []
    for entry in read(RecordReader(record).lines()):
        event, outcome = dict(entry.event), dict(entry.outcome)
        if entry.seq == 1:
            event["software"] = "sampling-assistant 0.0.9"
        if outcome["state"] == "entering":
            outcome = change(outcome)
        at = Instant(entry.utc, int(entry.mono))
        last = seal(last, at=at, boot=entry.boot, by=entry.by, event=event, outcome=outcome)
        lines.append(line(last)[:-1])
    return lines


def test_only_numbers_may_differ_between_versions(record: Path) -> None:
    """Any other change is refused, with the advice to ask the version that wrote it."""
    plan, language = parse_plan(PLAN, "plan"), parse_grammar(GRAMMAR, "en")
    for name, change in CHANGES.items():
        with pytest.raises(RecordBroken, match=r"verify it with that version") as broken:
            list(retell(resealed(record, change), plan, language))
        assert str(broken.value).startswith("Entry "), name
    told = list(
        retell(resealed(record, lambda made: _said(made, {"slots": {"depth": 1}})), plan, language)
    )
    (difference,) = [each for one in told for each in one.differences]
    assert (difference.what, difference.recorded, difference.derived) == (
        "enter, depth",
        "1",
        "785",
    )
    assert difference.software == "sampling-assistant 0.0.9"
