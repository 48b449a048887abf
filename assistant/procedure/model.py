"""The state of a session: the result of folding its events.

Two halves. `Progress` is what a correction takes back as a whole. The rest of `Session` only
grows: notes, deviations and the count of confirmations survive every correction.
"""

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from assistant.plan.model import Location, Plan, Position
from assistant.procedure.enums import Kind, State
from assistant.procedure.events import Meaning


class Status(StrEnum):
    """What became of a sample. Void never means deleted."""

    PLANNED = "planned"
    TAKEN = "taken"
    FULL = "full"
    SHORT = "short"
    EMPTY = "empty"
    VOID = "void"


@dataclass(frozen=True, slots=True)
class Insertion:
    """One entry of the sampler into the powder."""

    location: int
    """Index into the plan's locations."""
    attempt: int = 1
    """2 and more where an insertion was repeated."""


@dataclass(frozen=True, slots=True)
class Sample:
    """The content of one die."""

    vial: int
    insertion: int
    """Index into `Progress.insertions`."""
    position: int
    port: int
    status: Status = Status.PLANNED
    mass_mg: str = ""


@dataclass(frozen=True, slots=True)
class Draft:
    """A note while its questions are being answered."""

    kind: Kind
    place: str = ""
    amount: str = ""
    cause: int = 0
    """Ordinal of the confirmation that opened it by itself; 0 where it was asked for."""


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the work has come; a correction puts an earlier one back."""

    state: State = State.NEW
    back: tuple[State, ...] = ()
    """Where side dialogues return to, innermost last."""
    pending: Meaning | None = None
    """A phrase held until it is affirmed."""
    draft: Draft | None = None
    caution: int = 0
    insertions: tuple[Insertion, ...] = ()
    insertion: int = 0
    """Index of the insertion in hand."""
    queue: tuple[int, ...] = ()
    """Indices of the insertions still to come, in order."""
    position: int = 0
    die: int = 0
    """Index among the dies of this insertion."""
    waited: bool = False
    """The waiting time of this step is over."""
    timer: int = 0
    """Generation of the timers now running."""
    samples: tuple[Sample, ...] = ()


@dataclass(frozen=True, slots=True)
class Past:
    """The progress before one confirmation, and the chain of those before it."""

    progress: Progress
    meaning: Meaning
    ordinal: int
    earlier: "Past | None" = field(default=None, repr=False, compare=False)


Standing = Literal["open", "withdrawn", "accepted", "void", "repeat"]
"""Where a deviation stands; withdrawn when the confirmation that raised it was taken back."""


@dataclass(frozen=True, slots=True)
class Deviation:
    """Something that did not go by the plan, open until somebody disposes of it."""

    number: int
    kind: Kind
    detail: str
    vials: tuple[int, ...]
    insertion: int
    cause: int = 0
    """Ordinal of the confirmation that raised it; 0 where no confirmation did."""
    status: Standing = "open"
    disposed: int = 0
    """Ordinal of the confirmation that disposed of it."""


@dataclass(frozen=True, slots=True)
class Session:
    """All that is known after the events so far."""

    plan: Plan = field(repr=False)
    progress: Progress
    operator: str = ""
    past: Past | None = field(default=None, repr=False, compare=False)
    ordinal: int = 0
    """Confirmations so far, including those taken back."""
    deviations: tuple[Deviation, ...] = ()

    @property
    def state(self) -> State:
        """Where the work stands."""
        return self.progress.state

    @property
    def step(self) -> State:
        """The step of the work, seen through any side dialogue."""
        return self.progress.back[0] if self.progress.back else self.progress.state

    @property
    def at(self) -> Insertion:
        """The insertion in hand."""
        return self.progress.insertions[self.progress.insertion]

    @property
    def location(self) -> Location:
        """The plan's location of the insertion in hand."""
        return self.plan.locations[self.at.location]

    @property
    def position(self) -> Position:
        """Where the shaft stands."""
        return self.plan.sampler.positions[self.progress.position]

    @property
    def open_deviations(self) -> tuple[Deviation, ...]:
        """Those nobody has disposed of yet."""
        return tuple(d for d in self.deviations if d.status == "open")

    def here(self) -> tuple[Sample, ...]:
        """The samples of the insertion in hand, in the order of their vials."""
        size = self.plan.vials_per_insertion
        first = self.progress.insertion * size
        return self.progress.samples[first : first + size]

    def rest(self) -> tuple[Sample, ...]:
        """The samples of the insertion in hand whose dies are still to be emptied."""
        return self.here()[self.progress.die :]

    def sample(self) -> Sample:
        """The sample whose die is to be emptied next."""
        return self.here()[self.progress.die]


def planned(plan: Plan, insertion: int) -> tuple[Sample, ...]:
    """The samples one insertion is to yield; vials count on from the insertion before."""
    first = insertion * plan.vials_per_insertion + 1
    return tuple(
        Sample(vial=first + n, insertion=insertion, position=position, port=port)
        for n, (position, port) in enumerate(plan.dies())
    )


def begin(plan: Plan) -> Session:
    """A session before its first event."""
    insertions = tuple(Insertion(location=n) for n in range(len(plan.locations)))
    samples = tuple(s for n in range(len(insertions)) for s in planned(plan, n))
    queue = tuple(range(1, len(insertions)))
    progress = Progress(insertions=insertions, queue=queue, samples=samples)
    return Session(plan=plan, progress=progress)
