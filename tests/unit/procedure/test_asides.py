"""Side dialogues: doubt, notes, stand-by, remarks, taking over, stopping, breaks, trouble."""

from collections.abc import Callable

import pytest

from assistant.procedure import queries
from assistant.procedure.effects import Close, Say, StartTimer, StopTimers, TakeRemark, TellHead
from assistant.procedure.enums import ACTIVE, Intent, Prompt, State, Timer
from assistant.procedure.events import (
    AudioLost,
    ClockStepped,
    DeviceBack,
    DeviceLost,
    Event,
    Heard,
    Meaning,
    NoiseRose,
    RemarkTaken,
    SoundChecked,
    StorageTroubled,
)
from assistant.procedure.model import Status
from assistant.procedure.prompts import REMARK_LIMIT_S, enter
from tests.unit.procedure.conftest import OPENED, RESUMED, Drive, reachable, said

Start = Callable[..., Drive]


def test_doubt_is_asked_back_and_affirmed(drive: Start) -> None:
    """A doubtful phrase advances nothing until it is affirmed."""
    there = drive("double-cone", State.ENTERING)
    before = there.session
    there.say(Intent.AT_DEPTH, "ask")
    assert there.effects == (Say(Prompt.ASK_BACK, {}, Meaning(intent=Intent.AT_DEPTH)),)
    assert there.session.ordinal == before.ordinal
    there.say(Intent.AFFIRM)
    assert (there.state, there.prompts) == (State.OPENING, ["open"])
    assert there.session.ordinal == before.ordinal + 1


def test_doubt_is_asked_back_and_denied(drive: Start) -> None:
    """A negative leaves everything as it was and asks for the step again."""
    there = drive("double-cone", State.ENTERING)
    before = there.session
    there.say(Intent.AT_DEPTH, "ask").say(Intent.NEGATIVE)
    assert there.session == before
    assert there.prompts == ["enter"]


def test_saying_the_phrase_again_affirms_it(drive: Start) -> None:
    """Whoever was doubted repeats himself, by nature."""
    there = drive("double-cone", State.ENTERING).say(Intent.AT_DEPTH, "ask")
    assert there.say(Intent.AT_DEPTH).state is State.OPENING


def test_another_phrase_that_fits_drops_the_doubt(drive: Start) -> None:
    """It is taken in place of the doubted one."""
    there = drive("double-cone", State.INSPECTING).say(Intent.SHAFT_CLEAN, "ask")
    there.say(Intent.SHAFT_MARKED)
    assert there.state is State.MARKED
    assert there.session.progress.back == ()
    assert there.session.progress.pending is None


def test_another_phrase_that_does_not_fit_leaves_the_doubt(drive: Start) -> None:
    """It is refused; the question stands."""
    there = drive("double-cone", State.ENTERING).say(Intent.AT_DEPTH, "ask")
    asked = there.session
    assert there.say(Intent.TUBE_OFF).prompts == ["not-now"]
    assert there.session == asked


def test_doubt_upon_doubt_is_not_understood(drive: Start) -> None:
    """While something is asked back, a second doubtful hearing asks to say it anew."""
    there = drive("double-cone", State.ENTERING).say(Intent.AT_DEPTH, "ask")
    asked = there.session
    for intent in (Intent.AFFIRM, Intent.NEGATIVE, Intent.STOP_SAMPLING, Intent.AT_DEPTH):
        assert there.say(intent, "ask").prompts == ["not-understood"]
        assert there.session == asked


@pytest.mark.parametrize("state", [State.READING_BACK, State.CHECKING, State.STOPPING])
def test_a_doubtful_answer_answers_nothing(drive: Start, state: State) -> None:
    """An affirm that was not surely heard is asked for anew."""
    there = drive("bin", state)
    before = there.session
    assert there.say(Intent.AFFIRM, "ask").prompts == ["not-understood"]
    assert there.session == before


