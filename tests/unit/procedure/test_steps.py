"""The work by the book: what each answer leads to and what is said, for every kind of sampler."""

from collections.abc import Callable

import pytest

from assistant.plan import Position
from assistant.plan.entry_direction import aim
from assistant.procedure import queries
from assistant.procedure.effects import Close, MarkHead, Say, Slot, StartTimer, StopTimers, TellHead
from assistant.procedure.enums import Intent, Kind, Prompt, State, Timer
from assistant.procedure.events import Heard, Meaning
from assistant.procedure.model import Status, begin
from assistant.procedure.prompts import tally
from tests.unit.procedure.conftest import OPENED, Drive, plan_of

Start = Callable[..., Drive]

BEFORE = [
    ("opened", State.BRIEFING, "ask-isolated"),
    (Intent.CAUTION_ISOLATED, State.BRIEFING, "ask-earthed"),
    (Intent.CAUTION_EARTHED, State.BRIEFING, "ask-protected"),
    (Intent.CAUTION_PROTECTED, State.SEATING, "seat"),
    (Intent.DIES_SEATED, State.POSITIONING, "position-clock"),
    (Intent.POSITIONED, State.ENTERING, "enter"),
    (Intent.AT_DEPTH, State.OPENING, "open"),
]
SET = [
    (Intent.PORT_OPEN, State.FILLING, "fill"),
    (Timer.FILL_REACHED, State.FILLING, "fill-reached"),
    (Intent.SET_FILLED, State.CLOSING, "close"),
]
RAISED = [
    (Intent.PORT_CLOSED, State.RAISING, "raise"),
    (Intent.SHAFT_RAISED, State.OPENING, "open"),
]
OUT = [
    (Intent.PORT_CLOSED, State.WITHDRAWING, "withdraw"),
    (Intent.SAMPLER_OUT, State.SHAKING_OFF, "shake-off"),
    (Timer.SHAKE_OFF_REACHED, State.SHAKING_OFF, "shake-off-reached"),
    (Intent.SHAKEN_OFF, State.INVERTING, "invert"),
    (Intent.DIES_UP, State.REMOVING_TUBE, "remove-tube"),
]
CLEAN = [
    (Intent.TUBE_EMPTIED, State.INSPECTING, "inspect"),
    (Intent.SHAFT_CLEAN, State.STOWING, "stow"),
    (Intent.ON_STAND, State.SEATING, "seat"),
]
INSERTIONS: dict[str, list[tuple[str | Intent | Timer, State, str | None]]] = {
    "double-cone": [
        *BEFORE, *SET, *RAISED, *SET, *RAISED, *SET, *OUT,
        (Intent.TUBE_OFF, State.EMPTYING_DIES, "empty-die"),
        (Intent.VIAL_FULL, State.EMPTYING_DIES, "empty-die"),
        (Intent.VIAL_FULL, State.EMPTYING_DIES, "empty-die"),
        (Intent.VIAL_FULL, State.EMPTYING_TUBE, "empty-tube"),
        *CLEAN,
    ],
    "v-blender": [
        *BEFORE, *SET, *RAISED, *SET, *OUT,
        (Intent.TUBE_OFF, State.EMPTYING_DIES, "empty-die"),
        (Intent.VIAL_SHORT, State.EMPTYING_DIES, "empty-die"),
        (Intent.VIAL_EMPTY, State.EMPTYING_TUBE, "empty-tube"),
        *CLEAN,
    ],
    "bin": [
        *BEFORE, *SET, *OUT,
        (Intent.TUBE_OFF, State.EMPTYING_DIES, "empty-port-die"),
        (Intent.VIAL_FULL, State.WEIGHING, "weigh"),
        (Intent.MASS, State.READING_BACK, "read-back"),
        (Intent.AFFIRM, State.EMPTYING_DIES, "empty-port-die"),
        (Intent.VIAL_SHORT, State.WEIGHING, "weigh"),
        (Intent.MASS, State.READING_BACK, "read-back"),
        (Intent.AFFIRM, State.EMPTYING_TUBE, "empty-tube"),
        *CLEAN,
    ],
    "watched": [
        *BEFORE[:-1],
        (Intent.AT_DEPTH, State.WITNESSING, "ask-witness"),
        (Intent.WITNESS_AFFIRMED, State.OPENING, "open"),
        (Intent.PORT_OPEN, State.WITNESSING, "ask-witness"),
        (Intent.WITNESS_AFFIRMED, State.FILLING, "fill"),
        *SET[1:],
        (Intent.PORT_CLOSED, State.WITNESSING, "ask-witness"),
        (Intent.WITNESS_AFFIRMED, State.WITHDRAWING, "withdraw"),
        *OUT[1:],
        (Intent.TUBE_OFF, State.EMPTYING_DIES, "empty-port-die"),
        (Intent.VIAL_EMPTY, State.WITNESSING, "ask-witness"),
        (Intent.WITNESS_AFFIRMED, State.EMPTYING_DIES, "empty-port-die"),
        (Intent.VIAL_FULL, State.WITNESSING, "ask-witness"),
        (Intent.WITNESS_AFFIRMED, State.WEIGHING, "weigh"),
        (Intent.MASS, State.READING_BACK, "read-back"),
        (Intent.AFFIRM, State.EMPTYING_TUBE, "empty-tube"),
        (Intent.TUBE_EMPTIED, State.WITNESSING, "ask-witness"),
        (Intent.WITNESS_AFFIRMED, State.INSPECTING, "inspect"),
        *CLEAN[1:],
    ],
}  # fmt: skip


