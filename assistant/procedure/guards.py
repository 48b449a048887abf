"""Questions that decide between two rows of the table. They look and change nothing."""

from decimal import Decimal

from assistant.procedure.enums import CAUTIONS, INSERTING, Intent, State
from assistant.procedure.model import Sample, Session
from assistant.procedure.transition_context import Transition

MAX_MASS_MG = Decimal(100_000)
"""Above this no die's content can weigh; a misheard digit rather than a mass."""

_WITNESSED = {
    Intent.AT_DEPTH: "at-depth",
    Intent.PORT_OPEN: "port-open",
    Intent.PORT_CLOSED: "port-closed",
    Intent.FILLED_CLOSED: "port-closed",
    Intent.RAISED_OPEN: "port-open",
    Intent.ALL_FULL: "vial",
    Intent.EMPTY_CLEAN: "tube-emptied",
    Intent.VIAL_FULL: "vial",
    Intent.VIAL_SHORT: "vial",
    Intent.VIAL_EMPTY: "vial",
    Intent.TUBE_EMPTIED: "tube-emptied",
    Intent.RECORD_SIGNED: "signing",
}


def has_cautions(work: Transition) -> bool:
    """The plan asks for cautions to be affirmed."""
    return bool(work.session.plan.cautions)


def caution_asked(session: Session) -> Intent:
    """The caution that is to be affirmed now."""
    return CAUTIONS[session.plan.cautions[session.progress.caution]]


def this_caution(work: Transition) -> bool:
    """The caution named is the one asked for."""
    return work.meaning is not None and work.meaning.intent is caution_asked(work.session)


def more_cautions(work: Transition) -> bool:
    """The caution named is the one asked for, and another follows."""
    more = work.session.progress.caution + 1 < len(work.session.plan.cautions)
    return more and this_caution(work)


def needs_witness(work: Transition) -> bool:
    """A witness must affirm this step and has not."""
    if work.meaning is None or State.WITNESSING in work.released:
        return False
    return _WITNESSED.get(work.meaning.intent) in work.session.plan.witnessed


def only_heard(work: Transition) -> bool:
    """The phrase was heard by voice and nobody has affirmed it yet."""
    return work.by_voice and not work.released


def not_read_back(work: Transition) -> bool:
    """What several vials hold has been neither read back and affirmed nor witnessed.

    A doubt affirmed, a key or a typed line do not count for that: which vials they are is not in
    the phrase.
    """
    return not work.released & {State.READING_BACK, State.WITNESSING}


def filling(work: Transition) -> bool:
    """The step is the filling, whatever side dialogue is held."""
    return work.session.step is State.FILLING


def shaking_off(work: Transition) -> bool:
    """The step is the shedding, whatever side dialogue is held."""
    return work.session.step is State.SHAKING_OFF


def waited(work: Transition) -> bool:
    """The waiting time of the step is over."""
    return work.session.progress.waited


def waited_and_witnessed(work: Transition) -> bool:
    """The waiting time is over, and a witness must affirm this step and has not."""
    return waited(work) and needs_witness(work)


def waited_and_more(work: Transition) -> bool:
    """The waiting time is over, and the shaft has another position to be raised to."""
    return waited(work) and more_positions(work)


def more_positions(work: Transition) -> bool:
    """The shaft has another position to be raised to."""
    return work.session.progress.position + 1 < len(work.session.plan.sampler.positions)


def weighs(work: Transition) -> bool:
    """The plan has every vial weighed."""
    return work.session.plan.weighing is not None


def more_dies(work: Transition) -> bool:
    """Another die of this insertion is to be emptied."""
    return work.session.progress.die + 1 < work.session.plan.vials_per_insertion


def in_range(work: Transition) -> bool:
    """A mass was said that a die's content can have, and it was not yet read back."""
    return plausible(work) and State.READING_BACK not in work.released


def affirmed_last(work: Transition) -> bool:
    """The mass was read back and affirmed; no die follows."""
    return State.READING_BACK in work.released and not more_dies(work)


def affirmed_more(work: Transition) -> bool:
    """The mass was read back and affirmed; another die follows."""
    return State.READING_BACK in work.released and more_dies(work)


def plausible(work: Transition) -> bool:
    """The number at hand is positive and no more than any die's content can weigh."""
    number = work.meaning.number if work.meaning else None
    return number is not None and 0 < Decimal(number) <= MAX_MASS_MG


def more_insertions(work: Transition) -> bool:
    """Another insertion is to be made."""
    return bool(work.session.progress.queue)


def open_deviations(work: Transition) -> bool:
    """A deviation waits for its disposal."""
    return bool(work.session.open_deviations)


def named_samples(session: Session) -> tuple[Sample, ...]:
    """The samples that the deviation in hand is linked to."""
    vials = session.open_deviations[0].vials if session.open_deviations else ()
    return tuple(s for s in session.progress.samples if s.vial in vials)


def to_repeat(session: Session) -> tuple[int, ...]:
    """The insertions whose samples the deviation in hand names, but for those repeated already."""
    insertions = session.progress.insertions
    latest = {insertion.location: number for number, insertion in enumerate(insertions)}
    named = {sample.insertion for sample in named_samples(session)}
    return tuple(sorted(n for n in named if latest[insertions[n].location] == n))


def names_samples(work: Transition) -> bool:
    """The deviation in hand is linked to samples, so that they can be voided."""
    return bool(named_samples(work.session))


def repeatable(work: Transition) -> bool:
    """The deviation in hand is linked to an insertion that was not repeated since."""
    return bool(to_repeat(work.session))


def inserting(work: Transition) -> bool:
    """An insertion is in hand, so that what was moved may have touched its samples."""
    return work.session.step in INSERTING


def has_past(work: Transition) -> bool:
    """There is a confirmation to take back."""
    return work.session.past is not None


def knows_person(work: Transition) -> bool:
    """The call belongs to an operator of the plan."""
    call = work.meaning.call if work.meaning else None
    return any(p.call == call and p.role == "operator" for p in work.session.plan.people)
