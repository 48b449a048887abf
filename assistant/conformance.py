"""Conformance of a record: its events are folded again and compared with the outcomes on record.

Pure: takes lines, gives entries with the session as it stood after each. The proof is the fold:
the machine is driven over the events once more, and every state, effect and person it arrives at
must be the one on record.

A long record repeats itself: the same phrase in the same state. `step` is a function, so its
outcomes are cached. The cache key is the phrase and the decision. Clip, scores and engine are left
out: an outcome must not depend on them.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from pydantic import JsonValue, ValidationError

from assistant import __version__
from assistant.errors import GrammarError, RecordBroken
from assistant.grammar.language import Language
from assistant.grammar.rendering import sentence
from assistant.journal.chain import read
from assistant.journal.entry import Entry
from assistant.journal.upcast import Fields, Upgrade, upcast
from assistant.plan.model import Plan
from assistant.procedure.effects import Effect, Say, StartTimer, StopTimers, plain
from assistant.procedure.enums import END
from assistant.procedure.events import SCHEMA, Event, Heard, Opened, Resumed, TimerRang, load
from assistant.procedure.machine import Outcome, step
from assistant.procedure.model import Session, begin
from assistant.procedure.queries import answerable
from assistant.procedure.renamed import BY_KEY


@dataclass(frozen=True, slots=True)
class Kept:
    """What lies beside a record."""

    plan: Plan
    """Read from the exact bytes kept in the record's folder."""
    language: Language
    """The same."""


def _from_schema_1(fields: Fields, _kept: Kept) -> Fields:
    """Give states, intents, timers and prompts their present names; the first entry its schema."""
    event, outcome = (_renamed(fields[key]) for key in ("event", "outcome"))
    if isinstance(event, dict) and "schema" in event:
        event["schema"] = 2
    return {**fields, "event": event, "outcome": outcome}


def _renamed(value: JsonValue, key: str = "") -> JsonValue:
    if isinstance(value, dict):
        return {name: _renamed(each, name) for name, each in value.items()}
    if isinstance(value, list):
        return [_renamed(each, key) for each in value]
    if isinstance(value, str):
        return BY_KEY.get(key, {}).get(value, value)
    return value


UPGRADES: Mapping[int, Upgrade[Kept]] = {1: _from_schema_1}
"""From each older schema of the record to the next."""

PRESENT = f"sampling-assistant {__version__}"
"""Name and version of this program, as they go on record."""

MOST_KEPT = 1024
"""Outcomes kept; a bound on memory, not on what can be proved."""


@dataclass(frozen=True, slots=True)
class Difference:
    """A number derived otherwise by this version than by the one that wrote the entry."""

    seq: int
    what: str
    """Prompt or timer, and which of its numbers."""
    recorded: str
    derived: str
    software: str
    """Name and version that wrote the entry."""


@dataclass(frozen=True, slots=True)
class FoldedEntry:
    """One entry, what it held, and how the session stood after it."""

    entry: Entry
    event: Event
    outcome: Outcome
    differences: tuple[Difference, ...] = ()
    """Numbers that this version derives otherwise than the version that wrote the entry."""


def outcome_on_record(outcome: Outcome, language: Language) -> dict[str, JsonValue]:
    """What is written beside an event: the state reached, what was said, what was done.

    Args:
        outcome: of the event.
        language: the words of the prompts.
    """
    return {
        "state": outcome.session.state.value,
        "effects": [_with_words(effect, language) for effect in outcome.effects],
    }


def _with_words(effect: Effect, language: Language) -> JsonValue:
    words: dict[str, JsonValue] = {}
    if isinstance(effect, Say):
        words["text"] = sentence(language, effect, spoken=True)
    return {**plain(effect), **words}


def words_on_record(outcome: Mapping[str, JsonValue]) -> list[str]:
    """Return what was said because of each effect of an outcome on record, "" for nothing.

    Args:
        outcome: as `outcome_on_record` makes it.
    """
    effects = outcome["effects"]
    if not isinstance(effects, list):
        raise TypeError("an outcome on record has a list of effects")
    return [str(each.get("text", "")) for each in effects if isinstance(each, dict)]


def proved(lines: Iterable[bytes], plan: Plan, language: Language) -> Iterator[Entry]:
    """Yield the entries of a record whose chain holds, in the present schema.

    Args:
        lines: of the record.
        plan: as for `retell`.
        language: as for `retell`.

    Raises:
        RecordBroken: the chain does not hold; names the entry.
        RecordError: it follows a schema that this program does not know.
    """
    return upcast(read(lines), UPGRADES, SCHEMA, Kept(plan, language))