SHORT_SET = [
    (Timer.FILL_REACHED, State.FILLING, "close-now"),
    (Intent.FILLED_CLOSED, State.RAISING, "raise-and-open"),
]
INSERTIONS["short"] = [
    *BEFORE,
    (Intent.PORT_OPEN, State.FILLING, None), *SHORT_SET,
    (Intent.RAISED_OPEN, State.FILLING, None), *SHORT_SET,
    (Intent.RAISED_OPEN, State.FILLING, None), SHORT_SET[0],
    (Intent.FILLED_CLOSED, State.WITHDRAWING, "withdraw"),
    *OUT[1:2],
    (Timer.SHAKE_OFF_REACHED, State.SHAKING_OFF, "uncover"),
    (Intent.DIES_UP_TUBE_OFF, State.EMPTYING_DIES, "empty-all"),
    (Intent.ALL_FULL, State.READING_BACK, "read-back-vials"),
    (Intent.AFFIRM, State.EMPTYING_TUBE, "empty-and-look"),
    (Intent.EMPTY_CLEAN, State.STOWING, "stow"),
    (Intent.ON_STAND, State.SEATING, "seat-brief"),
]  # fmt: skip


@pytest.mark.parametrize("name", INSERTIONS)
def test_one_insertion_goes_step_by_step(name: str) -> None:
    """Each answer leads to the next step, and the next step is what is asked for."""
    drive = Drive(begin(plan_of(name)))
    for answer, state, prompt in INSERTIONS[name]:
        if answer == "opened":
            drive.take(OPENED)
        elif isinstance(answer, Timer):
            drive.ring(answer)
        elif answer is Intent.MASS:
            drive.say(answer, number="560.5")
        else:
            assert isinstance(answer, Intent)
            drive.say(answer)
        assert drive.outcome.advanced
        assert (drive.state, drive.prompts[:1]) == (state, [prompt] if prompt else [])
        assert len(drive.prompts) <= 1 or state is State.POSITIONING


@pytest.mark.parametrize(
    ("name", "positions", "vials"),
    [("double-cone", 3, 30), ("v-blender", 2, 20), ("bin", 1, 20), ("short", 3, 30)],
)
def test_a_whole_study_counts_up(name: str, positions: int, vials: int) -> None:
    """By the book every die of every insertion gives a full vial, and the record closes signed."""
    drive = Drive(begin(plan_of(name))).until(State.CLOSED)
    samples = drive.session.progress.samples
    assert [s.vial for s in samples] == list(range(1, vials + 1))
    assert {s.status for s in samples} == {Status.FULL}
    assert {s.position for s in samples} == set(range(positions))
    assert tally(drive.session) == {"taken": vials, "planned": vials}
    assert drive.session.deviations == ()
    assert drive.effects == (TellHead(), Close(), Say(Prompt.CLOSED))


