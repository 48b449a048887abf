"""Timers, the end of a remark, and what is watched beside the work."""

from datetime import UTC, datetime, timedelta

import pytest

from assistant.clock import BUILT, ManualClock, SystemClock
from assistant.ports import Instant
from assistant.procedure.effects import StartTimer
from assistant.procedure.enums import Timer
from assistant.procedure.events import ClockStepped, NoiseRose, TimerRang
from assistant.session.monitors import (
    ClockWatch,
    NoiseWatch,
    RemarkWatch,
    Timers,
    clock_behind,
    clock_moved,
)

START = datetime(2026, 3, 4, 8, tzinfo=UTC)


def moment(seconds: float, stepped: float = 0.0) -> Instant:
    """Return a moment by both clocks, the wall clock off by some seconds."""
    wall = START + timedelta(seconds=seconds + stepped)
    return Instant(wall.strftime("%Y-%m-%dT%H:%M:%S.%fZ"), round(seconds * 1e9))


def test_timers_ring_once_and_in_order() -> None:
    """The earliest first, each with its number."""
    timers = Timers()
    assert timers.left_s(0) is None
    timers.start(StartTimer(Timer.FILL_OVERRUN, 3000, 4), 0)
    timers.start(StartTimer(Timer.FILL_REACHED, 1000, 4), 0)
    assert timers.left_s(500_000_000) == pytest.approx(0.5, abs=1e-9)
    assert timers.due(999_999_999) == []
    assert timers.due(5_000_000_000) == [
        TimerRang(timer=Timer.FILL_REACHED, generation=4),
        TimerRang(timer=Timer.FILL_OVERRUN, generation=4),
    ]
    assert timers.due(9_000_000_000) == []


def test_stopped_timers_do_not_ring() -> None:
    """All are forgotten."""
    timers = Timers()
    timers.start(StartTimer(Timer.SHAKE_OFF_REACHED, 1000, 4), 0)
    timers.stop()
    assert timers.due(5_000_000_000) == []


def blocks(watch: RemarkWatch, level: float, seconds: float) -> float | None:
    """Feed blocks of one level; return after how many seconds it was over, if it was."""
    for number in range(round(seconds / 0.05)):
        if watch.over(level, -60.0):
            return (number + 1) * 0.05
    return None


def test_a_remark_is_over_after_a_pause() -> None:
    """A breath is no pause."""
    watch = RemarkWatch(30)
    assert blocks(watch, -30.0, 3.0) is None
    assert blocks(watch, -58.0, 1.0) is None
    assert blocks(watch, -30.0, 1.0) is None
    over = blocks(watch, -58.0, 5.0)
    assert over == pytest.approx(1.8, abs=0.051)
    assert watch.seconds == pytest.approx(3 + 1 + 1 + 1.8, abs=0.06)


def test_a_remark_is_over_when_nothing_is_said_at_all() -> None:
    """Patience is longer before the first word."""
    assert blocks(RemarkWatch(30), -58.0, 20.0) == pytest.approx(8.0, abs=0.051)


def test_a_remark_is_over_at_its_limit() -> None:
    """Whoever talks on is cut off."""
    assert blocks(RemarkWatch(30), -30.0, 60.0) == pytest.approx(30.0, abs=0.051)


def test_a_step_of_the_wall_clock_is_told_once() -> None:
    """By how much, and in which direction; drift is no step."""
    watch = ClockWatch()
    assert watch.look(moment(0)) is None
    assert watch.look(moment(1, 1.5)) is None
    assert watch.look(moment(2, 3601.5)) == ClockStepped(seconds="3601.500")
    assert watch.look(moment(3, 3601.5)) is None
    assert watch.look(moment(4, -10.0)) == ClockStepped(seconds="-3611.500")


