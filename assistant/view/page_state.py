"""What the page shows after each entry: a pure fold over the record, small enough to send whole.

`begin_page` is the page before the first entry, `after` the page after one more. The second person
sees what is on record and nothing else.
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict

from assistant.conformance import FoldedEntry
from assistant.errors import GrammarError
from assistant.grammar.language import Language
from assistant.grammar.rendering import phrase, sentence
from assistant.procedure import queries
from assistant.procedure.effects import Effect, Say, StartTimer, StopTimers
from assistant.procedure.enums import IN_POWDER, INSERTING, Intent, Kind, State, Timer
from assistant.procedure.events import Heard, Opened, TimerRang
from assistant.procedure.model import Session, Status
from assistant.procedure.prompts import again, tally
from assistant.view.conditions import Conditions, conditions_after

__all__ = ["LETTERS", "PageState", "after", "begin_page"]

MOST_RECENT = 6
"""Exchanges kept on the page."""

MOST_DEVIATIONS = 40
"""Deviations listed on the page, the newest; their count says how many there are."""

LETTERS: Mapping[Status, str] = {
    Status.PLANNED: "p",
    Status.TAKEN: "t",
    Status.FULL: "f",
    Status.SHORT: "s",
    Status.EMPTY: "e",
    Status.VOID: "v",
}
"""How the state of a vial is written in `PageState.vials`."""

Became = Literal["taken", "asked back", "not taken", "no change"]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True)


class Exchange(_Frozen):
    """One thing that happened, what became of it, and the answer to it."""

    seq: int
    ms: int
    """Since the record was opened."""
    what: str
    became: Became | None
    """None for what nobody said: a timer, a device."""
    said: str


class OpenPort(_Frozen):
    """A port that stands open."""

    position: str
    since_ms: int
    """When it was opened, since the record was opened."""
    overrun: bool = False


class Wait(_Frozen):
    """A waiting time that the program counts."""

    timer: Timer
    until_ms: int


class Sampler(_Frozen):
    """Where the sampler is."""

    place: Literal["outside", "rim", "powder"]
    location: int
    """Index into the plan's locations; -1 before the first insertion."""
    insertion: int
    """Number of the insertion, from 1; 0 before the first."""
    attempt: int
    position: str
    """Where the shaft stands."""


class DeviationLine(_Frozen):
    """One deviation in words."""

    number: int
    kind: str
    detail: str
    vials: tuple[int, ...]
    status: str


class PageState(_Frozen):
    """The page after an entry."""

    seq: int = 0
    hash: str = ""
    """Of the entry."""
    utc: str = ""
    opened_utc: str = ""
    elapsed_ms: int = 0
    """Since the record was opened; over a restart of the program by the wall clock."""
    boot: str = ""
    mono_ms: int = 0
    kind: str = ""
    operator: str = ""
    step: str = ""
    ended: Literal["", "complete", "incomplete"] = ""
    instruction: str = ""
    """The prompt of the present step, whatever was said since."""
    answers: tuple[str, ...] = ()
    """Phrases that answer the instruction."""
    recent: tuple[Exchange, ...] = ()
    """The newest first."""
    port: OpenPort | None = None
    wait: Wait | None = None
    sampler: Sampler = Sampler(place="outside", location=-1, insertion=0, attempt=0, position="")
    entered: tuple[int, ...] = ()
    """Insertions that went into the powder, as indices."""
    insertions: tuple[tuple[int, int], ...] = ()
    """Location (an index) and attempt of every insertion; their vials follow one another."""
    vials: str = ""
    """One letter a vial (`LETTERS`), from vial 1."""
    masses: dict[int, str] = {}
    """Net mass in mg of each vial weighed."""
    taken: int = 0
    planned: int = 0
    deviations: tuple[DeviationLine, ...] = ()
    deviation_count: int = 0
    open_count: int = 0
    conditions: Conditions = Conditions()


def begin_page(session: Session, language: Language) -> PageState:
    """Return the page before the first entry: the rack is there, and empty."""
    return PageState(**_of_session(session, language, PageState()))


def after(page: PageState, told: FoldedEntry, language: Language, described: str) -> PageState:
    """Return the page after one more entry.

    Args:
        page: before it.
        told: the entry, its event, and the session as it stands after it.
        language: the words of prompts, phrases and names.
        described: the event in a few words.
    """
    entry, event, session = told.entry, told.event, told.outcome.session
    elapsed = page.elapsed_ms + _passed_ms(page, told)
    said = " ".join(
        sentence(language, effect, spoken=False)
        for effect in told.outcome.effects
        if isinstance(effect, Say)
    )
    line = Exchange(seq=entry.seq, ms=elapsed, what=described, became=_became(told), said=said)
    opened = event if isinstance(event, Opened) else None
    return page.model_copy(
        update={
            "seq": entry.seq,
            "hash": entry.hash,
            "utc": entry.utc,
            "opened_utc": page.opened_utc or entry.utc,
            "elapsed_ms": elapsed,
            "boot": entry.boot,
            "mono_ms": int(entry.mono) // 1_000_000,
            "kind": opened.kind if opened else page.kind,
            "recent": (line, *page.recent)[:MOST_RECENT],
            "port": _port(page, session, told, elapsed, language),
            "wait": _wait(page.wait, told, elapsed),
            "conditions": conditions_after(page.conditions, event),
            **_of_session(session, language, page),
        }
    )