def test_a_plan_without_cautions_begins_with_the_dies(drive: Start) -> None:
    """Where the plan asks for no caution, none is asked."""
    assert drive("brief").answer().state is State.SEATING


def test_the_prompts_name_what_is_in_hand(drive: Start) -> None:
    """Location, depth, position, port, vial and times come from the plan and the progress."""

    def slots(name: str, state: State, *answers: Intent) -> dict[str, object]:
        there = drive(name, state)
        for answer in answers:
            there.say(answer)
        effect = there.say(Intent.SAY_AGAIN).effects[0]
        assert isinstance(effect, Say)
        return dict(effect.slots)

    cone = plan_of("double-cone")
    assert slots("double-cone", State.SEATING) == {
        "location": cone.locations[0].code,
        "count": 3,
    }
    assert slots("double-cone", State.POSITIONING) == {}
    assert slots("double-cone", State.ENTERING)["depth"] in range(100, 1500)
    assert slots("double-cone", State.OPENING) == {"position": "bottom"}
    assert slots("double-cone", State.FILLING) == {"seconds": 5}
    assert slots("double-cone", State.RAISING) == {"position": "middle"}
    assert slots("v-blender", State.RAISING) == {"position": "top"}
    assert slots("double-cone", State.SHAKING_OFF) == {"seconds": 3}
    assert slots("double-cone", State.EMPTYING_DIES, Intent.VIAL_FULL) == {
        "position": "middle",
        "vial": 2,
    }
    assert slots("bin", State.EMPTYING_DIES) == {"position": "bottom", "port": 1, "vial": 1}
    assert slots("bin", State.COUNTING) == {"count": 2}
    assert slots("bin", State.SIGNING) == {"taken": 20, "planned": 20}


def test_cautions_must_be_affirmed_one_by_one_in_the_plan_s_order(drive: Start) -> None:
    """A caution out of turn is refused, and only the one asked for is offered."""
    begun = drive("double-cone", State.BRIEFING)
    offered = [m.intent for m in queries.advancing(begun.session)]
    assert offered == [Intent.CAUTION_ISOLATED]
    begun.say(Intent.CAUTION_PROTECTED)
    assert begun.prompts == ["not-now"]
    assert not begun.outcome.advanced


def test_opening_a_port_starts_both_clocks(drive: Start) -> None:
    """The shortest time and the limit run from the opening, under a number of their own."""
    opened = drive("double-cone", State.OPENING).say(Intent.PORT_OPEN)
    number = opened.session.progress.timer
    assert opened.effects[:2] == (
        StartTimer(Timer.FILL_REACHED, 5000, number),
        StartTimer(Timer.FILL_OVERRUN, 30000, number),
    )


def test_without_a_shortest_time_filling_may_be_confirmed_at_once() -> None:
    """A plan may set the waiting times to zero."""
    plan = plan_of("double-cone")
    timing = plan.timing.model_copy(update={"fill_s": 0.0, "shed_s": 0.0})
    drive = Drive(begin(plan.model_copy(update={"timing": timing}))).until(State.FILLING)
    assert [type(e) for e in drive.effects] == [StartTimer, Say]
    assert drive.prompts == ["fill-reached"]
    drive.say(Intent.SET_FILLED)
    assert drive.state is State.CLOSING
    drive.until(State.SHAKING_OFF)
    assert drive.effects == (Say(Prompt.SHAKE_OFF_REACHED),)
    assert drive.say(Intent.SHAKEN_OFF).state is State.INVERTING


def test_too_early_is_said_and_changes_nothing(drive: Start) -> None:
    """The shortest filling and shedding times are enforced."""
    for state, intent in (
        (State.FILLING, Intent.SET_FILLED),
        (State.SHAKING_OFF, Intent.SHAKEN_OFF),
    ):
        there = drive("double-cone", state)
        before = there.session
        assert there.say(intent).prompts == ["too-early"]
        assert there.session == before