def test_a_clock_that_creeps_is_told() -> None:
    """However small the steps; told again when it has gone on by as much."""
    watch = ClockWatch()
    told = [(n, watch.look(moment(n, n * 0.1))) for n in range(60)]
    assert [n for n, event in told if event] == [21, 42]
    assert told[21][1] == ClockStepped(seconds="2.100")


def test_a_clock_behind_what_has_passed_is_told() -> None:
    """Before the last entry, or before the program was built; a small step is none."""
    built = datetime.fromisoformat(BUILT)
    now = Instant((built + timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M:%S.%fZ"), 5)
    assert clock_behind(now, "") is None
    last = (built + timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
    assert clock_behind(now, last) == ClockStepped(seconds="-3600.000")
    assert clock_behind(now, now.utc) is None
    early = Instant("1999-12-31T23:59:59.000000Z", 5)
    told = clock_behind(early, "")
    assert told is not None
    assert float(told.seconds) < -8e8


@pytest.mark.parametrize(
    ("passed_s", "steady_s", "moved"),
    [
        (3600.0, 3600.0, None),
        (3601.9, 3600.0, None),
        (3602.5, 3600.0, "2.500"),
        (63_072_000.0 + 60.0, 60.0, "63072000.000"),
        (-3540.0, 60.0, "-3600.000"),
    ],
)
def test_a_clock_that_was_set_while_the_program_was_away_is_told(
    passed_s: float, steady_s: float, moved: str | None
) -> None:
    """Ahead by years too: the machine's steady clock has run on meanwhile."""
    built = datetime.fromisoformat(BUILT)

    def at(seconds: float, steady: float) -> Instant:
        utc = (built + timedelta(seconds=seconds)).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
        return Instant(utc, round(steady * 1e9))

    told = clock_moved(at(passed_s, 500 + steady_s), at(0.0, 500.0))
    assert (told.seconds if told else None) == moved


def test_a_lasting_rise_of_the_noise_is_told_once() -> None:
    """After twenty seconds, and again only after it had been quiet."""
    watch = NoiseWatch(-50.0)
    told = [watch.look(-41.0, moment(second)) for second in range(60)]
    found = [(n, event) for n, event in enumerate(told) if event]
    assert found == [(20, NoiseRose(noise_dbfs="-41.0", rise_db="9.0"))]
    assert watch.look(-50.0, moment(61)) is None
    again = [watch.look(-40.0, moment(70 + second)) for second in range(30)]
    assert [n for n, event in enumerate(again) if event] == [20]


def test_a_passing_noise_is_no_rise() -> None:
    """Nor is a rise of a few decibels."""
    watch = NoiseWatch(-50.0)
    for second in range(100):
        level = -30.0 if second % 15 else -50.0
        assert watch.look(level, moment(second)) is None
        assert watch.look(-45.0, moment(second + 0.5)) is None


def test_without_a_sound_check_the_first_seconds_set_the_floor() -> None:
    """The level after ten seconds is what later ones are compared with."""
    watch = NoiseWatch()
    assert [watch.look(-50.0, moment(second)) for second in range(11)] == [None] * 11
    told = [watch.look(-43.0, moment(11 + second)) for second in range(21)]
    assert told[-1] == NoiseRose(noise_dbfs="-43.0", rise_db="7.0")


def test_a_clock_that_is_moved_by_hand() -> None:
    """Both clocks move together, and never back."""
    clock = ManualClock(START)
    clock.advance(1_500_000_000)
    assert clock.now() == Instant("2026-03-04T08:00:01.500000Z", 1_500_000_000)
    with pytest.raises(ValueError, match="backwards"):
        clock.advance(-1)
    assert ManualClock().now().utc.endswith("Z")


def test_the_machine_s_clocks_go_on() -> None:
    """The steady one never back; the wall clock in UTC."""
    clock = SystemClock()
    first, second = clock.now(), clock.now()
    assert second.mono_ns >= first.mono_ns
    assert abs(datetime.fromisoformat(second.utc) - datetime.now(UTC)) < timedelta(seconds=5)
