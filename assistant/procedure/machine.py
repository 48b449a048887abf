"""`step`: apply one event to a session. Nothing else changes a session.

Pure: no clock, no file, no sound, no randomness. Time arrives inside events, as timers running out
that the procedure asked for. An event that fits no row is still an event: it is answered and
recorded, and changes nothing.
"""

from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Any, assert_never

from transitions import Machine

from assistant.procedure import prompts, queries
from assistant.procedure.effects import Effect, Say
from assistant.procedure.enums import (
    CONFIRMS,
    END,
    HELD,
    QUESTIONS,
    Intent,
    Kind,
    Prompt,
    Signal,
    State,
    Trigger,
)
from assistant.procedure.events import (
    NEAR,
    OTHER_LABEL,
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
    SoundChecked,
    StorageTroubled,
    TimerRang,
    ViewerNoted,
)
from assistant.procedure.model import Past, Session
from assistant.procedure.table import Line, rows
from assistant.procedure.transition_context import Transition


@dataclass(frozen=True, slots=True)
class Outcome:
    """The session after an event, and what is to be done about it."""

    session: Session
    effects: tuple[Effect, ...]
    advanced: bool
    """Whether a row of the table was taken."""


def step(session: Session, event: Event) -> Outcome:
    """Apply one event to the session.

    Args:
        session: the state before.
        event: what happened; once the session has ended, every event is without effect.

    Returns:
        the state after, and the effects to perform once the event is safely on record.
    """
    if session.state in END:
        return Outcome(session, (), advanced=False)
    work = Transition(session)
    advanced = _dispatch(work, event)
    return Outcome(work.session, tuple(work.effects), advanced)


def _dispatch(work: Transition, event: Event) -> bool:
    match event:
        case Opened():
            opened = _fire(work, Signal.OPENED)
            if opened:
                work.session = replace(work.session, operator=event.operator)
                if event.clock_affirmed and event.clock_synchronised == "no":
                    work.deviate(Kind.CLOCK_FREE)
            return opened
        case Heard():
            return _heard(work, event)
        case TimerRang():
            stale = event.generation != work.session.progress.timer
            return not stale and _fire(work, Signal(event.timer.value))
        case RemarkTaken():
            return _fire(work, Signal.REMARK_TAKEN)
        case Resumed():
            return _fire(work, Signal.RESUMED)
        case SoundChecked() | DeviceLost() | DeviceBack() | AudioLost() | ClockStepped():
            _notice(work, event)
        case NoiseRose() | StorageTroubled() | ViewerNoted():
            _notice(work, event)
        case _:
            assert_never(event)
    return False


def _notice(work: Transition, event: Event) -> None:
    """Handle trouble with devices, clock or disk: announce it; note what a reviewer must judge."""
    match event:
        case SoundChecked(overridden=True):
            work.deviate(Kind.OVERRIDE, "sound check")
        case DeviceLost():
            microphone = event.device == "microphone"
            work.deviate(Kind.DEVICE_LOST, event.device)
            work.say(Prompt.MICROPHONE_LOST if microphone else Prompt.SPEAKER_LOST)
        case DeviceBack():
            microphone = event.device == "microphone"
            work.say(Prompt.MICROPHONE_BACK if microphone else Prompt.SPEAKER_BACK)
        case ClockStepped():
            work.deviate(Kind.CLOCK_STEP, event.seconds)
        case NoiseRose():
            work.deviate(Kind.NOISE_RISE, event.rise_db)
            work.say(Prompt.NOISE_ROSE)
        case StorageTroubled():
            work.deviate(Kind.STORAGE, event.reason)
            work.say(Prompt.STORAGE_BACK)
        case _:
            pass


def _heard(work: Transition, event: Heard) -> bool:
    meaning = event.meaning
    if event.decision == "refuse" or meaning is None:
        if event.reason == "unclear":
            work.say(Prompt.NOT_UNDERSTOOD)
        elif event.reason == NEAR and meaning is not None:
            work.say(Prompt.SAY_THIS, meaning)
        elif event.reason == OTHER_LABEL:
            work.deviate(Kind.WRONG_OBJECT, event.text)
            work.say(Prompt.OTHER_LABEL)
        elif event.reason == "answer-wanted":
            work.effects.extend(prompts.enter(work.session))
        return False
    work.meaning, work.by_voice = meaning, event.source == "voice"
    if event.decision == "ask" and meaning.intent not in QUESTIONS:
        return _doubt(work, meaning)
    if work.state in (State.DOUBTING, State.READING_BACK):
        return _answer_held(work, meaning)
    return _confirm(work, meaning)


def _doubt(work: Transition, meaning: Meaning) -> bool:
    """Ask back what would count now; a doubtful answer to a question is asked anew."""
    askable = meaning.intent not in (Intent.AFFIRM, Intent.NEGATIVE)
    if askable and queries.legal(work.session, meaning) and _fire(work, Signal.DOUBT):
        return True
    work.say(Prompt.NOT_UNDERSTOOD)
    return False


