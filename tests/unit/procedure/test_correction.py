"""Taking back: the last confirmation, as often as asked, and whatever it had raised."""

from collections.abc import Callable

import pytest

from assistant.plan import Position
from assistant.procedure.effects import Say, StartTimer, StopTimers
from assistant.procedure.enums import CONFIRMS, Intent, Prompt, State, Timer
from assistant.procedure.events import DeviceLost, Meaning
from assistant.procedure.model import Session, Status, begin
from tests.unit.procedure.conftest import NAMES, RESUMED, Drive, plan_of

Start = Callable[..., Drive]


@pytest.mark.parametrize("name", NAMES)
def test_a_whole_study_can_be_taken_back_step_by_step(name: str) -> None:
    """Correction upon correction leads over vials and insertions back to the first question."""
    drive, places = Drive(begin(plan_of(name))), []
    drive.answer()
    first = drive.session
    while drive.state is not State.SIGNING:
        before = drive.session
        drive.answer()
        if drive.session.past is not before.past:
            assert drive.session.past is not None
            places.append(drive.session.past.progress)
    for progress in reversed(places):
        drive.say(Intent.CORRECTION)
        now = drive.session.progress
        # A wait that must be made again runs under a number of its own.
        assert (now.state, now.samples, now.queue) == (
            progress.state,
            progress.samples,
            progress.queue,
        )
        assert (now.insertion, now.position, now.die) == (
            progress.insertion,
            progress.position,
            progress.die,
        )
    assert drive.session.progress == first.progress
    assert drive.session.ordinal == len(places)
    drive.say(Intent.CORRECTION)
    assert drive.prompts == ["nothing-to-correct"]
    assert not drive.outcome.advanced


def test_what_was_taken_back_is_said(drive: Start) -> None:
    """The phrase is repeated, then the step that is to be done again."""
    there = drive("double-cone", State.EMPTYING_DIES).say(Intent.VIAL_FULL).say(Intent.CORRECTION)
    said = [effect for effect in there.effects if isinstance(effect, Say)]
    assert [effect.prompt for effect in said] == [Prompt.CORRECTED, Prompt.EMPTY_DIE]
    assert said[0].meaning is not None
    assert (said[0].meaning.intent, said[0].meaning.vial) == (Intent.VIAL_FULL, 1)
    assert there.vial(1).status is Status.TAKEN


def test_a_vial_s_verdict_and_mass_are_taken_back_one_after_the_other(drive: Start) -> None:
    """The mass first, then the verdict; the next ones replace them."""
    there = drive("bin", State.WEIGHING).say(Intent.MASS, number="560").say(Intent.AFFIRM)
    there.say(Intent.CORRECTION)
    assert (there.state, there.vial(1).mass_mg, there.vial(1).status.value) == (
        State.WEIGHING,
        "",
        "full",
    )
    assert there.say(Intent.CORRECTION).state is State.EMPTYING_DIES
    there.say(Intent.VIAL_EMPTY)
    assert there.vial(1).status is Status.EMPTY
    assert there.vial(2).status is Status.TAKEN


def test_a_deviation_goes_with_the_confirmation_that_raised_it(drive: Start) -> None:
    """It stays in the list, withdrawn; others stay open."""
    there = drive("double-cone", State.EMPTYING_DIES)
    there.take(DeviceLost(device="speaker", reason="unplugged"))
    there.say(Intent.VIAL_SHORT).say(Intent.CORRECTION).say(Intent.VIAL_EMPTY)
    assert [(d.kind.value, d.status) for d in there.session.deviations] == [
        ("device-lost", "open"),
        ("short-die", "withdrawn"),
        ("empty-die", "open"),
    ]


def test_a_leak_found_in_the_tube_goes_with_its_confirmation(drive: Start) -> None:
    """The note was opened by "powder in tube" and is withdrawn with it; a note asked for stays."""
    there = drive("double-cone", State.EMPTYING_TUBE).say(Intent.POWDER_IN_TUBE)
    there.say(Intent.AMOUNT_TRACE).say(Intent.AFFECTS_NONE)
    assert there.state is State.EMPTYING_TUBE
    there.say(Intent.CORRECTION)
    assert there.session.deviations[0].status == "withdrawn"
    assert there.state is State.EMPTYING_TUBE
    there.say(Intent.NOTE_LEAK).say(Intent.PLACE_SAMPLER).say(Intent.AMOUNT_TRACE)
    there.say(Intent.AFFECTS_NONE).say(Intent.CORRECTION)
    assert there.session.deviations[1].status == "open"