def test_a_sample_is_taken_only_by_closing(drive: Start) -> None:
    """Open, filled, closed: then the dies of this position hold their samples, no others."""
    there = drive("double-cone", State.CLOSING)
    assert {s.status for s in there.session.progress.samples} == {Status.PLANNED}
    there.say(Intent.PORT_CLOSED)
    taken = [s.vial for s in there.session.progress.samples if s.status is Status.TAKEN]
    assert taken == [1]
    both = drive("bin", State.CLOSING).say(Intent.PORT_CLOSED)
    taken = [s.vial for s in both.session.progress.samples if s.status is Status.TAKEN]
    assert taken == [1, 2]


@pytest.mark.parametrize("state", [State.OPENING, State.FILLING, State.CLOSING, State.RAISING])
@pytest.mark.parametrize("intent", [Intent.SHAFT_RAISED, Intent.SAMPLER_OUT])
def test_nothing_moves_while_a_port_may_be_open(drive: Start, state: State, intent: Intent) -> None:
    """Raising and withdrawing are refused in every step where they would smear powder."""
    if (state, intent) == (State.RAISING, Intent.SHAFT_RAISED):
        intent = Intent.SAMPLER_OUT
    there = drive("double-cone", state)
    before = there.session
    assert there.say(intent).prompts == ["not-now"]
    assert there.session == before


def test_another_position_is_answered_refused_and_noted(drive: Start) -> None:
    """A phrase that names another port cannot confirm this one."""
    there = drive("double-cone", State.OPENING)
    before = there.session.progress
    there.say(Intent.PORT_OPEN, position=Position.TOP)
    assert there.effects == (Say(Prompt.WRONG_POSITION, {"heard": "top", "expected": "bottom"}),)
    assert not there.outcome.advanced
    assert there.session.progress == before
    assert [(d.kind.value, d.detail) for d in there.session.deviations] == [
        ("wrong-object", "top"),
    ]
    raised = drive("double-cone", State.RAISING)
    assert raised.say(Intent.SHAFT_RAISED, position=Position.TOP).prompts == ["wrong-position"]


def test_another_vial_is_answered_refused_and_noted(drive: Start) -> None:
    """A phrase that names another vial cannot label this die."""
    there = drive("double-cone", State.EMPTYING_DIES)
    there.say(Intent.VIAL_FULL, vial=3)
    assert there.effects == (Say(Prompt.WRONG_VIAL, {"heard": 3, "expected": 1}),)
    assert there.vial(1).status is Status.TAKEN
    assert there.session.deviations[0].detail == "3"
    missing = drive("double-cone", State.EMPTYING_DIES).say(Intent.VIAL_FULL, vial=None)
    assert missing.effects == (Say(Prompt.WRONG_VIAL, {"heard": 0, "expected": 1}),)


def test_the_witness_must_affirm_and_may_refuse(drive: Start) -> None:
    """A refused step is as if it had not been said; the operator's own affirm does not count."""
    there = drive("watched", State.WITNESSING)
    assert there.say(Intent.AFFIRM).prompts == ["not-now"]
    assert queries.normal(there.session) is None
    assert there.say(Intent.NEGATIVE).state is State.ENTERING
    assert there.session.ordinal == 5
    assert there.session.progress.pending is None
    signing = drive("watched", State.SIGNING).say(Intent.RECORD_SIGNED)
    assert signing.state is State.WITNESSING
    assert signing.say(Intent.WITNESS_AFFIRMED).state is State.CLOSED


def test_an_entry_names_who_answers_for_it(drive: Start) -> None:
    """The witness for his affirmation, the operator for everything else."""
    there = drive("watched", State.WITNESSING)
    plan = there.session.plan
    witness = next(p.name for p in plan.people if p.role == "witness")
    from tests.unit.procedure.conftest import said  # noqa: PLC0415

    affirmed = said(queries.expected(there.session, Intent.WITNESS_AFFIRMED))
    assert queries.answerable(there.session, affirmed) == witness
    assert queries.answerable(there.session, OPENED) == "Ada"
    assert queries.answerable(
        there.session, said(queries.expected(there.session, Intent.AFFIRM))
    ) == (there.session.operator)
    alone = drive("v-blender", State.SEATING).session
    assert queries.answerable(alone, affirmed) == alone.operator