def test_a_doubtful_phrase_about_something_else_is_not_asked_back(drive: Start) -> None:
    """What could not count anyway is not worth a question."""
    there = drive("double-cone", State.EMPTYING_DIES)
    assert there.say(Intent.VIAL_FULL, "ask", vial=2).prompts == ["not-understood"]
    assert there.say(Intent.TUBE_OFF, "ask").prompts == ["not-understood"]
    assert there.session.deviations == ()


def test_a_doubted_phrase_may_still_come_too_early(drive: Start) -> None:
    """It is affirmed and then refused in words, not dropped in silence."""
    there = drive("double-cone", State.FILLING).say(Intent.SET_FILLED, "ask")
    there.say(Intent.AFFIRM)
    assert there.outcome.advanced
    assert (there.state, there.prompts) == (State.FILLING, ["too-early"])


def test_a_doubted_mass_is_read_back_besides(drive: Start) -> None:
    """Affirming that a number was meant does not affirm its digits."""
    there = drive("bin", State.WEIGHING).say(Intent.MASS, "ask", number="560")
    assert there.state is State.DOUBTING
    assert there.say(Intent.AFFIRM).state is State.READING_BACK
    assert there.say(Intent.AFFIRM).vial(1).mass_mg == "560"


def test_a_doubted_step_is_still_witnessed(drive: Start) -> None:
    """The operator's affirm does not stand for the witness."""
    there = drive("watched", State.ENTERING).say(Intent.AT_DEPTH, "ask").say(Intent.AFFIRM)
    assert there.state is State.WITNESSING
    assert there.say(Intent.WITNESS_AFFIRMED).state is State.OPENING


def test_what_was_refused_is_answered_only_where_it_helps(drive: Start) -> None:
    """Unclear speech is asked for again; talk that is no phrase is let pass in silence."""
    there = drive("double-cone", State.ENTERING)
    before = there.session
    for reason, prompts in (("unclear", ["not-understood"]), ("no-phrase", [])):
        there.take(Heard(source="voice", text="", decision="refuse", reason=reason))
        assert (there.prompts, there.session) == (prompts, before)
    there.take(Heard(source="voice", text="x", decision="accept", reason="unclear"))
    assert there.prompts == ["not-understood"]


@pytest.mark.parametrize(
    ("intent", "kind"), [(Intent.NOTE_SPILL, "spill"), (Intent.NOTE_LEAK, "leak")]
)
@pytest.mark.parametrize(
    ("affects", "vials"),
    [
        (Intent.AFFECTS_NONE, ()),
        (Intent.AFFECTS_INSERTION, (4, 5, 6)),
        (Intent.AFFECTS_ALL, (1, 2, 3)),
    ],
)
def test_a_note_asks_where_how_much_and_which(
    drive: Start, intent: Intent, kind: str, affects: Intent, vials: tuple[int, ...]
) -> None:
    """Three answers make a deviation, and the work goes on where it was."""
    there = drive("double-cone", State.STOWING).answer().until(State.OPENING)
    progress = there.session.progress
    assert there.say(intent).prompts == ["ask-place"]
    assert there.say(Intent.PLACE_VESSEL).prompts == ["ask-amount"]
    assert there.say(Intent.AMOUNT_MORE).prompts == ["ask-samples"]
    assert there.say(affects).prompts == ["noted", "open"]
    assert there.session.progress == progress
    note = there.session.deviations[0]
    assert (note.kind.value, note.detail, note.vials, note.number) == (
        kind,
        "place-vessel amount-more",
        vials,
        1,
    )


@pytest.mark.parametrize("state", [State.NOTE_PLACE, State.NOTE_AMOUNT, State.NOTE_SAMPLES])
def test_a_note_can_be_dropped(drive: Start, state: State) -> None:
    """Nothing of it stays, and the step is asked for again."""
    there = drive("double-cone", state).say(Intent.DISREGARD)
    assert (there.state, there.prompts) == (State.FILLING, ["note-dropped", "fill"])
    assert there.session.deviations == ()
    assert there.session.progress.draft is None


