"""A session that is driven by meanings, and the ways into each of its states."""

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from typing import Any, Literal

import pytest

from assistant.plan import Plan, parse_plan
from assistant.procedure import queries
from assistant.procedure.effects import Effect, Say
from assistant.procedure.enums import Intent, State, Timer
from assistant.procedure.events import (
    Event,
    Heard,
    Meaning,
    Opened,
    RemarkTaken,
    Resumed,
    TimerRang,
)
from assistant.procedure.machine import Outcome, step
from assistant.procedure.model import Sample, Session, begin

PLANS = Path(__file__).parents[3] / "plans"

OPENED = Opened(
    software="s",
    plan_sha256="p",
    grammar_sha256="g",
    operator="Ada",
    engine="e",
    microphone="m",
    speaker="l",
)
RESUMED = Resumed(software="s", engine="e", microphone="m", speaker="l")

WITNESSED = ("at-depth", "port-open", "port-closed", "vial", "tube-emptied", "signing")


@cache
def plan_of(name: str) -> Plan:
    """Return a shipped plan; "watched" has everything witnessed, "brief" asks for nothing more.

    "short", "short-watched" and "short-weighed" hold the short dialogue.
    """
    base = BASES.get(name, name)
    plan = parse_plan((PLANS / f"{base}.toml").read_bytes(), base)
    dialogue = "short" if name.startswith("short") else "full"
    plan = plan.model_copy(update={"dialogue": dialogue})
    if name == "short-watched":
        return plan.model_copy(update={"witnessed": WITNESSED, "people": plan_of("bin").people})
    if name == "watched":
        return plan.model_copy(update={"witnessed": WITNESSED})
    if name == "brief":
        return plan.model_copy(update={"cautions": ()})
    return plan


BASES = {
    "watched": "bin",
    "brief": "v-blender",
    "short": "double-cone",
    "short-watched": "double-cone",
    "short-weighed": "bin",
}
NAMES = ("double-cone", "v-blender", "bin", "watched", "brief", *list(BASES)[2:])


def said(
    meaning: Meaning,
    decision: Literal["accept", "ask"] = "accept",
    text: str = "words",
    source: Literal["voice", "text"] = "text",
) -> Heard:
    """Return the event of a phrase."""
    return Heard(source=source, text=text, decision=decision, meaning=meaning)


class Drive:
    """A session and what came of its last event."""

    def __init__(self, session: Session) -> None:
        """Take a session over."""
        self.session = session
        self.outcome = Outcome(session, (), advanced=False)

    @property
    def state(self) -> State:
        """Where the work stands."""
        return self.session.state

    @property
    def prompts(self) -> list[str]:
        """What the last event made the program say."""
        return [effect.prompt.value for effect in self.effects if isinstance(effect, Say)]

    @property
    def effects(self) -> tuple[Effect, ...]:
        """What the last event asked for."""
        return self.outcome.effects

    def take(self, event: Event) -> Outcome:
        """Work one event in."""
        self.outcome = step(self.session, event)
        self.session = self.outcome.session
        return self.outcome

    def say(
        self,
        intent: Intent,
        decision: Literal["accept", "ask"] = "accept",
        **objects: Any,  # noqa: ANN401 - the model checks them
    ) -> "Drive":
        """Say a phrase about the object in hand, or about another one."""
        meaning = queries.expected(self.session, intent)
        self.take(said(meaning.model_copy(update=objects), decision))
        return self

    def hear(self, intent: Intent, **objects: Any) -> "Drive":  # noqa: ANN401 - as above
        """Say a phrase by voice, where that makes a difference."""
        meaning = queries.expected(self.session, intent).model_copy(update=objects)
        self.take(said(meaning, source="voice"))
        return self

    def ring(self, timer: Timer, generation: int | None = None) -> "Drive":
        """Let a timer ring, of the present start if not told otherwise."""
        number = self.session.progress.timer if generation is None else generation
        self.take(TimerRang(timer=timer, generation=number))
        return self

    def answer(self) -> "Drive":
        """Do what is asked for, without any trouble."""
        progress, state = self.session.progress, self.state
        if state is State.NEW:
            self.take(OPENED)
        elif state is State.FILLING and not progress.waited:
            self.ring(Timer.FILL_REACHED)
        elif state is State.SHAKING_OFF and not progress.waited:
            self.ring(Timer.SHAKE_OFF_REACHED)
        elif state is State.REMARKING:
            self.take(RemarkTaken(text="as discussed"))
        elif state is State.WEIGHING:
            self.say(Intent.MASS, number="560.5")
        elif state is State.DISPOSING:
            self.say(Intent.DEVIATION_ACCEPTED)
        else:
            self.say(queries.advancing(self.session)[0].intent)
        return self

    def until(self, state: State) -> "Drive":
        """Answer until the work stands in `state`."""
        for _ in range(2000):
            if self.state is state:
                return self
            self.answer()
        msg = f"{state.value} is not reached; the work stands in {self.state.value}"
        raise AssertionError(msg)

    def vial(self, number: int) -> Sample:
        """Return the sample of a vial."""
        return next(s for s in self.session.progress.samples if s.vial == number)


