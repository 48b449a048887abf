"""The actions of the table's rows, besides the change of state.

Each takes the transition after the state has changed; `work.source` is the state before it.
"""

from dataclasses import replace

from assistant.plan.dies import Weight, mass_window
from assistant.plan.model import Timing
from assistant.procedure import prompts
from assistant.procedure.effects import Close, MarkHead, StartTimer, StopTimers, TellHead
from assistant.procedure.enums import Intent, Kind, Prompt, State, Timer
from assistant.procedure.events import Meaning
from assistant.procedure.guards import named_samples, to_repeat
from assistant.procedure.model import Deviation, Draft, Insertion, Past, Standing, Status, planned
from assistant.procedure.transition_context import Transition

_VERDICTS = {
    Intent.VIAL_FULL: Status.FULL,
    Intent.VIAL_SHORT: Status.SHORT,
    Intent.VIAL_EMPTY: Status.EMPTY,
}
_BLAMED = {Status.SHORT: Kind.SHORT, Status.EMPTY: Kind.EMPTY}


def meaning_of(work: Transition) -> Meaning:
    """The meaning of the current phrase; only rows triggered by a phrase may ask for it."""
    if work.meaning is None:
        msg = "this row needs a phrase"
        raise RuntimeError(msg)
    return work.meaning


def nothing(_work: Transition) -> None:
    """Do nothing else."""


def next_caution(work: Transition) -> None:
    """Go on to the next caution."""
    work.progress(caution=work.session.progress.caution + 1)


def arm(work: Transition) -> None:
    """Start those timers of the new state that have not run out."""
    timing: Timing = work.session.plan.timing
    waited = work.session.progress.waited
    wanted: list[tuple[Timer, float]] = []
    if work.session.step is State.FILLING:
        wanted = [(Timer.FILL_OVERRUN, timing.fill_limit_s)]
        if not waited:
            wanted.insert(0, (Timer.FILL_REACHED, timing.fill_s))
    elif work.session.step is State.SHAKING_OFF and not waited:
        wanted = [(Timer.SHAKE_OFF_REACHED, timing.shed_s)]
    if wanted:
        generation = work.session.ordinal + 1
        work.progress(timer=generation)
        work.effects.extend(StartTimer(t, round(s * 1000), generation) for t, s in wanted)


def open_port(work: Transition) -> None:
    """Start the filling time."""
    work.progress(waited=work.session.plan.timing.fill_s == 0)
    arm(work)


def disarm(work: Transition) -> None:
    """The wait is over and confirmed."""
    work.progress(waited=False, timer=0)
    work.effects.append(StopTimers())


def fill_reached(work: Transition) -> None:
    """The shortest filling time has passed."""
    work.progress(waited=True)
    if work.session.state is State.FILLING:
        work.say(prompts.fill_reached(work.session))


def shake_off_reached(work: Transition) -> None:
    """The sampler has been held dies down long enough."""
    work.progress(waited=True)
    if work.session.state is State.SHAKING_OFF:
        work.say(prompts.shake_off_reached(work.session))


def fill_overrun(work: Transition) -> None:
    """The port has been open longer than the plan allows."""
    position = work.session.progress.position
    vials = tuple(s.vial for s in work.session.here() if s.position == position)
    work.deviate(Kind.OVERRUN, str(work.session.position), vials)
    work.say(Prompt.FILL_OVERRUN)


def take(work: Transition) -> None:
    """The dies of this position hold their samples."""
    position = work.session.progress.position
    work.mark(tuple(s for s in work.session.here() if s.position == position), status=Status.TAKEN)


def close(work: Transition) -> None:
    """The wait is over and the ports are closed again, in one confirmation."""
    disarm(work)
    take(work)


def raise_shaft(work: Transition) -> None:
    """The next set of dies faces the ports."""
    work.progress(position=work.session.progress.position + 1)


def raise_and_open(work: Transition) -> None:
    """The next set of dies faces the ports, and these are open."""
    raise_shaft(work)
    open_port(work)


def withdraw(work: Transition) -> None:
    """Powder clinging outside is given time to drop."""
    work.progress(waited=work.session.plan.timing.shed_s == 0)
    arm(work)


def label(work: Transition) -> None:
    """Record what the die held; go on unless the vial is weighed."""
    status = _VERDICTS[meaning_of(work).intent]
    sample = work.session.sample()
    work.mark((sample,), status=status)
    if status in _BLAMED:
        work.deviate(_BLAMED[status], vials=(sample.vial,))
    if work.state is not State.WEIGHING:
        next_die(work)