def _of_session(session: Session, language: Language, page: PageState) -> dict[str, object]:
    """What follows from the session alone, and where the sampler has been."""
    counted = tally(session)
    progress = session.progress
    listed = session.deviations[-MOST_DEVIATIONS:]
    ended = {State.CLOSED: "complete", State.STOPPED: "incomplete"}.get(session.state, "")
    return {
        "operator": session.operator,
        "step": "" if session.state is State.NEW else language.names.get(session.step, ""),
        "ended": ended,
        "instruction": _instruction(session, language),
        "answers": _answers(session, language),
        "sampler": _sampler(session, language),
        "entered": _entered(page.entered, session),
        "insertions": tuple((one.location, one.attempt) for one in progress.insertions),
        "vials": "".join(LETTERS[sample.status] for sample in progress.samples),
        "masses": {s.vial: s.mass_mg for s in progress.samples if s.mass_mg},
        "taken": int(counted["taken"]),
        "planned": int(counted["planned"]),
        "deviations": tuple(
            DeviationLine(
                number=one.number,
                kind=language.names.get(one.kind, one.kind.value),
                detail=_detail(one.kind, one.detail, language),
                vials=one.vials,
                status=one.status,
            )
            for one in reversed(listed)
        ),
        "deviation_count": len(session.deviations),
        "open_count": len(session.open_deviations),
    }


_UNITS = {
    Kind.NOISE_RISE: "dB",
    Kind.CLOCK_STEP: "s",
    Kind.UNDER_WEIGHT: "mg",
    Kind.MASS_OUTSIDE: "mg",
}


def _detail(kind: Kind, detail: str, language: Language) -> str:
    """What is noted beside the kind of a deviation: a number with its unit, or words."""
    if kind in _UNITS:
        return f"{detail} {_UNITS[kind]}"
    if kind in (Kind.SPILL, Kind.LEAK):
        # Where and how much, each by the name of the phrase that said it.
        answers = (Intent(name) for name in detail.split())
        return ", ".join(language.phrases.get(answer, answer.value) for answer in answers)
    return language.names.get(detail, detail)


def _passed_ms(page: PageState, told: FoldedEntry) -> int:
    """Milliseconds since the entry before; by the steady clock while the program ran on."""
    if page.seq == 0:
        return 0
    if page.boot == told.entry.boot:
        return int(told.entry.mono) // 1_000_000 - page.mono_ms
    between = datetime.fromisoformat(told.entry.utc) - datetime.fromisoformat(page.utc)
    return max(0, round(between.total_seconds() * 1000))


def _became(told: FoldedEntry) -> Became | None:
    if not isinstance(told.event, Heard):
        return None
    if told.event.decision == "refuse":
        return "not taken"
    if told.event.decision == "ask":
        return "asked back"
    return "taken" if told.outcome.advanced else "no change"


def _instruction(session: Session, language: Language) -> str:
    """The prompt of the present step; "" where an older grammar has no words for it."""
    if session.state is State.NEW:
        return ""
    return _words(again(session), language)


def _words(effects: tuple[Effect, ...], language: Language) -> str:
    says = (effect for effect in effects if isinstance(effect, Say))
    try:
        return " ".join(sentence(language, each, spoken=False) for each in says)
    except GrammarError:
        return ""


def _answers(session: Session, language: Language) -> tuple[str, ...]:
    try:
        return tuple(phrase(language, meaning) for meaning in queries.advancing(session))
    except GrammarError:
        return ()


def _sampler(session: Session, language: Language) -> Sampler:
    step, progress = session.step, session.progress
    place: Literal["outside", "rim", "powder"] = "outside"
    if step in IN_POWDER:
        place = "powder"
    elif step in (State.POSITIONING, State.ENTERING):
        place = "rim"
    begun = session.state is not State.NEW
    position = session.position
    return Sampler(
        place=place,
        location=session.at.location if begun else -1,
        insertion=progress.insertion + 1 if begun else 0,
        attempt=session.at.attempt if begun else 0,
        position=language.names.get(position, position.value),
    )


def _entered(before: tuple[int, ...], session: Session) -> tuple[int, ...]:
    """Add the insertion in hand once it is in the powder; take it off where that was corrected."""
    at, step = session.progress.insertion, session.step
    if step in IN_POWDER and at not in before:
        return (*before, at)
    if step in INSERTING[: INSERTING.index(State.ENTERING) + 1]:
        return tuple(each for each in before if each != at)
    return before


def _port(
    page: PageState, session: Session, told: FoldedEntry, elapsed: int, language: Language
) -> OpenPort | None:
    if session.step not in (State.FILLING, State.CLOSING):
        return None
    position = language.names.get(session.position, session.position.value)
    since = page.port.since_ms if page.port else elapsed
    rang = isinstance(told.event, TimerRang) and told.event.timer is Timer.FILL_OVERRUN
    overrun = rang and told.outcome.advanced
    return OpenPort(
        position=position,
        since_ms=since,
        overrun=overrun or (page.port is not None and page.port.overrun),
    )


def _wait(before: Wait | None, told: FoldedEntry, elapsed: int) -> Wait | None:
    """The waiting time that runs now: of a port's filling, or of shaking off."""
    wait = before
    if isinstance(told.event, TimerRang) and wait and told.event.timer is wait.timer:
        wait = None
    for effect in told.outcome.effects:
        match effect:
            case StopTimers():
                wait = None
            case StartTimer() if effect.timer is not Timer.FILL_OVERRUN:
                wait = Wait(timer=effect.timer, until_ms=elapsed + effect.milliseconds)
            case _:
                pass
    return None if told.outcome.session.state in (State.CLOSED, State.STOPPED) else wait