def test_a_mass_is_read_back_and_affirmed(drive: Start) -> None:
    """Nothing is entered before the affirmation; then the vial has its mass."""
    there = drive("bin", State.WEIGHING)
    there.say(Intent.MASS, number="560.5")
    assert there.vial(1).mass_mg == ""
    effect = there.effects[0]
    assert isinstance(effect, Say)
    assert effect.meaning is not None
    assert effect.meaning.number == "560.5"
    there.say(Intent.AFFIRM)
    assert there.vial(1).mass_mg == "560.5"
    assert there.session.progress.die == 1
    assert there.session.past is not None
    assert there.session.past.meaning.number == "560.5"


@pytest.mark.parametrize("intent", [Intent.NEGATIVE, Intent.CORRECTION])
def test_a_wrong_mass_starts_over(drive: Start, intent: Intent) -> None:
    """A negative, or the word for taking back, drops the number and asks for it anew."""
    there = drive("bin", State.READING_BACK).say(intent)
    assert (there.state, there.prompts) == (State.WEIGHING, ["weigh"])
    assert there.vial(1).status is Status.FULL
    assert there.vial(1).mass_mg == ""
    there.say(Intent.MASS, number="318").say(Intent.AFFIRM)
    assert there.vial(1).mass_mg == "318"


@pytest.mark.parametrize("number", ["0", "0.0", "100000.1", "9999999", None])
def test_an_impossible_mass_is_refused(drive: Start, number: str | None) -> None:
    """Nothing, and more than any die can hold, are misheard digits."""
    there = drive("bin", State.WEIGHING)
    before = there.session
    assert there.say(Intent.MASS, number=number).prompts == ["out-of-range"]
    assert there.session == before


@pytest.mark.parametrize("number", ["0.1", "100000"])
def test_the_bounds_themselves_are_possible(drive: Start, number: str) -> None:
    """The largest mass counts, and the smallest."""
    there = drive("bin", State.WEIGHING).say(Intent.MASS, number=number)
    assert there.state is State.READING_BACK


@pytest.mark.parametrize(
    ("number", "prompt", "kind"),
    [
        ("81.9", "below-minimum", "below-minimum-weight"),
        ("300", "mass-outside", "mass-outside-window"),
        ("900", "mass-outside", "mass-outside-window"),
    ],
)
def test_a_mass_that_cannot_be_right_is_noted(
    drive: Start, number: str, prompt: str, kind: str
) -> None:
    """The mass is kept, said to be off, and a deviation opened for the vial."""
    there = drive("bin", State.WEIGHING).say(Intent.MASS, number=number).say(Intent.AFFIRM)
    assert there.prompts == [prompt, "empty-port-die"]
    assert there.vial(1).mass_mg == number
    deviation = there.session.deviations[-1]
    assert (deviation.kind.value, deviation.vials, deviation.detail) == (kind, (1,), number)


def test_a_short_and_an_empty_die_are_noted(drive: Start) -> None:
    """Each opens a deviation with its vial; an empty one is not weighed."""
    there = drive("bin", State.EMPTYING_DIES).say(Intent.VIAL_EMPTY)
    assert there.state is State.EMPTYING_DIES
    assert there.vial(1).status is Status.EMPTY
    weighing = there.say(Intent.VIAL_SHORT).state
    assert weighing is State.WEIGHING
    kinds = [(d.kind.value, d.vials) for d in there.session.deviations]
    assert kinds == [("empty-die", (1,)), ("short-die", (2,))]


def test_a_marked_shaft_holds_the_work(drive: Start) -> None:
    """Rubbing touches every sample of the insertion; only a decision goes on."""
    there = drive("double-cone", State.MARKED)
    assert there.prompts == []
    assert [(d.kind.value, d.vials) for d in there.session.deviations] == [
        ("marked-shaft", (1, 2, 3)),
    ]
    assert queries.normal(there.session) is None
    assert there.say(Intent.ON_STAND).prompts == ["not-now"]
    exchanged = drive("double-cone", State.MARKED).say(Intent.SAMPLER_CHANGED)
    assert exchanged.state is State.STOWING
    assert there.say(Intent.MARKS_ACCEPTED).state is State.STOWING
    assert len(there.session.open_deviations) == 1