def label_rest(work: Transition) -> None:
    """Every die of this insertion that is not emptied yet filled its vial."""
    work.mark(work.session.rest(), status=Status.FULL)
    work.progress(die=0)


def next_die(work: Transition) -> None:
    """The next die, or the first of the next insertion."""
    following = work.session.progress.die + 1
    work.progress(die=following % work.session.plan.vials_per_insertion)


def weigh(work: Transition) -> None:
    """Record the mass; a mass that the die cannot explain is a deviation."""
    number = meaning_of(work).number or "0"
    sample = work.session.sample()
    work.mark((sample,), mass_mg=number)
    judged = mass_window(work.session.plan).judge(float(number))
    if judged is Weight.BELOW_BALANCE:
        work.deviate(Kind.UNDER_WEIGHT, number, (sample.vial,))
        work.say(Prompt.BELOW_MINIMUM)
    elif judged is not Weight.WITHIN:
        work.deviate(Kind.MASS_OUTSIDE, number, (sample.vial,))
        work.say(Prompt.MASS_OUTSIDE)
    next_die(work)


def leak_in_tube(work: Transition) -> None:
    """Open a leak note for powder between shaft and tube."""
    work.push(work.source)
    work.progress(draft=Draft(Kind.LEAK, "in-tube", cause=work.ordinal))


def marked(work: Transition) -> None:
    """Rubbing makes metal particles: every sample of this insertion is affected."""
    work.deviate(Kind.MARKED, vials=tuple(s.vial for s in work.session.here()))


def next_insertion(work: Transition) -> None:
    """Go on to the next insertion and mark the record's head; a full dialogue tells it, too."""
    first, *rest = work.session.progress.queue
    work.progress(insertion=first, queue=tuple(rest), position=0, die=0)
    full = work.session.plan.dialogue == "full"
    work.effects.append(TellHead() if full else MarkHead())


def tell_head(work: Transition) -> None:
    """Tell the record's head code."""
    work.effects.append(TellHead())


def last_insertion(work: Transition) -> None:
    """The last insertion is done."""
    work.effects.append(TellHead())


def die_missing(work: Transition) -> None:
    """Record that a die is missing: it may lie in the product."""
    work.deviate(Kind.DIE_MISSING)


def _dispose(work: Transition, status: Standing, following: State | None = None) -> None:
    """Close the first open deviation; its reason is asked for next."""
    first = work.session.open_deviations[0]
    work.session = replace(
        work.session,
        deviations=tuple(
            replace(d, status=status, disposed=work.ordinal) if d.number == first.number else d
            for d in work.session.deviations
        ),
    )
    if following is None:
        following = State.DISPOSING if work.session.open_deviations else State.SIGNING
    work.push(following)


def accept_deviation(work: Transition) -> None:
    """The samples stand in spite of the deviation."""
    _dispose(work, "accepted")


def void_samples(work: Transition) -> None:
    """The samples do not count; they stay on record."""
    work.mark(named_samples(work.session), status=Status.VOID)
    _dispose(work, "void")


def _enter_again(work: Transition, again: tuple[int, ...]) -> None:
    """Enter the locations of some insertions once more, beginning now.

    Their vials count on from the last; those of insertions still to come keep the numbers that
    their labels already bear.
    """
    progress = work.session.progress
    insertions, samples = list(progress.insertions), list(progress.samples)
    first = len(insertions)
    for index in again:
        location = insertions[index].location
        attempt = 1 + sum(i.location == location for i in insertions)
        samples += planned(work.session.plan, len(insertions))
        insertions.append(Insertion(location, attempt))
    work.progress(
        insertions=tuple(insertions),
        samples=tuple(samples),
        insertion=first,
        queue=(*range(first + 1, len(insertions)), *progress.queue),
        position=0,
        die=0,
        waited=False,
        timer=0,
    )


def repeat_insertion(work: Transition) -> None:
    """Nothing of these insertions counts and their locations are entered once more.

    All their samples are void, not only those named: the replicates of one spot come from one
    insertion.
    """
    again = to_repeat(work.session)
    gone = tuple(s for s in work.session.progress.samples if s.insertion in again)
    work.mark((*named_samples(work.session), *gone), status=Status.VOID)
    _dispose(work, "repeat", State.SEATING)
    _enter_again(work, again)