def retell(lines: Iterable[bytes], plan: Plan, language: Language) -> Iterator[FoldedEntry]:
    """Check and fold a record, entry by entry.

    Args:
        lines: of the record.
        plan: read from the exact bytes kept in the record's folder.
        language: read from the exact bytes kept there.

    Raises:
        RecordBroken: the chain does not hold, an event is unknown, or what is on record as its
            outcome is not what the procedure makes of it; names the entry.
    """
    return follow(proved(lines, plan, language), plan, language)


def follow(entries: Iterable[Entry], plan: Plan, language: Language) -> Iterator[FoldedEntry]:
    """Fold entries whose chain was checked, and prove that each could stand where it stands.

    Args:
        entries: in order, in the present schema (`proved`).
        plan: as for `retell`.
        language: as for `retell`.

    Raises:
        RecordBroken: names the first entry that the procedure does not lead to. Where another
            version wrote it and only derived numbers differ, they are passed on in `FoldedEntry`.
    """
    session, drive, software = begin(plan), _Drive(language), PRESENT
    for entry in entries:
        event = _event(entry)
        if isinstance(event, Opened | Resumed):
            software = event.software
        if isinstance(event, Opened):
            _may_open(event, entry, plan)
        elif entry.seq == 1:
            raise RecordBroken("Entry 1: a record is opened once, by its first entry.")
        if session.state in END:
            raise RecordBroken(f"Entry {entry.seq} follows the end of the record.")
        try:
            made = drive.work(session, event)
        except GrammarError as lacking:
            raise RecordBroken(f"Entry {entry.seq}: {lacking}") from None
        differences: tuple[Difference, ...] = ()
        if entry.outcome != made.on_record or entry.by != made.by:
            differences = _differences(entry, made, software)
            if not differences:
                raise RecordBroken(_mismatch(entry, made.on_record, made.by, software))
        yield FoldedEntry(entry, event, made.outcome, differences)
        session = made.outcome.session


def _event(entry: Entry) -> Event:
    try:
        return load(entry.event)
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        raise RecordBroken(
            f"Entry {entry.seq} holds no known event: {first['msg'].lower()}."
        ) from None


def _may_open(event: Opened, entry: Entry, plan: Plan) -> None:
    if entry.seq != 1:
        raise RecordBroken(f"Entry {entry.seq}: a record is opened once, by its first entry.")
    if all(person.name != event.operator for person in plan.people if person.role == "operator"):
        raise RecordBroken(f"Entry 1 names {event.operator!r}, who is no operator of the plan.")


def _mismatch(entry: Entry, expected: dict[str, JsonValue], by: str, software: str) -> str:
    if entry.by != by:
        return f"Entry {entry.seq} names {entry.by!r} where {by!r} was operating."
    other = ""
    if software != PRESENT:
        other = f" It was written by {software}, and this is {PRESENT}: verify it with that version"
        other += " before you conclude anything."
    if entry.outcome.get("state") != expected["state"]:
        found = entry.outcome.get("state")
        return (
            f"Entry {entry.seq} claims the state {found!r}; the procedure leads to "
            f"{expected['state']!r} from what stands before it.{other}"
        )
    return f"Entry {entry.seq} claims effects that the procedure does not ask for there.{other}"


def _differences(entry: Entry, made: "_Made", software: str) -> tuple[Difference, ...]:
    """Return the numbers that differ, where another version wrote the entry and all else agrees.

    Prompt texts are rendered from the numbers and the grammar, and are not compared then.
    """
    recorded, derived = entry.outcome.get("effects"), made.on_record["effects"]
    same = {**entry.outcome, "effects": derived} == made.on_record and entry.by == made.by
    if software == PRESENT or not same or not isinstance(recorded, list):
        return ()
    if not isinstance(derived, list) or len(recorded) != len(derived):
        return ()
    found: list[Difference] = []
    for one, other in zip(recorded, derived, strict=True):
        numbers = _numbers(one, other)
        if numbers is None:
            return ()
        found += [Difference(entry.seq, *number, software) for number in numbers]
    return tuple(found)


def _numbers(recorded: JsonValue, derived: JsonValue) -> list[tuple[str, str, str]] | None:
    """Return name, recorded and derived value of what differs; None where it is not a number."""
    if not isinstance(recorded, dict) or not isinstance(derived, dict):
        return None
    mine, theirs = _flat(derived), _flat(recorded)
    if mine.keys() != theirs.keys():
        return None
    name = str(derived.get("prompt") or derived.get("timer") or derived["do"])
    found = []
    for key in mine:
        if key == "text" or mine[key] == theirs[key]:
            continue
        if type(mine[key]) is not int or type(theirs[key]) is not int or key == "generation":
            return None
        found.append((f"{name}, {key}", str(theirs[key]), str(mine[key])))
    texts_differ = mine.get("text") != theirs.get("text")
    return None if texts_differ and not found else found


