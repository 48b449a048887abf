"""Which prompt belongs to which state, with what filled in. The words are the grammar's."""

from collections.abc import Callable
from dataclasses import replace
from math import ceil

from assistant.plan.entry_direction import Clock, aim
from assistant.plan.insertion_geometry import insertion_mm
from assistant.procedure.effects import Effect, Say, Slot, TakeRemark
from assistant.procedure.enums import (
    IN_POWDER,
    INSERTING,
    Intent,
    Prompt,
    State,
)
from assistant.procedure.guards import caution_asked
from assistant.procedure.model import Session, Status

REMARK_LIMIT_S = 30

_PLAIN = {
    State.CLOSING: Prompt.CLOSE,
    State.WITHDRAWING: Prompt.WITHDRAW,
    State.INVERTING: Prompt.INVERT,
    State.REMOVING_TUBE: Prompt.REMOVE_TUBE,
    State.WEIGHING: Prompt.WEIGH,
    State.INSPECTING: Prompt.INSPECT,
    State.MARKED: Prompt.MARKED,
    State.STOWING: Prompt.STOW,
    State.CLOSED: Prompt.CLOSED,
    State.STANDING_BY: Prompt.STANDING_BY,
    State.NOTE_PLACE: Prompt.ASK_PLACE,
    State.NOTE_AMOUNT: Prompt.ASK_AMOUNT,
    State.NOTE_SAMPLES: Prompt.ASK_SAMPLES,
    State.STOPPING: Prompt.ASK_STOP,
}
_CAUTIONS = {
    Intent.CAUTION_ISOLATED: Prompt.CAUTION_ISOLATED,
    Intent.CAUTION_EARTHED: Prompt.CAUTION_EARTHED,
    Intent.CAUTION_PROTECTED: Prompt.CAUTION_PROTECTED,
}
_HELD = {
    State.DOUBTING: Prompt.ASK_BACK,
    State.READING_BACK: Prompt.READ_BACK,
    State.WITNESSING: Prompt.ASK_WITNESS,
}


_HELD_VIALS = {
    State.READING_BACK: Prompt.READ_BACK_VIALS,
    State.WITNESSING: Prompt.ASK_WITNESS_VIALS,
}

_BRIEF = {
    Prompt.SEAT: Prompt.SEAT_BRIEF,
    Prompt.ENTER: Prompt.ENTER_BRIEF,
    Prompt.OPEN: Prompt.OPEN_BRIEF,
    Prompt.RAISE_AND_OPEN: Prompt.RAISE_AND_OPEN_BRIEF,
    Prompt.WITHDRAW: Prompt.WITHDRAW_BRIEF,
    Prompt.SHAKE_OFF: Prompt.SHAKE_OFF_BRIEF,
    Prompt.UNCOVER: Prompt.UNCOVER_BRIEF,
    Prompt.EMPTY_ALL: Prompt.EMPTY_ALL_BRIEF,
    Prompt.EMPTY_AND_LOOK: Prompt.EMPTY_AND_LOOK_BRIEF,
    Prompt.STOW: Prompt.STOW_BRIEF,
}
"""What a short dialogue says from the second insertion on, with the same slots."""


def enter(session: Session) -> tuple[Effect, ...]:
    """The prompt on reaching the session's state, and the effects that go with it.

    A short dialogue says nothing when a port has been opened, and little from the second insertion
    on.
    """
    if _short(session):
        if session.state is State.FILLING and not session.progress.waited:
            return ()
        if session.progress.insertion > 0:
            return tuple(_brief(effect) for effect in again(session))
    return again(session)


def _short(session: Session) -> bool:
    return session.plan.dialogue == "short"


def _brief(effect: Effect) -> Effect:
    if isinstance(effect, Say) and effect.prompt in _BRIEF:
        return replace(effect, prompt=_BRIEF[effect.prompt])
    return effect


def wordings(session: Session) -> tuple[Effect, ...]:
    """Every effect that asking for the session's step can have, in many words and in few."""
    whole = again(session)
    return (*whole, *(_brief(effect) for effect in whole)) if _short(session) else whole


def again(session: Session) -> tuple[Effect, ...]:
    """The whole prompt of the session's state, and the effects that go with it."""
    state = session.state
    if state in _HELD:
        return (_held(session),)
    if state is State.REMARKING:
        return (Say(Prompt.ASK_REMARK), TakeRemark(REMARK_LIMIT_S))
    if state is State.POSITIONING:
        return _aim(session)
    if state in _PLAIN:
        return (Say(_PLAIN[state]),)
    prompt, slots = _FILLED[state](session)
    return (Say(prompt, slots),)


def _held(session: Session) -> Say:
    """What is held, asked back; which vials are all of them is told, the phrase does not say it."""
    pending = session.progress.pending
    together = pending is not None and pending.intent is Intent.ALL_FULL
    if together and session.state in _HELD_VIALS:
        return Say(_HELD_VIALS[session.state], _vials(session))
    return Say(_HELD[session.state], meaning=pending)


def _vials(session: Session) -> dict[str, Slot]:
    return {"vials": " ".join(str(sample.vial) for sample in session.rest())}