def _answer_held(work: Transition, meaning: Meaning) -> bool:
    """Replace the held phrase by another one that fits the same state.

    The same phrase once more affirms a doubt. What was read back is asked anew: two hearings of
    the same sound may err alike.
    """
    if meaning == work.session.progress.pending:
        if work.state is State.DOUBTING:
            return _fire(work, Intent.AFFIRM)
        work.effects.extend(prompts.enter(work.session))
        return False
    known = queries.triggers(work.session)
    held = work.session.progress.back[-1]
    if meaning.intent not in known and meaning.intent in queries.triggers(work.session, held):
        work.progress(pending=None)
        work.state = work.pop()
    return _confirm(work, meaning)


def _confirm(work: Transition, meaning: Meaning) -> bool:
    """Apply a phrase that was heard clearly, or say why it does not fit."""
    if meaning.intent not in queries.triggers(work.session):
        work.say(Prompt.NOT_NOW, meaning)
        return False
    if _wrong_object(work, meaning):
        return False
    if _fire(work, meaning.intent):
        return True
    _refuse(work, meaning)
    return False


def _wrong_object(work: Transition, meaning: Meaning) -> bool:
    """Refuse a phrase that names another position or vial than the one in hand."""
    expected = queries.expected(work.session, meaning.intent)
    if meaning.position is not expected.position:
        work.deviate(Kind.WRONG_OBJECT, str(meaning.position))
        work.say(
            Prompt.WRONG_POSITION, heard=str(meaning.position), expected=str(expected.position)
        )
        return True
    if meaning.vial != expected.vial:
        work.deviate(Kind.WRONG_OBJECT, str(meaning.vial))
        work.say(Prompt.WRONG_VIAL, heard=meaning.vial or 0, expected=expected.vial or 0)
        return True
    return False


def _refuse(work: Transition, meaning: Meaning) -> None:
    """Say why a phrase that is known here does not count now."""
    prompt = {
        Intent.SET_FILLED: Prompt.TOO_EARLY,
        Intent.FILLED_CLOSED: Prompt.TOO_EARLY,
        Intent.DIES_UP_TUBE_OFF: Prompt.TOO_EARLY,
        Intent.SHAKEN_OFF: Prompt.TOO_EARLY,
        Intent.MASS: Prompt.OUT_OF_RANGE,
        Intent.CORRECTION: Prompt.NOTHING_TO_CORRECT,
        Intent.TAKE_OVER: Prompt.UNKNOWN_PERSON,
    }.get(meaning.intent, Prompt.NOT_NOW)
    work.say(prompt, meaning if prompt is Prompt.NOT_NOW else None)


def _fire(work: Transition, trigger: Trigger) -> bool:
    """Take the first row that fits, if any; then the phrase it released; then the prompt."""
    if trigger not in queries.triggers(work.session):
        return False
    before, ordinal = work.session, work.session.ordinal + 1
    work.ordinal = ordinal if trigger in CONFIRMS else 0
    work.source, work.quiet, work.refire = work.state, False, None
    if not _machine().events[trigger.value].trigger(work):
        return False
    if work.state is State.BACK:
        work.state = work.pop()
    if trigger in CONFIRMS and work.meaning is not None and work.state not in HELD:
        past = Past(before.progress, work.meaning, ordinal, before.past)
        work.session = replace(work.session, past=past, ordinal=ordinal)
    if work.refire is not None:
        # The held phrase may be refused yet, as when its waiting time is not over.
        work.meaning = work.refire
        _confirm(work, work.meaning)
        return True
    _answer(work, trigger)
    return True


def _answer(work: Transition, trigger: Trigger) -> None:
    """Reply to a question, or say the prompt of the state that was reached."""
    match trigger:
        case Intent.WHERE_ARE_WE:
            work.effects.append(prompts.where(work.session))
        case Intent.WHAT_CAN_I_SAY:
            options = queries.options(work.session)
            work.effects.append(Say(Prompt.CHOICES, options=options))
        case Intent.SAY_AGAIN:
            work.effects.extend(prompts.again(work.session))
        case Intent.HEAD_CODE:
            pass
        case _ if not work.quiet:
            work.effects.extend(prompts.enter(work.session))


def _ask(row: Line, data: Any) -> bool:  # noqa: ANN401 - the library's EventData is untyped
    return row.guard is None or row.guard(data.model)


def _take(row: Line, data: Any) -> None:  # noqa: ANN401 - as above
    data.model.quiet = row.target is None
    row.action(data.model)


@lru_cache(maxsize=1)
def _machine() -> Machine:
    """The table as a `transitions` machine without a model: each `Transition` is passed to it."""
    machine = Machine(
        model=None,
        states=State,
        initial=State.NEW,
        auto_transitions=False,
        queued=False,
        send_event=True,
    )
    for row in rows():
        machine.add_transition(
            row.trigger.value,
            row.source,
            row.target,
            conditions=[partial(_ask, row)],
            after=[partial(_take, row)],
        )
    return machine
