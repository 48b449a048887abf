"""Random walks through the procedure: whatever is said and happens, the rules hold.

Legal and illegal phrases, doubts, timers right and stale, breaks and troubles come in any order;
after each event the invariants are checked and the record so far is folded anew.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from assistant.clock import ManualClock
from assistant.conformance import FoldedEntry, outcome_on_record, retell
from assistant.grammar.language import Language, parse_grammar
from assistant.grammar.rendering import sentence
from assistant.journal.chain import line, seal
from assistant.journal.entry import Entry
from assistant.plan import Plan, Position, parse_plan
from assistant.procedure import queries
from assistant.procedure.effects import Close, Effect, Say, StartTimer, StopTimers
from assistant.procedure.enums import END, Intent, State, Timer
from assistant.procedure.events import (
    AudioLost,
    ClockStepped,
    DeviceBack,
    DeviceLost,
    Event,
    Heard,
    Meaning,
    NoiseRose,
    Opened,
    RemarkTaken,
    Resumed,
    StorageTroubled,
    TimerRang,
    dump,
)
from assistant.procedure.machine import step
from assistant.procedure.model import Session, Status, begin

ROOT = Path(__file__).parents[2]
PLANS = ("double-cone", "v-blender", "bin", "watched", "two-ports")
WITNESSED = ("at-depth", "port-open", "port-closed", "vial", "tube-emptied", "signing")
OPEN = (State.FILLING, State.CLOSING)
"""Steps in which the ports are open."""

TROUBLES: tuple[Event, ...] = (
    DeviceLost(device="microphone", reason="unplugged"),
    DeviceBack(device="microphone", name="the same"),
    AudioLost(milliseconds=50),
    ClockStepped(seconds="3600"),
    NoiseRose(noise_dbfs="-40.0", rise_db="8.0"),
    StorageTroubled(reason="full", seconds="3.0"),
    RemarkTaken(text="dusty today"),
    Heard(source="voice", text="", decision="refuse", reason="unclear"),
    Heard(source="voice", text="", decision="refuse", reason="no-phrase"),
)


@cache
def english() -> Language:
    """Return the shipped grammar."""
    return parse_grammar((ROOT / "grammars" / "en.toml").read_bytes(), "en.toml")


@cache
def plan_of(name: str) -> Plan:
    """Return a shipped plan cut to three locations, so that walks reach its end."""
    base = {"watched": "bin", "two-ports": "double-cone"}.get(name, name)
    plan = parse_plan((ROOT / "plans" / f"{base}.toml").read_bytes(), base)
    plan = plan.model_copy(update={"locations": plan.locations[:3]})
    if name == "watched":
        return plan.model_copy(update={"witnessed": WITNESSED})
    if name == "two-ports":
        sampler = plan.sampler.model_copy(update={"ports_mm": (60.0, 160.0)})
        return plan.model_copy(update={"sampler": sampler, "cautions": ()})
    return plan


MEANINGS = st.builds(
    Meaning,
    intent=st.sampled_from(Intent),
    position=st.none() | st.sampled_from(Position),
    vial=st.none() | st.integers(1, 40),
    call=st.none() | st.sampled_from(["alpha", "charlie", "foxtrot", "echo"]),
    number=st.none() | st.sampled_from(["0", "5", "560.2", "999999.5"]),
)


class Walk(RuleBasedStateMachine):
    """A session, its record, and what really happened with every port."""

    def __init__(self) -> None:
        """Stand before the first event."""
        super().__init__()
        self.clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
        self.session: Session = begin(plan_of("bin"))
        self.lines: list[bytes] = []
        self.told: Iterator[FoldedEntry] = iter(())
        self.last: Entry | None = None
        self.running: dict[Timer, int] = {}
        self.effects: tuple[Effect, ...] = ()
        self.waited: set[tuple[int, int]] = set()
        self.opened: set[tuple[int, int]] = set()

    @initialize(name=st.sampled_from(PLANS))
    def open(self, name: str) -> None:
        """Begin with a plan; the record is retold in step with the writing."""
        self.session = begin(plan_of(name))
        self.told = iter(retell(iter(self._next_line, b""), plan_of(name), english()))
        people = self.session.plan.people
        self.take(
            Opened(
                software="s",
                plan_sha256="p",
                grammar_sha256="g",
                operator=next(p.name for p in people if p.role == "operator"),
                engine="e",
                microphone="m",
                speaker="l",
            )
        )

    def _next_line(self) -> bytes:
        return self.lines[-1]

    def take(self, event: Event) -> None:
        """Step, seal, retell, and follow what happens to ports and timers."""
        before = self.session
        outcome = step(before, event)
        if before.state in END:
            assert (outcome.session, outcome.effects, outcome.advanced) == (before, (), False)
            return
        self.clock.advance(1_000_000_000)
        self.last = seal(
            self.last,
            at=self.clock.now(),
            boot="walk",
            by=queries.answerable(before, event),
            event=dump(event),
            outcome=outcome_on_record(outcome, english()),
        )
        self.lines.append(line(self.last))
        self.session, self.effects = outcome.session, outcome.effects
        for effect in outcome.effects:
            if isinstance(effect, StopTimers):
                self.running.clear()
            elif isinstance(effect, StartTimer):
                self.running[effect.timer] = effect.generation
        told = next(self.told)
        assert told.outcome == outcome
        assert told.outcome.session == self.session
        self._follow(before, event)

    def _follow(self, before: Session, event: Event) -> None:
        """Keep books on the ports, from the events and not from the samples."""
        here = (before.progress.insertion, before.progress.position)
        now = (self.session.progress.insertion, self.session.progress.position)
        # A short dialogue raises and opens in one step; a closing taken back opens nothing.
        opens = before.step is State.OPENING or (before.step is State.RAISING and now != here)
        if opens and self.session.state is State.FILLING:
            self.opened.add(now)
            self.waited.discard(now)
        rang = isinstance(event, TimerRang) and event.timer is Timer.FILL_REACHED
        if rang and before.step is State.FILLING and self.session.progress.waited:
            self.waited.add(here)
        open_before = before.step in (State.FILLING, State.CLOSING)
        if open_before and self.session.state in (State.RAISING, State.WITHDRAWING):
            assert here in self.opened
            assert here in self.waited
        elif before.step is not State.CLOSING:
            self._none_taken(before)

    def _none_taken(self, before: Session) -> None:
        """No die comes to hold a sample but by closing."""
        old = {s.vial: s.status for s in before.progress.samples}
        for sample in self.session.progress.samples:
            taken = old.get(sample.vial) is Status.PLANNED and sample.status is not Status.PLANNED
            assert not taken or sample.status is Status.VOID

    @rule(times=st.integers(1, 12))
    def go_on(self, times: int) -> None:
        """Answer as a smooth session would, a few times."""
        for _ in range(times):
            if self.session.state in END:
                return
            self.take(self._normal())
            self.rules_hold()

    def _normal(self) -> Event:
        state, progress = self.session.state, self.session.progress
        waiting = {State.FILLING: Timer.FILL_REACHED, State.SHAKING_OFF: Timer.SHAKE_OFF_REACHED}
        if state in waiting and not progress.waited:
            return TimerRang(timer=waiting[state], generation=progress.timer)
        if state is State.REMARKING:
            return RemarkTaken(text="as discussed")
        if state is State.WEIGHING:
            return self._said(Meaning(intent=Intent.MASS, number="560.5"))
        return self._said(queries.advancing(self.session)[0])

    def _said(self, meaning: Meaning) -> Heard:
        return Heard(source="text", text="words", decision="accept", meaning=meaning)

    @rule(data=st.data())
    def say_what_fits(self, data: st.DataObject) -> None:
        """Anything that may be said now, surely heard or not."""
        options = queries.options(self.session)
        if options:
            meaning = data.draw(st.sampled_from(options))
            if meaning.intent is Intent.MASS:
                meaning = meaning.model_copy(update={"number": "560.5"})
            self._speak(meaning, data)

    @rule(meaning=MEANINGS, data=st.data())
    def say_anything(self, meaning: Meaning, data: st.DataObject) -> None:
        """Any phrase about any object at any moment."""
        self._speak(meaning, data)

    @rule(intent=st.sampled_from(Intent), data=st.data())
    def say_the_object_in_hand(self, intent: Intent, data: st.DataObject) -> None:
        """Any phrase, about the right object."""
        if intent is not Intent.STOP_SAMPLING:
            self._speak(queries.expected(self.session, intent), data)

    def _speak(self, meaning: Meaning, data: st.DataObject) -> None:
        heard = Heard(source="voice", text="words", decision="accept", meaning=meaning)
        doubtful = data.draw(st.sampled_from([False, False, True]))
        self.take(heard.model_copy(update={"decision": "ask"}) if doubtful else heard)

    @rule(event=st.sampled_from(TROUBLES))
    def trouble(self, event: Event) -> None:
        """Something happens around the work."""
        self.take(event)

    @precondition(lambda self: self.running)
    @rule(data=st.data())
    def ring(self, data: st.DataObject) -> None:
        """A running timer rings, in whatever dialogue the work stands."""
        timer = data.draw(st.sampled_from(sorted(self.running)))
        self.take(TimerRang(timer=timer, generation=self.running.pop(timer)))

    @rule(timer=st.sampled_from(Timer), back=st.integers(1, 3))
    def ring_stale(self, timer: Timer, back: int) -> None:
        """A ring of an earlier start, or of a later one, changes nothing."""
        number = self.session.progress.timer
        wrong = number - back if number > back else number + back
        before = self.session
        self.take(TimerRang(timer=timer, generation=wrong))
        assert self.session == before

    @rule()
    def break_off(self) -> None:
        """The program was down for a while; its timers are gone."""
        self.running.clear()
        self.take(Resumed(software="s", engine="e", microphone="m", speaker="l"))

    @invariant()
    def rules_hold(self) -> None:
        """The shaft, the counts, the end, and the words."""
        self._bottom_to_top()
        self._counts_reconcile()
        self._ends_by_closing()
        self._can_be_said()

    def _bottom_to_top(self) -> None:
        """Positions are sampled from the bottom, and nothing moves while a port is open."""
        session = self.session
        if session.step not in (*OPEN, State.OPENING, State.RAISING, State.WITHDRAWING):
            return
        position = session.progress.position
        for sample in session.here():
            below = sample.position < position
            done = sample.position == position and session.step in (
                State.RAISING,
                State.WITHDRAWING,
            )
            wanted = Status.TAKEN if below or done else Status.PLANNED
            assert sample.status is wanted
        if session.step is State.WITHDRAWING:
            assert position == len(session.plan.sampler.positions) - 1

    def _counts_reconcile(self) -> None:
        session, progress = self.session, self.session.progress
        size = session.plan.vials_per_insertion
        assert [s.vial for s in progress.samples] == list(range(1, len(progress.samples) + 1))
        assert len(progress.samples) == size * len(progress.insertions)
        spots = [(i.location, i.attempt) for i in progress.insertions]
        assert len(set(spots)) == len(spots)
        assert len(set(progress.queue)) == len(progress.queue)
        assert [d.number for d in session.deviations] == list(range(1, len(session.deviations) + 1))
        if session.state in (State.COUNTING, State.SIGNING, State.CLOSED):
            assert progress.queue == ()
            self._no_location_is_left_out()

    def _no_location_is_left_out(self) -> None:
        """At close-out each location's last insertion was worked through to its last die."""
        progress = self.session.progress
        latest = {i.location: n for n, i in enumerate(progress.insertions)}
        assert set(latest) == set(range(len(self.session.plan.locations)))
        for sample in progress.samples:
            if sample.insertion in latest.values():
                assert sample.status not in (Status.PLANNED, Status.TAKEN)

    def _ends_by_closing(self) -> None:
        closes = any(isinstance(effect, Close) for effect in self.effects)
        assert closes == (self.session.state in END)
        if self.session.state is State.CLOSED:
            assert self.session.open_deviations == ()

    def _can_be_said(self) -> None:
        for effect in self.effects:
            if isinstance(effect, Say):
                for spoken in (True, False):
                    text = sentence(english(), effect, spoken=spoken)
                    assert "{" not in text
                    assert "<" not in text


TestWalk = pytest.mark.slow(Walk.TestCase)
TestWalk.settings = settings(max_examples=100, stateful_step_count=50, deadline=None)