def test_between_insertions_the_head_is_told(drive: Start) -> None:
    """Whoever notes the code down can show later that nothing was cut off."""
    there = drive("double-cone", State.STOWING).say(Intent.ON_STAND)
    assert there.effects[0] == TellHead()
    assert there.session.progress.insertion == 1
    assert there.session.progress.queue == tuple(range(2, 10))
    last = drive("double-cone", State.COUNTING)
    assert last.session.progress.queue == ()
    rest = last.say(Intent.CORRECTION).say(Intent.ON_STAND)
    assert rest.effects[0] == TellHead()


def test_confirming_a_wait_stops_the_clocks(drive: Start) -> None:
    """What was started by opening is stopped by the confirmation."""
    there = drive("double-cone", State.FILLING).answer().say(Intent.SET_FILLED)
    assert there.effects[0] == StopTimers()
    there.ring(Timer.FILL_OVERRUN, 7)
    assert not there.outcome.advanced
    assert there.session.deviations == ()


def test_the_first_insertion_also_says_how_the_clock_lies() -> None:
    """Straight down the middle, where the plan begins there."""
    there = Drive(begin(plan_of("double-cone"))).until(State.POSITIONING)
    assert there.outcome.effects == (
        Say(Prompt.POSITION_CLOCK),
        Say(Prompt.POSITION_MIDDLE, {"manway": "manway"}),
        Say(Prompt.POSITION_UPRIGHT),
    )


@pytest.mark.parametrize(("name", "manway"), [("double-cone", ""), ("v-blender", "west-")])
def test_entry_and_tilt_are_said_by_the_clock(name: str, manway: str) -> None:
    """Where to enter and how to lean, as the plan has it."""
    there = Drive(begin(plan_of(name))).until(State.POSITIONING).answer().until(State.POSITIONING)
    where = aim(there.session.plan, 1)
    assert where.entry is not None
    assert where.tip is not None
    entry, tip = (f"clock-{c.hour}{'-half' * c.half}" for c in (where.entry, where.tip))
    slots: dict[str, Slot] = {"manway": f"{manway}manway", "out": where.entry_mm, "clock": entry}
    assert there.say(Intent.SAY_AGAIN).effects == (
        Say(Prompt.POSITION_ENTRY, slots),
        Say(Prompt.POSITION_TILT, {"tilt": where.tilt_deg, "clock": tip}),
    )


def test_an_empty_die_is_no_sample(drive: Start) -> None:
    """It counts as taken while it is in the powder, and no more once it is seen."""
    there = drive("double-cone", State.EMPTYING_DIES)
    assert tally(there.session)["taken"] == 3
    assert tally(there.say(Intent.VIAL_EMPTY).session)["taken"] == 2
    assert tally(there.say(Intent.VIAL_SHORT).session)["taken"] == 2


def test_together_counts_the_dies_that_are_left(drive: Start) -> None:
    """A vial that is short is named by itself; the rest is full together, read back by number."""
    short = drive("short", State.EMPTYING_DIES)
    short.say(Intent.VIAL_SHORT)
    assert short.prompts == ["empty-die"]
    short.hear(Intent.ALL_FULL)
    assert short.effects == (Say(Prompt.READ_BACK_VIALS, {"vials": "2 3"}),)
    assert short.vial(2).status is Status.TAKEN
    short.say(Intent.AFFIRM)
    assert short.state is State.EMPTYING_TUBE
    assert [short.vial(n).status for n in (1, 2, 3)] == [Status.SHORT, Status.FULL, Status.FULL]
    short.say(Intent.CORRECTION)
    assert short.prompts[-1] == "empty-die"
    assert [short.vial(n).status for n in (1, 2, 3)] == [Status.SHORT, Status.TAKEN, Status.TAKEN]


def test_together_never_passes_over_a_wait(drive: Start) -> None:
    """Neither the filling nor the time with the dies downward is confirmed before it is over."""
    early = drive("short", State.FILLING)
    assert early.say(Intent.FILLED_CLOSED).prompts == ["too-early"]
    assert early.state is State.FILLING
    early = drive("short", State.SHAKING_OFF)
    assert early.say(Intent.DIES_UP_TUBE_OFF).prompts == ["too-early"]