def test_a_disposal_is_taken_back(drive: Start) -> None:
    """The deviation is open again and its samples stand again."""
    there = drive("double-cone", State.DISPOSING).say(Intent.SAMPLES_VOIDED).answer()
    assert [d.status for d in there.session.deviations] == ["void"]
    assert there.vial(1).status is Status.VOID
    there.say(Intent.CORRECTION)
    assert there.state is State.DISPOSING
    assert there.session.deviations[0].status == "open"
    assert there.session.deviations[0].disposed == 0
    assert there.vial(1).status is Status.FULL


def test_a_repetition_taken_back_leaves_nothing_to_trip_over(drive: Start) -> None:
    """A deviation that arose in the repetition names vials that are not there any more."""
    there = drive("double-cone", State.DISPOSING).say(Intent.INSERTION_REPEATED).answer()
    there.until(State.FILLING).ring(Timer.FILL_OVERRUN)
    assert there.session.deviations[-1].vials == (31,)
    while there.state is not State.DISPOSING:
        there.say(Intent.CORRECTION)
    there.answer().answer()
    assert there.state is State.DISPOSING
    for intent in (Intent.INSERTION_REPEATED, Intent.SAMPLES_VOIDED):
        assert there.say(intent).prompts == ["not-now"]
    assert there.say(Intent.DEVIATION_ACCEPTED).answer().state is State.SIGNING


def test_filling_confirmed_too_soon_runs_under_its_limit_again(drive: Start) -> None:
    """The shortest time has passed and need not pass again; the limit runs anew."""
    there = drive("double-cone", State.CLOSING).say(Intent.CORRECTION)
    number = there.session.progress.timer
    assert there.effects == (
        StopTimers(),
        Say(Prompt.CORRECTED, {}, Meaning(intent=Intent.SET_FILLED, position=Position.BOTTOM)),
        StartTimer(Timer.FILL_OVERRUN, 30000, number),
        Say(Prompt.FILL_REACHED),
    )
    assert there.say(Intent.SET_FILLED).state is State.CLOSING


def test_the_clocks_of_an_opening_taken_back_are_stale(drive: Start) -> None:
    """A ring of the first opening does not shorten the second."""
    there = drive("double-cone", State.FILLING)
    first = there.session.progress.timer
    there.say(Intent.CORRECTION).say(Intent.PORT_OPEN)
    assert there.session.progress.timer != first
    there.ring(Timer.FILL_REACHED, first)
    assert not there.outcome.advanced
    assert there.say(Intent.SET_FILLED).prompts == ["too-early"]


def test_after_a_disturbed_break_nothing_before_it_is_taken_back(drive: Start) -> None:
    """Else the void insertion would come back into hand."""
    there = drive("double-cone", State.RAISING)
    there.take(RESUMED)
    there.say(Intent.NEGATIVE)
    assert there.say(Intent.CORRECTION).prompts == ["nothing-to-correct"]
    there.say(Intent.DIES_SEATED).say(Intent.CORRECTION)
    assert there.state is State.SEATING
    assert there.vial(1).status is Status.VOID


def test_side_dialogues_are_not_confirmations(drive: Start) -> None:
    """Standing by, asking and taking over leave nothing to take back."""
    there = drive("double-cone", State.OPENING)
    before = there.session.past
    there.say(Intent.STAND_BY).say(Intent.RESUME).say(Intent.WHERE_ARE_WE)
    there.say(Intent.TAKE_OVER, call="alpha")
    assert there.session.past is before
    assert Intent.TAKE_OVER not in CONFIRMS


def test_who_operates_survives_a_correction(drive: Start) -> None:
    """Only the progress goes back."""
    there = drive("v-blender", State.OPENING).say(Intent.TAKE_OVER, call="foxtrot")
    there.say(Intent.CORRECTION)
    assert _operator(there.session) == "Tomas Reyd"


def _operator(session: Session) -> str:
    return session.operator