def _inspecting(drive: Drive) -> None:
    drive.until(State.EMPTYING_TUBE).say(Intent.TUBE_EMPTIED).until(State.INSPECTING)


def _marked(drive: Drive) -> None:
    _inspecting(drive)
    drive.say(Intent.SHAFT_MARKED)


def _disposing(drive: Drive) -> None:
    drive.until(State.OPENING).say(Intent.NOTE_SPILL).say(Intent.PLACE_FLOOR)
    drive.say(Intent.AMOUNT_TRACE).say(Intent.AFFECTS_INSERTION).until(State.DISPOSING)


def _note(drive: Drive, answers: int) -> None:
    drive.until(State.FILLING).say(Intent.NOTE_SPILL)
    for intent in (Intent.PLACE_VESSEL, Intent.AMOUNT_MORE)[:answers]:
        drive.say(intent)


def _doubting(drive: Drive) -> None:
    drive.until(State.FILLING).answer()
    drive.say(queries.advancing(drive.session)[0].intent, "ask")


def _reading_back(drive: Drive) -> None:
    if drive.session.plan.weighing is not None:
        drive.until(State.READING_BACK)
    elif drive.session.plan.witnessed:
        drive.until(State.SEATING).hear(Intent.TAKE_OVER, call=drive.session.plan.people[0].call)
    else:
        drive.until(State.EMPTYING_DIES).hear(Intent.VIAL_FULL)


WAYS: Mapping[State, Callable[[Drive], object]] = {
    State.INSPECTING: _inspecting,
    State.MARKED: _marked,
    State.DISPOSING: _disposing,
    State.STOPPED: lambda d: (
        d.until(State.SHAKING_OFF).say(Intent.STOP_SAMPLING).say(Intent.AFFIRM)
    ),
    State.STANDING_BY: lambda d: d.until(State.STOWING).say(Intent.STAND_BY),
    State.NOTE_PLACE: lambda d: _note(d, 0),
    State.NOTE_AMOUNT: lambda d: _note(d, 1),
    State.NOTE_SAMPLES: lambda d: _note(d, 2),
    State.REMARKING: lambda d: d.until(State.STOWING).say(Intent.REMARK),
    State.STOPPING: lambda d: d.until(State.EMPTYING_TUBE).say(Intent.STOP_SAMPLING),
    State.DOUBTING: _doubting,
    State.READING_BACK: _reading_back,
    State.CHECKING: lambda d: d.until(State.WITHDRAWING).take(RESUMED),
}
"""The ways into the states that undisturbed work does not pass."""

TOGETHER = (State.CLOSING, State.INVERTING, State.REMOVING_TUBE)
"""Steps that a short dialogue passes over."""

MISSING = {
    "double-cone": {State.WEIGHING, State.WITNESSING},
    "v-blender": {State.WEIGHING, State.WITNESSING},
    "bin": {State.RAISING, State.WITNESSING},
    "watched": {State.RAISING},
    "brief": {State.BRIEFING, State.WEIGHING, State.WITNESSING},
    "short": {*TOGETHER, State.WEIGHING, State.WITNESSING},
    "short-watched": {*TOGETHER, State.WEIGHING},
    "short-weighed": {*TOGETHER, State.RAISING, State.WITNESSING},
}
"""States that a plan never leads to."""


@cache
def session_in(name: str, state: State) -> Session:
    """Return a session of a plan that stands in a state, come there by events alone."""
    drive = Drive(begin(plan_of(name)))
    if state in WAYS:
        WAYS[state](drive)
    else:
        drive.until(state)
    assert drive.state is state
    return drive.session


def reachable() -> list[tuple[str, State]]:
    """Return every plan with every state that it leads to."""
    return [
        (name, state)
        for name in NAMES
        for state in State
        if state is not State.BACK and state not in MISSING[name]
    ]


@pytest.fixture
def drive() -> Callable[..., Drive]:
    """Return a function that gives a drive standing in a state of a plan."""

    def start(name: str, state: State = State.NEW) -> Drive:
        return Drive(session_in(name, state))

    return start