def _aim(session: Session) -> tuple[Effect, ...]:
    """Where to enter and how to tilt; before the first insertion also what twelve o'clock means."""
    where = aim(session.plan, session.at.location)
    manway = f"{where.manway}-manway" if where.manway else "manway"
    entry = Say(Prompt.POSITION_MIDDLE, {"manway": manway})
    if where.entry is not None:
        slots: dict[str, Slot] = {"manway": manway, "out": where.entry_mm}
        entry = Say(Prompt.POSITION_ENTRY, {**slots, "clock": _clock(where.entry)})
    lean = Say(Prompt.POSITION_UPRIGHT)
    if where.tip is not None:
        lean = Say(Prompt.POSITION_TILT, {"tilt": where.tilt_deg, "clock": _clock(where.tip)})
    first = session.progress.insertion == 0
    return (Say(Prompt.POSITION_CLOCK), entry, lean) if first else (entry, lean)


def _clock(clock: Clock) -> str:
    return f"clock-{clock.hour}{'-half' if clock.half else ''}"


Filled = tuple[Prompt, dict[str, Slot]]


def _caution(session: Session) -> Filled:
    return _CAUTIONS[caution_asked(session)], {}


def _seat(session: Session) -> Filled:
    count = session.plan.vials_per_insertion
    return Prompt.SEAT, {"location": session.location.code, "count": count}


def _enter(session: Session) -> Filled:
    return Prompt.ENTER, {"depth": insertion_mm(session.plan, session.at.location)}


def _open(session: Session) -> Filled:
    return Prompt.OPEN, {"position": session.position.value}


def _fill(session: Session) -> Filled:
    if session.progress.waited:
        return fill_reached(session), {}
    return Prompt.FILL, {"seconds": ceil(session.plan.timing.fill_s)}


def fill_reached(session: Session) -> Prompt:
    """What is said when the waiting time at an open port is over."""
    return Prompt.CLOSE_NOW if _short(session) else Prompt.FILL_REACHED


def shake_off_reached(session: Session) -> Prompt:
    """What is said when the sampler has been held dies down long enough."""
    if not _short(session):
        return Prompt.SHAKE_OFF_REACHED
    return Prompt.UNCOVER_BRIEF if session.progress.insertion else Prompt.UNCOVER


def _raise(session: Session) -> Filled:
    following = session.plan.sampler.positions[session.progress.position + 1]
    return Prompt.RAISE_AND_OPEN if _short(session) else Prompt.RAISE, {"position": following.value}


def _shed(session: Session) -> Filled:
    if session.progress.waited:
        return (Prompt.UNCOVER if _short(session) else Prompt.SHAKE_OFF_REACHED), {}
    return Prompt.SHAKE_OFF, {"seconds": ceil(session.plan.timing.shed_s)}


def _count(session: Session) -> Filled:
    return Prompt.COUNT, {"count": session.plan.vials_per_insertion}


def _die(session: Session) -> Filled:
    if _short(session) and session.progress.die == 0 and session.plan.weighing is None:
        return Prompt.EMPTY_ALL, _vials(session)
    sample = session.sample()
    slots: dict[str, Slot] = {
        "position": session.plan.sampler.positions[sample.position].value,
        "vial": sample.vial,
    }
    if len(session.plan.sampler.ports_mm) == 1:
        return Prompt.EMPTY_DIE, slots
    return Prompt.EMPTY_PORT_DIE, slots | {"port": sample.port + 1}


def _tube(session: Session) -> Filled:
    return Prompt.EMPTY_AND_LOOK if _short(session) else Prompt.EMPTY_TUBE, {}


def _check(session: Session) -> Filled:
    if session.step in IN_POWDER:
        ports = "open" if session.step in (State.FILLING, State.CLOSING) else "closed"
        return Prompt.CHECK_IN_POWDER, {
            "location": session.location.code,
            "position": session.position.value,
            "ports": ports,
        }
    return Prompt.CHECK_OUTSIDE, {"step": session.step.value}


def _dispose(session: Session) -> Filled:
    first = session.open_deviations[0]
    return Prompt.DISPOSE, {"number": first.number, "kind": first.kind.value}


def _sign(session: Session) -> Filled:
    return Prompt.SIGN, tally(session)


def _stopped(session: Session) -> Filled:
    return Prompt.STOPPED, tally(session)


_FILLED: dict[State, Callable[[Session], Filled]] = {
    State.BRIEFING: _caution,
    State.SEATING: _seat,
    State.ENTERING: _enter,
    State.OPENING: _open,
    State.FILLING: _fill,
    State.RAISING: _raise,
    State.SHAKING_OFF: _shed,
    State.EMPTYING_DIES: _die,
    State.EMPTYING_TUBE: _tube,
    State.COUNTING: _count,
    State.CHECKING: _check,
    State.DISPOSING: _dispose,
    State.SIGNING: _sign,
    State.STOPPED: _stopped,
}


def tally(session: Session) -> dict[str, Slot]:
    """Count the samples that stand and those the plan asks for; an empty die gave none."""
    samples = session.progress.samples
    standing = (Status.TAKEN, Status.FULL, Status.SHORT)
    return {
        "taken": sum(s.status in standing for s in samples),
        "planned": len(session.plan.locations) * session.plan.vials_per_insertion,
    }


def where(session: Session) -> Say:
    """Answer "where are we"."""
    if session.step in INSERTING:
        slots: dict[str, Slot] = {
            "location": session.location.code,
            "position": session.position.value,
            "step": session.step.value,
        }
        return Say(Prompt.WHERE, slots | tally(session))
    return Say(Prompt.WHERE_OUTSIDE, {"step": session.step.value, **tally(session)})