def test_powder_in_the_tube_opens_a_leak_note_by_itself(drive: Start) -> None:
    """Where is known; how much and which samples is asked; then the tube is to be emptied."""
    there = drive("double-cone", State.EMPTYING_TUBE).say(Intent.POWDER_IN_TUBE)
    assert there.prompts == ["ask-amount"]
    there.say(Intent.AMOUNT_SPOONFUL).say(Intent.AFFECTS_INSERTION)
    assert (there.state, there.prompts) == (State.EMPTYING_TUBE, ["noted", "empty-tube"])
    leak = there.session.deviations[0]
    assert (leak.kind.value, leak.detail) == ("leak", "in-tube amount-spoonful")


def test_a_note_may_be_made_while_standing_by(drive: Start) -> None:
    """The note returns to the stand-by, the stand-by to the step."""
    there = drive("double-cone", State.STANDING_BY).say(Intent.NOTE_SPILL)
    there.say(Intent.PLACE_VIALS).say(Intent.AMOUNT_TRACE).say(Intent.AFFECTS_NONE)
    assert there.state is State.STANDING_BY
    assert there.say(Intent.RESUME).state is State.STOWING


def test_standing_by_holds_every_step(drive: Start) -> None:
    """No answer of the step counts until the work is resumed."""
    there = drive("double-cone", State.STOWING).say(Intent.STAND_BY)
    assert there.say(Intent.ON_STAND).prompts == ["not-now"]
    assert there.say(Intent.RESUME).prompts == ["stow"]


def test_timers_run_on_in_a_side_dialogue(drive: Start) -> None:
    """The wait ends in silence there, an overrun is announced even there."""
    there = drive("double-cone", State.FILLING).say(Intent.STAND_BY)
    there.ring(Timer.FILL_REACHED)
    assert there.outcome.advanced
    assert there.effects == ()
    there.ring(Timer.FILL_OVERRUN)
    assert there.prompts == ["fill-overrun"]
    overrun = there.session.deviations[0]
    assert (overrun.kind.value, overrun.detail, overrun.vials) == ("overrun", "bottom", (1,))
    assert there.say(Intent.RESUME).prompts == ["fill-reached"]
    assert there.say(Intent.SET_FILLED).state is State.CLOSING


def test_shedding_waits_through_a_side_dialogue(drive: Start) -> None:
    """The same for the powder outside."""
    there = drive("double-cone", State.SHAKING_OFF).say(Intent.REMARK)
    there.ring(Timer.SHAKE_OFF_REACHED)
    assert there.effects == ()
    there.take(RemarkTaken(text="dusty"))
    assert there.prompts == ["remark-kept", "shake-off-reached"]
    assert there.say(Intent.SHAKEN_OFF).state is State.INVERTING


def test_a_timer_of_another_start_is_stale(drive: Start) -> None:
    """Rings that were on their way when the timer was stopped or started anew do not count."""
    there = drive("double-cone", State.FILLING)
    before = there.session
    for generation in (before.progress.timer - 1, before.progress.timer + 1):
        there.ring(Timer.FILL_REACHED, generation)
        assert (there.outcome.advanced, there.effects, there.session) == (False, (), before)


def test_a_timer_of_another_step_does_not_count(drive: Start) -> None:
    """The end of the shedding time is no end of the filling time, aside or not."""
    there = drive("double-cone", State.FILLING)
    there.ring(Timer.SHAKE_OFF_REACHED)
    assert not there.outcome.advanced
    there.say(Intent.STAND_BY).ring(Timer.SHAKE_OFF_REACHED)
    assert not there.outcome.advanced
    assert not there.session.progress.waited


def test_an_overrun_names_every_port_of_the_position(drive: Start) -> None:
    """All dies that face the ports were open too long."""
    there = drive("bin", State.FILLING).ring(Timer.FILL_OVERRUN)
    assert there.session.deviations[0].vials == (1, 2)
    assert there.state is State.FILLING