def sign(work: Transition) -> None:
    """The operator closes the record."""
    work.effects.extend((TellHead(), Close()))


def stop(work: Transition) -> None:
    """The record closes as incomplete."""
    work.progress(back=())
    work.effects.extend((StopTimers(), TellHead(), Close()))


def step_aside(work: Transition) -> None:
    """Begin a side dialogue."""
    work.push(work.source)


def begin_note(work: Transition) -> None:
    """Begin a note of a spill or leak."""
    work.push(work.source)
    spill = meaning_of(work).intent is Intent.NOTE_SPILL
    work.progress(draft=Draft(Kind.SPILL if spill else Kind.LEAK))


def note_place(work: Transition) -> None:
    """Where it happened."""
    draft = work.session.progress.draft
    work.progress(draft=draft and replace(draft, place=meaning_of(work).intent.value))


def note_amount(work: Transition) -> None:
    """How much it was."""
    draft = work.session.progress.draft
    work.progress(draft=draft and replace(draft, amount=meaning_of(work).intent.value))


def finish_note(work: Transition) -> None:
    """Which samples are affected; the note becomes a deviation."""
    draft = work.session.progress.draft or Draft(Kind.SPILL)
    chosen = {
        Intent.AFFECTS_NONE: (),
        Intent.AFFECTS_INSERTION: work.session.here(),
        Intent.AFFECTS_ALL: tuple(
            s for s in work.session.progress.samples if s.status is not Status.PLANNED
        ),
    }[meaning_of(work).intent]
    vials = tuple(s.vial for s in chosen)
    work.deviate(draft.kind, f"{draft.place} {draft.amount}", vials, draft.cause)
    work.progress(draft=None)
    work.say(Prompt.NOTED, number=len(work.session.deviations))


def drop_note(work: Transition) -> None:
    """Drop the note."""
    work.progress(draft=None)
    work.say(Prompt.NOTE_DROPPED)


def keep_remark(work: Transition) -> None:
    """The memo is kept as a clip."""
    work.say(Prompt.REMARK_KEPT)


def hold(work: Transition) -> None:
    """Hold the meaning until it is affirmed."""
    work.push(work.source)
    work.progress(pending=work.meaning)


def release(work: Transition) -> None:
    """The held meaning passes."""
    work.released |= {work.source}
    work.refire = work.session.progress.pending
    work.progress(pending=None)


def cancel(work: Transition) -> None:
    """The held meaning is dropped."""
    work.progress(pending=None)


def check(work: Transition) -> None:
    """After a break: ask for the physical state before going on; the timers start anew."""
    if work.source is not State.CHECKING:
        work.push(work.source)
    arm(work)


def restart_insertion(work: Transition) -> None:
    """The sampler was moved during the break: the insertion is void and begins anew.

    Earlier confirmations can no longer be taken back: that would return to a void insertion.
    """
    here = work.session.here()
    work.deviate(Kind.DISTURBED, vials=tuple(s.vial for s in here))
    work.mark(here, status=Status.VOID)
    work.progress(back=(), pending=None, draft=None)
    work.session = replace(work.session, past=None)
    _enter_again(work, (work.session.progress.insertion,))
    work.effects.append(StopTimers())


def disturbed(work: Transition) -> None:
    """Record that something was moved during the break, outside any insertion."""
    work.deviate(Kind.DISTURBED)


def correct(work: Transition) -> None:
    """Put back the progress before the last confirmation; both stay on record."""
    past = work.session.past
    if past is None:
        msg = "the table asks for a past before it corrects"
        raise RuntimeError(msg)
    work.session = replace(
        work.session,
        progress=past.progress,
        past=past.earlier,
        deviations=tuple(_undone(d, past) for d in work.session.deviations),
    )
    work.effects.append(StopTimers())
    work.say(Prompt.CORRECTED, past.meaning)
    arm(work)


def _undone(deviation: Deviation, past: Past) -> Deviation:
    if deviation.cause == past.ordinal:
        return replace(deviation, status="withdrawn")
    if deviation.disposed == past.ordinal:
        return replace(deviation, status="open", disposed=0)
    return deviation


def take_over(work: Transition) -> None:
    """Somebody else operates from here on."""
    call = meaning_of(work).call
    name = next(p.name for p in work.session.plan.people if p.call == call)
    work.session = replace(work.session, operator=name)
    work.say(Prompt.TAKEN_OVER, name=name)
