"""Every state with every trigger: each row is taken, each absent row changes nothing."""

from collections.abc import Iterator
from itertools import islice, permutations, product
from typing import Literal

import pytest

from assistant.procedure import queries
from assistant.procedure.effects import Close, Say
from assistant.procedure.enums import (
    END,
    QUESTIONS,
    TRIGGERS,
    Intent,
    Prompt,
    Signal,
    State,
    Timer,
    Trigger,
)
from assistant.procedure.events import DeviceLost, Event, Heard, Meaning, RemarkTaken, TimerRang
from assistant.procedure.machine import Outcome, step
from assistant.procedure.model import Session, begin
from assistant.procedure.table import Line, rows
from assistant.procedure.transition_context import Transition
from tests.unit.procedure.conftest import (
    NAMES,
    OPENED,
    RESUMED,
    TOGETHER,
    Drive,
    plan_of,
    reachable,
    said,
    session_in,
)

Source = Literal["text", "voice"]
SOURCES: tuple[Source, ...] = ("text", "voice")

PLANS_OF: dict[State, list[str]] = {
    state: [name for name, reached in reachable() if reached is state]
    for state in State
    if state is not State.BACK
}


def meant(session: Session, intent: Intent) -> Meaning:
    """Return what would be meant by a phrase now, its object the one in hand."""
    meaning = queries.expected(session, intent)
    if intent is Intent.MASS:
        return meaning.model_copy(update={"number": "312.5"})
    if intent is Intent.TAKE_OVER:
        call = next(p.call for p in session.plan.people if p.role == "operator")
        return meaning.model_copy(update={"call": call})
    return meaning


def event_of(session: Session, trigger: Trigger, source: Source = "text") -> Event:
    """Return the event that fires a trigger now."""
    match trigger:
        case Intent():
            return said(meant(session, trigger), source=source)
        case Signal.OPENED:
            return OPENED
        case Signal.RESUMED:
            return RESUMED
        case Signal.REMARK_TAKEN:
            return RemarkTaken(text="a remark")
        case Signal.DOUBT:
            return said(meant(session, Intent.STAND_BY), "ask", source=source)
        case _:
            generation = session.progress.timer or 1
            return TimerRang(timer=Timer(trigger.value), generation=generation)


WAITED_FOR = (
    Intent.SET_FILLED,
    Intent.FILLED_CLOSED,
    Intent.SHAKEN_OFF,
    Intent.DIES_UP_TUBE_OFF,
)

ROWS: dict[tuple[State, Trigger], list[Line]] = {}
for _row in rows():
    ROWS.setdefault((_row.source, _row.trigger), []).append(_row)


def row_for(
    session: Session,
    trigger: Trigger,
    meaning: Meaning | None,
    released: frozenset[State] = frozenset(),
    source: Source = "text",
) -> Line | None:
    """Return the first row of the table that fits, found without the machine."""
    if trigger in queries.unused(session.plan):
        return None
    work = Transition(session, meaning=meaning, released=released, by_voice=source == "voice")
    fitting = (row for row in ROWS.get((session.state, trigger), ()) if _fits(row, work))
    return next(fitting, None)


def _fits(row: Line, work: Transition) -> bool:
    return row.guard is None or row.guard(work)


def drops_held(session: Session, trigger: Trigger) -> bool:
    """Whether a phrase takes the place of a held one because it fits where that was said."""
    held = session.state in (State.DOUBTING, State.READING_BACK)
    if not held or not isinstance(trigger, Intent):
        return False
    return trigger in queries.triggers(session, session.progress.back[-1])


@pytest.mark.parametrize("state", PLANS_OF)
def test_the_machine_does_what_the_table_says(state: State) -> None:
    """A row that fits leads where it says; without one, the session is the same as before."""
    for name, trigger, source in product(PLANS_OF[state], TRIGGERS, SOURCES):
        try:
            _does_what_the_table_says(session_in(name, state), trigger, source)
        except AssertionError as fault:
            fault.add_note(f"plan {name}, {trigger.value} by {source}")
            raise


def _does_what_the_table_says(session: Session, trigger: Trigger, source: Source) -> None:
    event = event_of(session, trigger, source)
    outcome = step(session, event)
    row = row_for(session, trigger, getattr(event, "meaning", None), source=source)
    if trigger is Signal.DOUBT and Intent.STAND_BY not in queries.triggers(session):
        row = None
    if row is not None:
        _follows(outcome, row, session)
    elif drops_held(session, trigger):
        _drops(outcome, session, event)
    else:
        _unchanged(outcome, session)
        refused = {effect.prompt for effect in outcome.effects if isinstance(effect, Say)}
        assert len(outcome.effects) == len(refused)
        assert refused == _refusals(session, trigger)


def _follows(outcome: Outcome, row: Line, session: Session) -> None:
    assert outcome.advanced
    if row.target is None:
        assert outcome.session.state is session.state
    elif row.target is not State.BACK:
        assert outcome.session.state is row.target
    else:
        assert outcome.session.state is not State.BACK
    assert outcome.effects or row.trigger in (Signal.FILL_REACHED, Signal.SHAKE_OFF_REACHED)


def _drops(outcome: Outcome, session: Session, event: Event) -> None:
    """A doubt is over; what was read back is asked anew, or another hearing stands for it."""
    assert isinstance(event, Heard)
    after, pending = outcome.session, session.progress.pending
    if session.state is State.READING_BACK and event.meaning == pending:
        _unchanged(outcome, session)
        assert [e.prompt for e in outcome.effects if isinstance(e, Say)] == [Prompt.READ_BACK]
    else:
        assert after.progress.pending in (None, event.meaning)
        assert after.progress.pending != pending or after.state is State.WITNESSING