def test_a_remark_is_taken_and_kept(drive: Start) -> None:
    """What is said next is a memo of a bounded length."""
    there = drive("double-cone", State.INVERTING).say(Intent.REMARK)
    assert there.effects == (Say(Prompt.ASK_REMARK), TakeRemark(REMARK_LIMIT_S))
    there.take(RemarkTaken(clip="c" * 64, seconds="4.0"))
    assert (there.state, there.prompts) == (State.INVERTING, ["remark-kept", "invert"])
    there.take(RemarkTaken(text="unasked"))
    assert not there.outcome.advanced


def test_somebody_else_takes_over(drive: Start) -> None:
    """By an operator's call only; the step stays and is not repeated."""
    there = drive("v-blender", State.OPENING)
    progress = there.session.progress
    there.say(Intent.TAKE_OVER, call="foxtrot")
    assert there.effects == (Say(Prompt.TAKEN_OVER, {"name": "Tomas Reyd"}),)
    assert (there.session.operator, there.session.progress) == ("Tomas Reyd", progress)
    assert there.say(Intent.TAKE_OVER, call="zulu").prompts == ["unknown-person"]
    witness = drive("double-cone", State.OPENING).say(Intent.TAKE_OVER, call="bravo")
    assert witness.prompts == ["unknown-person"]


def test_stopping_is_asked_back(drive: Start) -> None:
    """A negative goes on with the step; an affirm ends the record as incomplete."""
    there = (
        drive("double-cone", State.EMPTYING_DIES).say(Intent.VIAL_FULL).say(Intent.STOP_SAMPLING)
    )
    assert there.prompts == ["ask-stop"]
    assert there.say(Intent.NEGATIVE).prompts == ["empty-die"]
    there.say(Intent.STOP_SAMPLING).say(Intent.AFFIRM)
    assert there.effects == (
        StopTimers(),
        TellHead(),
        Close(),
        Say(Prompt.STOPPED, {"taken": 3, "planned": 30}),
    )
    ended = Drive(there.session)
    ended.say(Intent.DIES_SEATED)
    assert (ended.effects, ended.session) == ((), there.session)


@pytest.mark.parametrize("state", [s for s in ACTIVE if s is not State.STOPPING])
def test_stopping_is_possible_from_anywhere_and_leads_back(drive: Start, state: State) -> None:
    """Even out of a question; a negative puts the question again."""
    name = next(n for n in ("double-cone", "watched") if (n, state) in reachable())
    there = drive(name, state)
    progress = there.session.progress
    there.say(Intent.STOP_SAMPLING)
    assert there.state is State.STOPPING
    there.say(Intent.NEGATIVE)
    assert there.session.progress == progress


def test_after_a_break_in_the_powder_the_physical_state_is_asked(drive: Start) -> None:
    """Location, position and ports as they were left; the timers run anew."""
    there = drive("double-cone", State.FILLING)
    old = there.session.progress.timer
    there.take(RESUMED)
    assert there.state is State.CHECKING
    number = there.session.progress.timer
    assert number > old
    code = there.session.location.code
    assert there.effects == (
        StartTimer(Timer.FILL_REACHED, 5000, number),
        StartTimer(Timer.FILL_OVERRUN, 30000, number),
        Say(Prompt.CHECK_IN_POWDER, {"location": code, "position": "bottom", "ports": "open"}),
    )
    again = there.take(RESUMED)
    assert again.session.progress.back == (State.FILLING,)
    assert there.say(Intent.AFFIRM).prompts == ["fill"]
    closed = drive("double-cone", State.RAISING)
    closed.take(RESUMED)
    effect = closed.effects[0]
    assert isinstance(effect, Say)
    assert effect.slots["ports"] == "closed"


def test_after_a_break_out_of_the_powder_the_step_is_asked(drive: Start) -> None:
    """Whether the dies lie as they lay."""
    there = drive("double-cone", State.SHAKING_OFF)
    there.take(RESUMED)
    assert there.effects[-1] == Say(Prompt.CHECK_OUTSIDE, {"step": "shaking-off"})
    resting = drive("double-cone", State.EMPTYING_DIES)
    resting.take(RESUMED)
    assert resting.effects == (Say(Prompt.CHECK_OUTSIDE, {"step": "emptying-dies"}),)