def test_what_is_told_in_few_words_is_told_whole_when_asked(drive: Start) -> None:
    """From the second insertion on the prompts are brief; "say again" gives the long ones."""
    later = drive("short", State.STOWING).answer()
    assert later.prompts == ["seat-brief"]
    assert later.say(Intent.SAY_AGAIN).prompts == ["seat"]
    filling = later.until(State.FILLING)
    assert filling.say(Intent.SAY_AGAIN).prompts == ["fill"]
    filling.ring(Timer.FILL_REACHED)
    assert filling.say(Intent.SAY_AGAIN).prompts == ["close-now"]
    shed = later.until(State.SHAKING_OFF)
    assert shed.prompts == ["shake-off-brief"]
    assert shed.ring(Timer.SHAKE_OFF_REACHED).prompts == ["uncover-brief"]
    assert shed.say(Intent.SAY_AGAIN).prompts == ["uncover"]


def test_the_head_code_is_told_at_the_end_or_when_asked(drive: Start) -> None:
    """A short dialogue does not spell it after every insertion."""
    short = drive("short", State.STOWING)
    assert MarkHead() in short.answer().effects
    assert TellHead() not in short.effects
    assert short.say(Intent.HEAD_CODE).effects == (TellHead(),)
    assert short.state is State.SEATING
    short.until(State.COUNTING)
    assert TellHead() in short.effects


def test_a_full_dialogue_knows_no_phrase_of_the_short_one(drive: Start) -> None:
    """Records from before there was one stay as they were."""
    filling = drive("double-cone", State.FILLING)
    filling.ring(Timer.FILL_REACHED)
    assert filling.say(Intent.FILLED_CLOSED).prompts == ["not-now"]
    assert not filling.outcome.advanced


def test_whose_vials_are_full_is_read_back_by_number_whatever_said_so(drive: Start) -> None:
    """By key, by voice, or in doubt and said once more; a witness hears the numbers, too."""
    for source in ("text", "voice", "key"):
        there = drive("short", State.EMPTYING_DIES)
        meaning = Meaning(intent=Intent.ALL_FULL)
        there.take(Heard(source=source, text="words", decision="accept", meaning=meaning))
        assert there.effects == (Say(Prompt.READ_BACK_VIALS, {"vials": "1 2 3"}),)
    doubted = drive("short", State.EMPTYING_DIES).say(Intent.ALL_FULL, "ask").say(Intent.ALL_FULL)
    assert doubted.effects == (Say(Prompt.READ_BACK_VIALS, {"vials": "1 2 3"}),)
    assert doubted.say(Intent.NEGATIVE).state is State.EMPTYING_DIES
    watched = drive("short-watched", State.EMPTYING_DIES).say(Intent.ALL_FULL)
    assert watched.effects == (Say(Prompt.ASK_WITNESS_VIALS, {"vials": "1 2 3"}),)
    assert watched.say(Intent.WITNESS_AFFIRMED).state is State.EMPTYING_TUBE


def test_a_key_answers_for_the_die_that_was_asked_for(drive: Start) -> None:
    """Where the first was short, a press stands for the next one alone."""
    short = drive("short", State.EMPTYING_DIES)
    assert queries.normal(short.session) == Meaning(intent=Intent.ALL_FULL)
    short.say(Intent.VIAL_SHORT)
    assert queries.normal(short.session) == Meaning(intent=Intent.VIAL_FULL, vial=2)


def test_a_port_left_open_is_noted_while_the_witness_is_asked(drive: Start) -> None:
    """The closing does not count yet, and may be denied."""
    watched = drive("short-watched", State.FILLING)
    watched.ring(Timer.FILL_REACHED).say(Intent.FILLED_CLOSED)
    assert watched.state is State.WITNESSING
    watched.ring(Timer.FILL_OVERRUN)
    assert [deviation.kind for deviation in watched.session.deviations] == [Kind.OVERRUN]
    watched.say(Intent.NEGATIVE)
    assert watched.prompts == ["close-now"]