def _flat(effect: dict[str, JsonValue]) -> dict[str, JsonValue]:
    """Return an effect with its slots beside its other fields."""
    slots = effect.get("slots")
    rest = {key: value for key, value in effect.items() if key != "slots"}
    return {**rest, **(slots if isinstance(slots, dict) else {})}


@dataclass(frozen=True, slots=True)
class _Made:
    """What the procedure makes of an event; `before` keeps the session's identity taken."""

    before: Session
    outcome: Outcome
    on_record: dict[str, JsonValue]
    by: str


class _Drive:
    """Drives the machine, and keeps what it worked out for the same phrase in the same session."""

    def __init__(self, language: Language) -> None:
        self._language = language
        self._made: dict[tuple[object, ...], _Made] = {}
        self._seen: dict[tuple[object, ...], Session] = {}

    def work(self, session: Session, event: Event) -> _Made:
        """Return what comes of an event."""
        if not isinstance(event, Heard):
            return self._work(session, event)
        key = (
            id(session),
            event.text,
            event.decision,
            event.reason,
            event.source,
            event.meaning,
        )
        made = self._made.get(key)
        if made is None:
            if len(self._made) >= MOST_KEPT:
                self._made.clear()
            bare = event.model_copy(update={"clip": "", "scores": {}, "engine": ""})
            made = self._made[key] = self._work(session, bare)
        return made

    def _work(self, session: Session, event: Event) -> _Made:
        outcome = step(session, event)
        known = self._known(outcome.session)
        if known is not outcome.session:
            outcome = replace(outcome, session=known)
        expected = outcome_on_record(outcome, self._language)
        return _Made(session, outcome, expected, answerable(session, event))

    def _known(self, session: Session) -> Session:
        """Return a session seen before that is the same in everything, or this one."""
        key = (session.state, session.ordinal, len(session.deviations))
        seen = self._seen.get(key)
        if seen is not None and seen.past is session.past and seen == session:
            return seen
        if len(self._seen) >= MOST_KEPT:
            self._seen.clear()
        self._seen[key] = session
        return session


def on_time(told: Iterable[FoldedEntry]) -> Iterator[FoldedEntry]:
    """Pass a record on; refuse one whose clock runs back or whose timers ring too early or twice.

    Only entries of one start of the program are compared: the steady clock begins anew with the
    machine.

    Raises:
        RecordBroken: names the first entry that cannot have been written then.
    """
    boot, before = "", 0
    due: dict[tuple[str, int], list[int]] = {}
    for one in told:
        moment = int(one.entry.mono)
        if one.entry.boot != boot:
            boot, before = one.entry.boot, moment
            due.clear()
        if moment < before:
            raise RecordBroken(f"Entry {one.entry.seq} was written before the one above it.")
        before = moment
        if isinstance(one.event, TimerRang) and one.outcome.advanced:
            _ring(one.event, one.entry, due)
        _note_timers(one.outcome.effects, moment, due)
        yield one


def _ring(event: TimerRang, entry: Entry, due: dict[tuple[str, int], list[int]]) -> None:
    """Prove that a timer may ring now; each start of it rings once."""
    times = due.get((event.timer.value, event.generation))
    if not times or int(entry.mono) < min(times):
        raise RecordBroken(
            f"Entry {entry.seq}: the timer {event.timer.value!r} rings before its time is up, or "
            "once more."
        )
    times.remove(min(times))


def _note_timers(
    effects: Iterable[Effect], moment: int, due: dict[tuple[str, int], list[int]]
) -> None:
    """Note when each timer that was started may ring."""
    for effect in effects:
        if isinstance(effect, StopTimers):
            due.clear()
        elif isinstance(effect, StartTimer):
            end = moment + effect.milliseconds * 1_000_000
            due.setdefault((effect.timer.value, effect.generation), []).append(end)


def fold(lines: Iterable[bytes], plan: Plan, language: Language) -> tuple[Session, Entry | None]:
    """The session at the end of a record, and its last entry.

    Raises:
        RecordBroken: as for `retell`.
    """
    session, last = begin(plan), None
    for told in retell(lines, plan, language):
        session, last = told.outcome.session, told.entry
    return session, last