def test_a_disturbed_insertion_is_void_and_begins_anew(drive: Start) -> None:
    """Its location comes next, its vials count on from the last; the others stay as labelled."""
    there = drive("double-cone", State.RAISING)
    there.take(RESUMED)
    there.say(Intent.NEGATIVE)
    progress = there.session.progress
    assert (there.state, there.effects[0]) == (State.SEATING, StopTimers())
    assert [there.vial(n).status.value for n in (1, 2, 3, 4)] == ["void"] * 3 + ["planned"]
    assert [s.vial for s in there.session.here()] == [31, 32, 33]
    assert (progress.insertion, progress.position, progress.die) == (10, 0, 0)
    assert (there.session.at.location, there.session.at.attempt) == (0, 2)
    assert progress.queue == tuple(range(1, 10))
    disturbed = there.session.deviations[0]
    assert (disturbed.kind.value, disturbed.vials) == ("disturbed", (1, 2, 3))
    there.until(State.STOWING).answer()
    assert [s.vial for s in there.session.here()] == [4, 5, 6]
    there.until(State.DISPOSING)
    offered = {m.intent for m in queries.advancing(there.session)}
    assert Intent.INSERTION_REPEATED not in offered
    there.until(State.CLOSED)
    assert there.effects[0] == TellHead()
    standing = [s for s in there.session.progress.samples if s.status is Status.FULL]
    assert len(standing) == 30


def test_a_disturbance_with_nothing_in_hand_is_noted(drive: Start) -> None:
    """No sample is touched; the question put before the break is put again."""
    there = drive("double-cone", State.COUNTING)
    there.take(RESUMED)
    there.say(Intent.NEGATIVE)
    assert (there.state, there.prompts) == (State.COUNTING, ["count"])
    assert [(d.kind.value, d.vials) for d in there.session.deviations] == [("disturbed", ())]


def test_a_break_in_a_question_returns_to_the_question(drive: Start) -> None:
    """What was held is still held."""
    there = drive("double-cone", State.DOUBTING)
    before = there.session.progress
    there.take(RESUMED)
    there.say(Intent.AFFIRM)
    assert there.prompts == ["ask-back"]
    assert there.session.progress.pending == before.pending


@pytest.mark.parametrize(
    ("event", "prompts", "kinds"),
    [
        (DeviceLost(device="microphone", reason="r"), ["microphone-lost"], ["device-lost"]),
        (DeviceLost(device="speaker", reason="r"), ["speaker-lost"], ["device-lost"]),
        (DeviceBack(device="microphone", name="n"), ["microphone-back"], []),
        (DeviceBack(device="speaker", name="n"), ["speaker-back"], []),
        (ClockStepped(seconds="-3600.0"), [], ["clock-step"]),
        (NoiseRose(noise_dbfs="-40.0", rise_db="9.0"), ["noise-rose"], ["noise-rise"]),
        (StorageTroubled(reason="full", seconds="4.0"), ["storage-back"], ["storage-trouble"]),
        (AudioLost(milliseconds=250), [], []),
    ],
)
def test_trouble_around_the_work_is_said_and_noted(
    drive: Start, event: Event, prompts: list[str], kinds: list[str]
) -> None:
    """The work itself does not move."""
    there = drive("double-cone", State.CLOSING)
    progress = there.session.progress
    there.take(event)
    assert (there.prompts, there.session.progress) == (prompts, progress)
    assert [d.kind.value for d in there.session.deviations] == kinds
    assert not there.outcome.advanced


