"""A whole record in a moment, without sound: for tests and examples of what reads records.

The events are typed ones; the procedure, the words, the chain and the bytes are the real ones. What
comes out is a record like any other and proves itself like any other.
"""

import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from typing import Protocol

from assistant import __version__
from assistant.conformance import outcome_on_record
from assistant.grammar.language import Language, parse_grammar
from assistant.grammar.rendering import phrase
from assistant.journal.chain import seal_line
from assistant.journal.entry import Entry
from assistant.plan import parse_plan
from assistant.plan.dies import mass_window
from assistant.ports import Clock, JournalStore
from assistant.procedure import queries
from assistant.procedure.effects import StartTimer, StopTimers
from assistant.procedure.enums import END, Intent, State
from assistant.procedure.events import (
    Event,
    Heard,
    Meaning,
    Opened,
    RemarkTaken,
    Resumed,
    TimerRang,
    dump,
)
from assistant.procedure.machine import step
from assistant.procedure.model import Session, begin

ANSWER_S = (1.0, 4.0)
"""How long the operator takes for an answer, at least and at most."""

MOST_EVENTS = 100_000
"""Entries after which a session must have ended; more mean a loop."""


class MovableClock(Clock, Protocol):
    """A clock that is moved by hand."""

    def advance(self, nanoseconds: int) -> None:
        """Move on."""
        ...


@dataclass(frozen=True, slots=True)
class Departure:
    """A departure from the normal answer, made once."""

    at: State
    """The state in which it happens."""
    do: Meaning | Event | float
    """What is said, what happens, or for how many seconds nothing is said."""
    visit: int = 1
    """Which visit to the state with an answer to give, counting from 1."""


def quick_record(
    store: JournalStore,
    clock: MovableClock,
    plan: bytes,
    grammar: bytes,
    *,
    departures: Sequence[Departure] = (),
    seed: int = 1,
    until: State | None = None,
    host: str = "",
) -> Session:
    """Put a whole session on record, every prompt answered as it should be.

    Deviations are accepted, shafts clean, vials full; where the plan has vials weighed, their
    masses lie between what a die holds at bulk and at tapped density.

    Args:
        store: takes the lines; it must be empty.
        clock: is moved on with every answer and waiting time.
        plan: bytes of the plan file.
        grammar: bytes of the grammar file.
        departures: what goes otherwise, each in its state and visit.
        seed: of the masses and the pauses.
        until: a state to break off in, as if the power had failed; None works to the end.
        host: name of the machine in the first entry.

    Returns:
        the session as it ended.

    Raises:
        RuntimeError: a departure leads into a circle.
    """
    typist = _Typist(store, clock, plan, grammar, departures=departures, seed=seed, host=host)
    return typist.work(until)


def normal_answer(session: Session, language: Language, chance: random.Random) -> Event:
    """The answer that lets the work go on as it should: a phrase typed, or a remark.

    Args:
        session: as it stands; it has not ended and waits for no timer.
        language: the words of the phrases.
        chance: draws the masses, between those of a die filled at bulk and at tapped density.
    """
    match session.state:
        case State.REMARKING:
            return RemarkTaken(text="seen and judged by the supervisor")
        case State.WEIGHING:
            window = mass_window(session.plan)
            mass = chance.uniform(window.bulk_mg, window.tapped_mg)
            return typed(Meaning(intent=Intent.MASS, number=f"{mass:.1f}"), language)
        case State.DISPOSING:
            return typed(Meaning(intent=Intent.DEVIATION_ACCEPTED), language)
        case _:
            return typed(queries.advancing(session)[0], language)


def typed(meaning: Meaning, language: Language) -> Heard:
    """A phrase as it goes on record when it is typed."""
    words = phrase(language, meaning)
    return Heard(source="text", text=words, decision="accept", meaning=meaning)


class _Typist:
    """Answers by typing, and seals what happens."""

    def __init__(
        self,
        store: JournalStore,
        clock: MovableClock,
        plan: bytes,
        grammar: bytes,
        *,
        departures: Sequence[Departure],
        seed: int,
        host: str,
    ) -> None:
        self._store = store
        self._clock = clock
        self._language = parse_grammar(grammar, "grammar.toml")
        self._session = begin(parse_plan(plan, "plan.toml"))
        self._departures = list(departures)
        self._chance = random.Random(seed)  # noqa: S311 - a rehearsal, not a secret
        self._timers: list[tuple[int, StartTimer]] = []
        self._visits: Counter[State] = Counter()
        self._last: Entry | None = None
        self._boot = 1
        self._opening = Opened(
            software=f"sampling-assistant {__version__}",
            plan_sha256=sha256(plan).hexdigest(),
            grammar_sha256=sha256(grammar).hexdigest(),
            operator=next(p.name for p in self._session.plan.people if p.role == "operator"),
            engine="typed",
            microphone="none",
            speaker="none",
            kind="rehearsal",
            host=host,
        )

    def work(self, until: State | None) -> Session:
        """Answer until the session ends or stands in `until`."""
        self._take(self._opening)
        for _ in range(MOST_EVENTS):
            if self._session.state in END or self._session.state is until:
                return self._session
            self._next()
        msg = f"the session still stands in {self._session.state.value} after {MOST_EVENTS} events"
        raise RuntimeError(msg)

    def _next(self) -> None:
        state = self._session.state
        if state in (State.FILLING, State.SHAKING_OFF) and not self._session.progress.waited:
            self._ring(min(due for due, _ in self._timers) - self._clock.now().mono_ns)
            return
        self._visits[state] += 1
        departure = self._departure(state)
        if isinstance(departure, float | int):
            self._ring(round(departure * 1e9))
            return
        self._ring(round(self._chance.uniform(*ANSWER_S) * 10) * 100_000_000)
        if departure is None:
            self._take(self._normal())
        elif isinstance(departure, Meaning):
            self._take(self._said(departure))
        else:
            if isinstance(departure, Resumed):
                self._boot += 1
                self._timers.clear()
            self._take(departure)

    def _departure(self, state: State) -> Meaning | Event | float | None:
        for departure in self._departures:
            if departure.at is state and departure.visit <= self._visits[state]:
                self._departures.remove(departure)
                return departure.do
        return None

    def _ring(self, nanoseconds: int) -> None:
        """Let time pass, and every timer ring that runs out in it."""
        end = self._clock.now().mono_ns + nanoseconds
        while due := sorted((t for t in self._timers if t[0] <= end), key=lambda t: t[0]):
            moment, timer = due[0]
            self._timers.remove(due[0])
            self._clock.advance(max(0, moment - self._clock.now().mono_ns))
            self._take(TimerRang(timer=timer.timer, generation=timer.generation))
        self._clock.advance(end - self._clock.now().mono_ns)

    def _normal(self) -> Event:
        return normal_answer(self._session, self._language, self._chance)

    def _said(self, meaning: Meaning) -> Heard:
        return typed(meaning, self._language)

    def _take(self, event: Event) -> None:
        outcome = step(self._session, event)
        entry, line = seal_line(
            self._last,
            at=self._clock.now(),
            boot=f"start-{self._boot}",
            by=queries.answerable(self._session, event),
            event=dump(event),
            outcome=outcome_on_record(outcome, self._language),
        )
        self._store.append(line)
        self._last, self._session = entry, outcome.session
        for effect in outcome.effects:
            if isinstance(effect, StopTimers):
                self._timers.clear()
            elif isinstance(effect, StartTimer):
                due = self._clock.now().mono_ns + effect.milliseconds * 1_000_000
                self._timers.append((due, effect))
