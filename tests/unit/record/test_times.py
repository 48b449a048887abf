"""The wall clock of a record against its steady clock, within a start and across starts."""

from collections.abc import Iterable
from datetime import UTC, datetime, timedelta

import pytest

from assistant.clock import BUILT
from assistant.conformance import PRESENT, FoldedEntry
from assistant.journal.chain import seal
from assistant.plan import parse_plan
from assistant.ports import Instant
from assistant.procedure.events import AudioLost, ClockStepped, Event, Opened, Resumed, dump
from assistant.procedure.machine import Outcome
from assistant.procedure.model import begin
from assistant.record.times import Times
from assistant.storage.bundled_files import read_plan

START = datetime(2026, 3, 4, 8, tzinfo=UTC)
SESSION = begin(parse_plan(read_plan("double-cone"), "plan"))
LOST = AudioLost(milliseconds=1)

Moment = tuple[str, float, float, Event]
"""Start of the program, seconds of the steady clock, seconds of the wall clock, what happened."""


def followed(moments: Iterable[Moment]) -> Times:
    """Return what was found in a record with these moments."""
    times, last = Times(), None
    for boot, steady, wall, event in moments:
        utc = (START + timedelta(seconds=wall)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        at = Instant(utc, round(steady * 1e9))
        last = seal(last, at=at, boot=boot, by="Ada", event=dump(event), outcome={})
        times.note(FoldedEntry(last, event, Outcome(SESSION, (), advanced=False)))
    times.end()
    return times


def stepped(seconds: float) -> ClockStepped:
    """Return a step that the session noticed."""
    return ClockStepped(seconds=f"{seconds:.3f}")


def test_clocks_that_agree_raise_no_doubt() -> None:
    """Also when the machine was started anew and its steady clock with it."""
    moments: list[Moment] = [("a", 100.0 + n, n + 0.01 * n, LOST) for n in range(100)]
    later: list[Moment] = [("b", 5.0 + n, 7200.0 + n, LOST) for n in range(10)]
    assert followed([*moments, *later]).doubtful == 0


def test_a_step_on_record_explains_itself_and_what_came_just_before() -> None:
    """An entry may be written between the step and its being noticed."""
    moments: list[Moment] = [
        ("a", 0.0, 0.0, LOST),
        ("a", 1.0, 3601.0, LOST),
        ("a", 1.1, 3601.1, stepped(3600)),
    ]
    assert followed([*moments, ("a", 2.0, 3602.0, LOST)]).doubtful == 0


@pytest.mark.parametrize("step", [3600.0, -3600.0, 3.0])
def test_a_step_that_is_not_on_record_is_pointed_out(step: float) -> None:
    """From the entry on where it shows; a step of another size explains nothing."""
    moments: list[Moment] = [("a", 0.0, 0.0, LOST), ("a", 1.0, 1.0 + step, LOST)]
    found = followed(moments)
    assert (found.doubtful, [d.seq for d in found.doubts]) == (1, [2])
    assert str(found.doubts[0]) == (
        f"entry 2: UTC differs from the steady clock by {abs(step):.1f} s"
    )
    assert followed([*moments, ("a", 1.1, 1.1 + step, stepped(step + 60))]).doubtful == 1


def test_a_clock_that_creeps_is_pointed_out() -> None:
    """Though no two entries differ by much; twenty are kept, all are counted."""
    found = followed([("a", float(n), n * 1.1, LOST) for n in range(100)])
    assert found.doubtful == 100 - 26
    assert [d.seq for d in found.doubts] == list(range(27, 47))


def resumed(machine: str) -> Resumed:
    """Return the event of a start of the program on a machine that was started then."""
    return Resumed(software="s", engine="e", microphone="m", speaker="s", machine_boot=machine)


@pytest.mark.parametrize(
    ("machines", "ahead", "noticed", "doubtful"),
    [
        (("m1", "m1"), 0.0, False, 0),
        (("m1", "m1"), 63_072_000.0, False, 10),
        (("m1", "m1"), 63_072_000.0, True, 0),
        (("m1", "m1"), -63_072_000.0, True, 0),
        (("m1", "m2"), 63_072_000.0, False, 0),
        (("", ""), 63_072_000.0, False, 0),
    ],
)
def test_a_clock_set_between_two_starts_shows_while_the_machine_runs_on(
    machines: tuple[str, str], ahead: float, doubtful: int, *, noticed: bool
) -> None:
    """By years; a machine that was started anew has another steady clock, which tells nothing."""
    first, second = machines
    moments: list[Moment] = [("a", 100.0, 0.0, resumed(first)), ("a", 160.0, 60.0, LOST)]
    moments.append(("b", 200.0, 100.0 + ahead, resumed(second)))
    if noticed:
        moments.append(("b", 200.1, 100.1 + ahead, stepped(ahead)))
    later: list[Moment] = [("b", 201.0 + n, 101.0 + n + ahead, LOST) for n in range(9)]
    assert followed([*moments, *later]).doubtful == doubtful


def test_a_clock_set_back_between_two_starts_is_pointed_out() -> None:
    """Unless the session noticed when it began."""
    moments: list[Moment] = [("a", 0.0, 9000.0, LOST), ("b", 5.0, 1800.0, LOST)]
    assert [str(d) for d in followed(moments).doubts] == ["entry 2: UTC runs back by 7200.0 s"]
    assert followed([*moments, ("b", 5.1, 1800.1, stepped(-7199.9))]).doubtful == 0
    assert followed([*moments, ("b", 5.1, 1800.1, stepped(-60))]).doubtful == 1


def test_a_record_from_the_future_is_pointed_out() -> None:
    """By its last entry."""
    found = followed([("a", 0.0, 0.0, LOST)])
    found.compare("2026-03-04T08:00:00.500000Z")
    assert found.doubtful == 0
    found.compare("2026-03-04T07:00:00.000000Z")
    assert [str(d) for d in found.doubts] == ["entry 1: UTC is ahead of now by 3600.0 s"]


def test_a_live_session_before_the_program_was_built_is_pointed_out() -> None:
    """Unless its wrong clock is on record; a rehearsal may be at any time."""
    live = Opened(
        software=PRESENT,
        plan_sha256="",
        grammar_sha256="",
        operator="Ada",
        engine="phones",
        microphone="m",
        speaker="s",
        kind="live",
    )
    early = (datetime.fromisoformat(BUILT) - START).total_seconds()
    told = followed([("a", 0.0, 0.0, live)])
    assert [str(d) for d in told.doubts] == [
        f"entry 1: UTC is before the program was built, by {early:.1f} s"
    ]
    assert followed([("a", 0.0, 0.0, live), ("a", 0.1, 0.1, stepped(-early))]).doubtful == 0
    for other in ({"kind": "rehearsal"}, {"software": "sampling-assistant 0.0.1"}):
        assert followed([("a", 0.0, 0.0, live.model_copy(update=other))]).doubtful == 0
    assert followed([("a", 0.0, early + 1, live)]).doubtful == 0