@pytest.mark.parametrize("overridden", [False, True])
def test_a_sound_check_that_was_overridden_is_noted(drive: Start, *, overridden: bool) -> None:
    """A passed one says nothing."""
    there = drive("double-cone", State.BRIEFING)
    checked = SoundChecked(
        speech_dbfs="-20.0",
        noise_dbfs="-50.0",
        snr_db="30.0",
        clipped=False,
        recognised=3,
        asked=5,
        overridden=overridden,
    )
    there.take(checked)
    assert [d.kind.value for d in there.session.deviations] == ["override"] * overridden
    assert there.prompts == []


@pytest.mark.parametrize(
    ("affirmed", "synchronised", "kinds"),
    [
        ("yes", "no", ["clock-not-synchronised"]),
        ("not asked", "no", ["clock-not-synchronised"]),
        ("yes", "yes", []),
        ("yes", "unknown", []),
        ("", "no", []),
    ],
)
def test_a_clock_without_a_time_server_is_noted(
    drive: Start, affirmed: str, synchronised: str, kinds: list[str]
) -> None:
    """In records that say whether it was affirmed; older ones are folded as they were."""
    there = drive("double-cone", State.NEW)
    clock = {"clock_affirmed": affirmed, "clock_synchronised": synchronised}
    there.take(OPENED.model_copy(update=clock))
    assert [d.kind.value for d in there.session.deviations] == kinds
    assert there.session.state is State.BRIEFING


def test_a_record_is_opened_once(drive: Start) -> None:
    """A second opening changes nothing, not even who operates."""
    there = drive("double-cone", State.SEATING)
    before = there.session
    there.take(OPENED.model_copy(update={"operator": "Eve"}))
    assert (there.session, there.effects) == (before, ())


@pytest.mark.parametrize(
    ("state", "intent"),
    [
        (State.OPENING, Intent.PORT_OPEN),
        (State.EMPTYING_DIES, Intent.VIAL_FULL),
        (State.EMPTYING_TUBE, Intent.TUBE_EMPTIED),
        (State.INSPECTING, Intent.SHAFT_CLEAN),
        (State.STANDING_BY, Intent.RESUME),
        (State.DOUBTING, Intent.AFFIRM),
        (State.COUNTING, Intent.DIES_COMPLETE),
    ],
)
def test_the_key_gives_the_normal_answer(drive: Start, state: State, intent: Intent) -> None:
    """One press says what a smooth session would say, about the object in hand."""
    session = drive("double-cone", state).session
    assert queries.normal(session) == queries.expected(session, intent)


@pytest.mark.parametrize(
    "state",
    [
        *(State.DISPOSING, State.MARKED, State.WEIGHING, State.WITNESSING, State.REMARKING),
        *(State.NOTE_PLACE, State.NOTE_AMOUNT, State.NOTE_SAMPLES, State.CLOSED),
    ],
)
def test_the_key_does_not_choose(drive: Start, state: State) -> None:
    """Where there is a choice, a number or another person to answer, it stands for nothing."""
    assert queries.normal(drive("watched", state).session) is None


def test_where_are_we_tells_step_and_count(drive: Start) -> None:
    """Seen through a side dialogue; without a location before and after the work."""
    there = drive("double-cone", State.RAISING).say(Intent.STAND_BY).say(Intent.WHERE_ARE_WE)
    code = there.session.location.code
    assert there.effects == (
        Say(
            Prompt.WHERE,
            {
                "location": code,
                "position": "bottom",
                "step": "raising",
                "taken": 1,
                "planned": 30,
            },
        ),
    )
    counting = drive("double-cone", State.COUNTING).say(Intent.WHERE_ARE_WE)
    assert counting.effects == (
        Say(Prompt.WHERE_OUTSIDE, {"step": "counting", "taken": 30, "planned": 30}),
    )


def test_what_can_i_say_lists_what_counts(drive: Start) -> None:
    """The answer first, then what fits at any moment; a doubtful question is answered too."""
    there = drive("double-cone", State.OPENING).say(Intent.WHAT_CAN_I_SAY, "ask")
    effect = there.effects[0]
    assert isinstance(effect, Say)
    assert effect.options == queries.options(there.session)
    assert effect.options[0] == queries.expected(there.session, Intent.PORT_OPEN)
    first = drive("brief").answer()
    assert Intent.CORRECTION not in {m.intent for m in queries.options(first.session)}