def _unchanged(outcome: Outcome, session: Session) -> None:
    assert not outcome.advanced
    assert outcome.session == session
    assert outcome.session.past is session.past


def _refusals(session: Session, trigger: Trigger) -> set[Prompt]:
    """What is said when a trigger does not fit."""
    if session.state in END:
        return set()
    if trigger is Signal.DOUBT:
        return {Prompt.NOT_UNDERSTOOD}
    if isinstance(trigger, Signal):
        return set()
    if trigger not in queries.triggers(session):
        return {Prompt.NOT_NOW}
    return {
        Intent.SET_FILLED: {Prompt.TOO_EARLY},
        Intent.FILLED_CLOSED: {Prompt.TOO_EARLY},
        Intent.DIES_UP_TUBE_OFF: {Prompt.TOO_EARLY},
        Intent.SHAKEN_OFF: {Prompt.TOO_EARLY},
        Intent.CORRECTION: {Prompt.NOTHING_TO_CORRECT},
    }.get(trigger, {Prompt.NOT_NOW})


def test_every_row_can_be_taken() -> None:
    """No row is dead: on some way through some plan it is the one that fits."""
    taken: set[Line] = set()
    for session in _walked():
        for trigger in queries.triggers(session):
            meaning = getattr(event_of(session, trigger), "meaning", None)
            for source, released in product(SOURCES, ((), (State.READING_BACK, State.WITNESSING))):
                row = row_for(session, trigger, meaning, frozenset(released), source)
                if row is not None:
                    taken.add(row)
    # Only a short dialogue tells the head code, and it passes over these steps.
    silent = {r for r in rows() if r.source in TOGETHER and r.trigger is Intent.HEAD_CODE}
    assert taken == set(rows()) - silent


def _walked() -> Iterator[Session]:
    """Yield every session on the undisturbed way through each plan, and those aside of it."""
    yield from (session_in(name, state) for name, state in reachable())
    starts = [(name, State.NEW) for name in NAMES]
    starts += [(name, State.MARKED) for name in NAMES]
    for name, state in starts:
        yield from _onward(Drive(session_in(name, state)))
    for wait in (State.FILLING, State.SHAKING_OFF):
        yield from _aside(session_in("bin", wait))
    yield step(session_in("bin", State.COUNTING), RESUMED).session
    lost = DeviceLost(device="speaker", reason="unplugged")
    yield step(session_in("bin", State.SIGNING), lost).session
    for order in permutations(("isolated", "earthed", "protected")):
        plan = plan_of("bin").model_copy(update={"cautions": order})
        yield from islice(_onward(Drive(begin(plan))), 5)


def _aside(session: Session) -> Iterator[Session]:
    """Yield every side dialogue that can be held in a step."""
    for intent in (Intent.STAND_BY, Intent.REMARK, Intent.STOP_SAMPLING):
        yield Drive(session).say(intent).session
    yield Drive(session).say(Intent.STAND_BY, "ask").session
    yield step(session, event_of(session, Intent.TAKE_OVER, "voice")).session
    yield step(session, RESUMED).session
    note = Drive(session).say(Intent.NOTE_LEAK)
    yield note.session
    for intent in (Intent.PLACE_VIALS, Intent.AMOUNT_SPOONFUL):
        yield note.say(intent).session


def _onward(drive: Drive) -> Iterator[Session]:
    """Yield the session after every normal answer, up to the end."""
    while drive.state not in END:
        yield drive.answer().session


def test_all_states_are_stood_in() -> None:
    """Between them the plans lead into every state there is."""
    assert {state for _, state in reachable()} == set(State) - {State.BACK}
    assert {name for name, _ in reachable()} == set(NAMES)


@pytest.mark.parametrize(("name", "state"), reachable())
def test_what_is_offered_is_taken(name: str, state: State) -> None:
    """Every phrase that may be said now has its row, and names the object in hand."""
    session = session_in(name, state)
    offered = queries.options(session)
    assert len(set(offered)) == len(offered)
    for meaning in offered:
        assert queries.legal(session, meaning)
        full = meaning.model_copy(update={"number": "300"} if meaning.intent is Intent.MASS else {})
        waiting = meaning.intent in WAITED_FOR
        if not waiting or session.progress.waited:
            assert step(session, said(full)).advanced


@pytest.mark.parametrize(("name", "state"), reachable())
def test_nothing_but_the_end_closes(name: str, state: State) -> None:
    """The record closes where the session ends, and nowhere else."""
    session = session_in(name, state)
    for trigger in TRIGGERS:
        outcome = step(session, event_of(session, trigger))
        closes = any(isinstance(effect, Close) for effect in outcome.effects)
        assert closes == (outcome.session.state in END and state not in END)


@pytest.mark.parametrize(("name", "state"), reachable())
def test_questions_touch_nothing(name: str, state: State) -> None:
    """Asking is answered, surely heard or not, and leaves the session as it is."""
    session = session_in(name, state)
    if state in (State.NEW, *END):
        return
    for intent in set(QUESTIONS) - set(queries.unused(session.plan)):
        for decision in ("accept", "ask"):
            outcome = step(session, said(Meaning(intent=intent), decision))
            assert outcome.session == session
            assert outcome.advanced
            assert outcome.effects
