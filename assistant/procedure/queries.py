"""Queries on a session: which phrases are legal now, and which object each must name."""

from functools import lru_cache

from assistant.plan.model import Plan
from assistant.procedure.enums import (
    CAUTIONS,
    FULL_ONLY,
    NOTE,
    POSITIONAL,
    SHORT_ONLY,
    VIAL,
    Intent,
    State,
    Trigger,
)
from assistant.procedure.events import Event, Heard, Meaning, Opened
from assistant.procedure.guards import caution_asked, named_samples, to_repeat
from assistant.procedure.model import Session
from assistant.procedure.table import rows

ANY_MOMENT = (
    Intent.SAY_AGAIN,
    Intent.WHERE_ARE_WE,
    Intent.WHAT_CAN_I_SAY,
    Intent.HEAD_CODE,
    Intent.STAND_BY,
    Intent.NOTE_SPILL,
    Intent.NOTE_LEAK,
    Intent.REMARK,
    Intent.CORRECTION,
    Intent.TAKE_OVER,
    Intent.STOP_SAMPLING,
)


def unused(plan: Plan) -> tuple[Intent, ...]:
    """The intents that the dialogue of this plan has no phrase for."""
    if plan.dialogue == "full":
        return SHORT_ONLY
    return FULL_ONLY if plan.weighing is None else (*FULL_ONLY, Intent.ALL_FULL)


def triggers(session: Session, state: State | None = None) -> frozenset[Trigger]:
    """Every trigger that counts in a state, by default the session's own."""
    return _rows_of(state or session.state).difference(unused(session.plan))


@lru_cache(maxsize=len(State))
def _rows_of(state: State) -> frozenset[Trigger]:
    return frozenset(row.trigger for row in rows() if row.source is state)


def expected(session: Session, intent: Intent) -> Meaning:
    """The meaning of `intent` that would count now, its object filled in."""
    progress = session.progress
    if intent in (Intent.SHAFT_RAISED, Intent.RAISED_OPEN):
        positions = session.plan.sampler.positions
        following = min(progress.position + 1, len(positions) - 1)
        return Meaning(intent=intent, position=positions[following])
    if intent in POSITIONAL:
        return Meaning(intent=intent, position=session.position)
    if intent in VIAL:
        return Meaning(intent=intent, vial=session.sample().vial)
    return Meaning(intent=intent)


def legal(session: Session, meaning: Meaning) -> bool:
    """Whether the meaning has a row in this state and names the object in hand."""
    if meaning.intent not in triggers(session):
        return False
    wanted = expected(session, meaning.intent)
    return (meaning.position, meaning.vial) == (wanted.position, wanted.vial)


def advancing(session: Session) -> tuple[Meaning, ...]:
    """The phrases of this state, without those that are legal at any moment."""
    known = triggers(session)
    chosen = [i for i in Intent if i in known and i not in ANY_MOMENT]
    if session.state is State.BRIEFING:
        chosen = [i for i in chosen if i not in CAUTIONS.values() or i is caution_asked(session)]
    if not named_samples(session):
        chosen = [i for i in chosen if i is not Intent.SAMPLES_VOIDED]
    if not to_repeat(session):
        chosen = [i for i in chosen if i is not Intent.INSERTION_REPEATED]
    return tuple(expected(session, intent) for intent in chosen)


def at_any_moment(session: Session) -> tuple[Meaning, ...]:
    """The phrases that are legal at any moment, if they are legal now."""
    known = triggers(session)
    people = [p for p in session.plan.people if p.role == "operator"]
    found = []
    for intent in (i for i in ANY_MOMENT if i in known):
        if intent is Intent.TAKE_OVER:
            found += [Meaning(intent=intent, call=p.call) for p in people]
        elif intent is not Intent.CORRECTION or session.past is not None:
            found.append(Meaning(intent=intent))
    return tuple(found)


def options(session: Session) -> tuple[Meaning, ...]:
    """Everything that may be said now, what advances first."""
    return (*advancing(session), *at_any_moment(session))


def answerable(session: Session, event: Event) -> str:
    """The person an entry is attributed to: the operator, or the witness where one affirms."""
    match event:
        case Opened():
            return event.operator
        case Heard(meaning=Meaning(intent=Intent.WITNESS_AFFIRMED), decision="accept"):
            witness = next((p for p in session.plan.people if p.role == "witness"), None)
            return witness.name if witness else session.operator
        case _:
            return session.operator


def normal(session: Session) -> Meaning | None:
    """The meaning of a single press of the confirm key.

    None if a choice must be made in words or a witness must speak: the foot switch is the
    operator's.
    """
    if session.state in (State.DISPOSING, State.MARKED, State.WEIGHING, State.WITNESSING, *NOTE):
        return None
    if session.state is State.EMPTYING_DIES and session.progress.die > 0:
        # One die is asked for then, not all that are left.
        return expected(session, Intent.VIAL_FULL)
    choices = advancing(session)
    return choices[0] if choices else None