def test_a_phrase_out_of_place_is_quoted_back(drive: Start) -> None:
    """So that the operator knows what was heard."""
    there = drive("double-cone", State.OPENING)
    there.take(said(Meaning(intent=Intent.ON_STAND)))
    assert there.effects == (Say(Prompt.NOT_NOW, {}, Meaning(intent=Intent.ON_STAND)),)


def test_what_a_vial_holds_is_never_taken_from_one_hearing(drive: Start) -> None:
    """It is read back, and on record only when affirmed."""
    there = drive("double-cone", State.EMPTYING_DIES).hear(Intent.VIAL_SHORT)
    assert (there.state, there.prompts) == (State.READING_BACK, ["read-back"])
    assert there.vial(1).status is Status.TAKEN
    assert there.hear(Intent.AFFIRM).vial(1).status is Status.SHORT
    assert there.state is State.EMPTYING_DIES


def test_a_typed_or_keyed_result_needs_no_reading_back(drive: Start) -> None:
    """Nothing was heard that could have been misheard."""
    there = drive("double-cone", State.EMPTYING_DIES).say(Intent.VIAL_FULL)
    assert there.vial(1).status is Status.FULL


def test_saying_it_once_more_does_not_affirm_what_was_read_back(drive: Start) -> None:
    """Two hearings of the same sound may err alike; the question is put again."""
    there = drive("double-cone", State.READING_BACK).hear(Intent.VIAL_FULL)
    assert (there.state, there.prompts) == (State.READING_BACK, ["read-back"])
    assert not there.outcome.advanced


@pytest.mark.parametrize("state", [State.READING_BACK, State.CHECKING, State.STOPPING])
def test_a_pending_question_is_put_again_where_an_answer_is_wanted(
    drive: Start, state: State
) -> None:
    """Nothing else changes."""
    there = drive("bin", state)
    before = there.session
    wanted = [effect.prompt for effect in enter(before) if isinstance(effect, Say)]
    there.take(Heard(source="voice", text="x", decision="refuse", reason="answer-wanted"))
    assert (there.prompts, there.session) == (wanted, before)


def test_another_result_takes_the_place_of_what_was_read_back(drive: Start) -> None:
    """Whoever was misheard says the right one at once; a wrong vial is refused as ever."""
    there = drive("double-cone", State.READING_BACK).hear(Intent.VIAL_EMPTY)
    assert there.session.progress.pending == Meaning(intent=Intent.VIAL_EMPTY, vial=1)
    assert there.hear(Intent.NEGATIVE).state is State.EMPTYING_DIES
    there.hear(Intent.VIAL_FULL).hear(Intent.VIAL_FULL, vial=2)
    assert (there.state, there.prompts) == (State.EMPTYING_DIES, ["wrong-vial"])


def test_a_witness_stands_for_the_reading_back(drive: Start) -> None:
    """The witness is asked for the very words; nothing is asked twice."""
    there = drive("watched", State.EMPTYING_DIES).hear(Intent.VIAL_FULL)
    assert there.state is State.WITNESSING
    assert there.hear(Intent.WITNESS_AFFIRMED).vial(1).status is Status.FULL


def test_a_take_over_that_was_heard_is_read_back(drive: Start) -> None:
    """Who operates is on every entry; the waiting time of the step runs on meanwhile."""
    there = drive("double-cone", State.FILLING)
    call = there.session.plan.people[0].call
    there.hear(Intent.TAKE_OVER, call=call).ring(Timer.FILL_REACHED)
    assert (there.state, there.prompts) == (State.READING_BACK, [])
    assert there.hear(Intent.AFFIRM).prompts == ["taken-over"]
    assert there.state is State.FILLING
    assert there.say(Intent.SAY_AGAIN).prompts == ["fill-reached"]
