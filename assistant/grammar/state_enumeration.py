"""Every state of a plan in which phrases compete, enumerated without running a session.

A session that walks through a plan sees each of these; here they are put together directly, so
that a grammar can be judged before the work.
"""

from collections.abc import Callable, Iterator
from dataclasses import replace

from assistant.plan.model import Plan
from assistant.procedure.enums import ACTIVE, NOTE, SIDE, Intent, Kind, State
from assistant.procedure.events import Meaning
from assistant.procedure.model import (
    Deviation,
    Draft,
    Insertion,
    Past,
    Progress,
    Session,
    begin,
    planned,
)

_HELD_OVER = Meaning(intent=Intent.DIES_SEATED)
_NEVER_WITHOUT: dict[State, Callable[[Plan], bool]] = {
    State.BRIEFING: lambda plan: bool(plan.cautions),
    State.WEIGHING: lambda plan: plan.weighing is not None,
    State.WITNESSING: lambda plan: bool(plan.witnessed),
    State.CLOSING: lambda plan: plan.dialogue == "full",
    State.INVERTING: lambda plan: plan.dialogue == "full",
    State.REMOVING_TUBE: lambda plan: plan.dialogue == "full",
    State.RAISING: lambda plan: len(plan.sampler.positions) > 1,
}
"""States that only some plans lead to."""


def situations(plan: Plan) -> Iterator[Session]:
    """Yield sessions of a plan that between them offer every set of phrases it can come to.

    Vials are those of the first insertion, of the last, and of one repeated after it: in between
    only digits change.
    """
    base = begin(plan)
    fresh = base.progress
    progress = replace(
        fresh,
        insertions=(*fresh.insertions, Insertion(location=0, attempt=2)),
        samples=(*fresh.samples, *planned(plan, len(fresh.insertions))),
    )
    past = Past(fresh, _HELD_OVER, 1)
    named = Deviation(1, Kind.SPILL, "", vials=(1,), insertion=0)
    for state in ACTIVE:
        if state in _NEVER_WITHOUT and not _NEVER_WITHOUT[state](plan):
            continue
        for place in _objects(plan, progress, state):
            yield replace(base, progress=place, past=past, deviations=(named,))


def _objects(plan: Plan, progress: Progress, state: State) -> Iterator[Progress]:
    """Yield a state with every object it can be about."""
    here = replace(progress, state=state)
    if state in SIDE:
        draft = Draft(Kind.SPILL) if state in NOTE else None
        here = replace(here, back=(State.SEATING,), pending=_HELD_OVER, draft=draft)
    match state:
        case State.BRIEFING:
            yield from (replace(here, caution=n) for n in range(len(plan.cautions)))
        case State.OPENING | State.FILLING | State.CLOSING:
            yield from (replace(here, position=n) for n in range(len(plan.sampler.positions)))
        case State.RAISING:
            yield from (replace(here, position=n) for n in range(len(plan.sampler.positions) - 1))
        case State.EMPTYING_DIES:
            last = len(plan.locations) - 1
            for insertion in dict.fromkeys((0, last, last + 1)):
                for die in range(plan.vials_per_insertion):
                    yield replace(here, insertion=insertion, die=die)
        case State.READING_BACK | State.WITNESSING:
            yield from (replace(here, pending=meaning) for meaning in _held(plan))
        case State.CHECKING:
            yield from (replace(here, back=(step,)) for step in (State.SEATING, State.FILLING))
        case _:
            yield here


def _held(plan: Plan) -> Iterator[Meaning]:
    """Yield what can be read back, or shown to a witness, in words of its own."""
    yield Meaning(intent=Intent.VIAL_FULL, vial=1)
    if plan.weighing:
        yield Meaning(intent=Intent.MASS, number="1")
    elif plan.dialogue == "short":
        yield Meaning(intent=Intent.ALL_FULL)
