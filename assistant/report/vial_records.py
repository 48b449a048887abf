"""Data of every vial from a record, ready to join with the laboratory's sheet.

The record is replayed entry by entry to collect what the final session no longer shows: when a port
was opened and closed, in which order the insertions were made, why a deviation was accepted.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from assistant.conformance import FoldedEntry
from assistant.errors import InputError
from assistant.evaluation.assay_units import Target
from assistant.evaluation.assays import Expected, State
from assistant.evaluation.results import Vial
from assistant.journal.entry import Entry
from assistant.plan import mixing
from assistant.plan.dies import mass_window
from assistant.plan.insertion_geometry import insertions
from assistant.plan.model import Plan
from assistant.plan.powder_bed import bed_of
from assistant.procedure import enums as words
from assistant.procedure.events import Event, Opened, RemarkTaken
from assistant.procedure.model import Deviation, Sample, Session, Status

STATES = {
    Status.FULL: State.TAKEN,
    Status.SHORT: State.TAKEN,
    Status.VOID: State.VOID,
    Status.EMPTY: State.UNRECONCILED,
    Status.TAKEN: State.UNRECONCILED,
    Status.PLANNED: State.UNRECONCILED,
}
"""Status for the join: powder that never reached its vial cannot have an assay."""

_OPEN = (words.State.FILLING, words.State.CLOSING)
_CLOSED = (words.State.RAISING, words.State.WITHDRAWING)


@dataclass(frozen=True, slots=True)
class VialRecord(Vial):
    """One vial according to the record.

    Its depth is None if the port would be above the surface; its insertion order is None if its
    port was never opened; its time open is None if the port was never closed, or if the program was
    restarted in between; its mass is the one spoken in the session.
    """

    attempt: int = field(kw_only=True)
    """2 or more if the insertion was repeated."""
    status: Status = field(kw_only=True)


@dataclass(frozen=True, slots=True)
class DeviationRecord:
    """One deviation and its circumstances."""

    deviation: Deviation
    location: str
    """Code of the current location; "" outside an insertion."""
    utc: str
    """When it was raised."""
    by: str
    """The operator at that time."""
    reason: str = ""
    """Remark made when it was disposed of: its text, or the name of the clip."""


@dataclass(frozen=True, slots=True)
class RecordStudy:
    """Everything an evaluation and its report need from a record."""

    plan: Plan
    opened: Opened
    first: Entry
    last: Entry
    session: Session
    vials: tuple[VialRecord, ...]
    deviations: tuple[DeviationRecord, ...]
    people: tuple[str, ...]
    """Everybody to whom an entry is attributed, in order of appearance."""

    @property
    def complete(self) -> bool:
        """Whether the session was closed with all its steps done."""
        return self.session.state is words.State.CLOSED

    @property
    def expected(self) -> tuple[Expected, ...]:
        """The vials to join with the sheet: by location of the plan, port and number."""
        order = {place.code: index for index, place in enumerate(self.plan.locations)}
        ordered = sorted(self.vials, key=lambda vial: (order[vial.location], vial.port))
        return tuple(Expected(vial, STATES[vial.status]) for vial in ordered)

    @property
    def target(self) -> Target:
        """What 100 % means."""
        return Target(self.plan.dose.label_claim_mg, self.plan.dose.mass_mg)


def study_of(told: Iterable[FoldedEntry], plan: Plan) -> RecordStudy:
    """Collect the data of a record.

    Args:
        told: its entries (`assistant.conformance.retell`).
        plan: of the record.

    Raises:
        InputError: the record has no entry.
        RecordBroken: the record is not intact; raised by `retell`.
        PlanError: the plan's depths cannot be computed.
    """
    watch = _Watch()
    for one in told:
        watch.see(one)
    return watch.study(plan)


@dataclass(slots=True)
class _Opening:
    """One opening of the ports of one position."""

    boot: str
    mono: int
    seconds: float | None = None


@dataclass(slots=True)
class _Watch:
    """Follows a record and collects what its final state no longer shows."""

    session: Session | None = None
    opened: Opened | None = None
    first: Entry | None = None
    last: Entry | None = None
    openings: dict[tuple[int, int], _Opening] = field(default_factory=dict)
    order: dict[int, int] = field(default_factory=dict)
    deviations: dict[int, DeviationRecord] = field(default_factory=dict)
    people: dict[str, None] = field(default_factory=dict)
    disposed: int = 0

    def see(self, told: FoldedEntry) -> None:
        """Process one entry."""
        entry, after = told.entry, told.outcome.session
        if isinstance(told.event, Opened):
            self.opened, self.first = told.event, entry
        self.people[entry.by] = None
        if self.session is not None:
            self._ports(entry, self.session, after)
        self._deviations(entry, told.event, after)
        self.session, self.last = after, entry

    def _ports(self, entry: Entry, before: Session, after: Session) -> None:
        key = (after.progress.insertion, after.progress.position)
        same = key == (before.progress.insertion, before.progress.position)
        if after.step is words.State.FILLING and same and before.step in _CLOSED:
            # The closing was taken back: the port has been open all the time.
            self.openings[key].seconds = None
        elif after.step is words.State.FILLING and not (same and before.step in _OPEN):
            self.openings[key] = _Opening(entry.boot, int(entry.mono))
            self.order.setdefault(key[0], len(self.order) + 1)
        elif same and before.step in _OPEN and after.step in _CLOSED:
            opening = self.openings[key]
            if opening.boot == entry.boot:
                opening.seconds = (int(entry.mono) - opening.mono) / 1e9

    def _deviations(self, entry: Entry, event: Event, after: Session) -> None:
        for deviation in after.deviations:
            known = self.deviations.get(deviation.number)
            if known is None:
                place = ""
                if after.step in words.INSERTING:
                    insertion = after.progress.insertions[deviation.insertion]
                    place = after.plan.locations[insertion.location].code
                self.deviations[deviation.number] = DeviationRecord(
                    deviation, place, entry.utc, entry.by
                )
            elif known.deviation != deviation:
                self.deviations[deviation.number] = replace(known, deviation=deviation, reason="")
                self.disposed = deviation.number if deviation.disposed else 0
        if isinstance(event, RemarkTaken) and self.disposed:
            reason = event.text or (f"spoken, clip {event.clip[:12]}" if event.clip else "")
            known = self.deviations[self.disposed]
            self.deviations[self.disposed] = replace(known, reason=reason)
            self.disposed = 0

    def study(self, plan: Plan) -> RecordStudy:
        """Return the collected data."""
        if self.session is None or self.opened is None or self.first is None or self.last is None:
            raise InputError("The record holds no entry: there is nothing to evaluate.")
        entered = insertions(plan, bed_of(plan))
        depths = [place.cover_mm for place in entered]
        return RecordStudy(
            plan=plan,
            opened=self.opened,
            first=self.first,
            last=self.last,
            session=self.session,
            vials=tuple(
                self._vial(plan, self.session, sample, depths)
                for sample in self.session.progress.samples
            ),
            deviations=tuple(self.deviations.values()),
            people=tuple(self.people),
        )

    def _vial(
        self, plan: Plan, session: Session, sample: Sample, depths: list[tuple[float, ...]]
    ) -> VialRecord:
        insertion = session.progress.insertions[sample.insertion]
        # To 0.1 mm: manual settings are no more accurate, and equal depths stay equal.
        depth = round(depths[insertion.location][sample.port], 1)
        opening = self.openings.get((sample.insertion, sample.position))
        return VialRecord(
            vial=str(sample.vial),
            location=plan.locations[insertion.location].code,
            attempt=insertion.attempt,
            position=sample.position + 1,
            port=sample.port + 1,
            depth_mm=depth if depth >= 0 else None,
            insertion_order=self.order.get(sample.insertion),
            open_seconds=opening.seconds
            if opening is not None and sample.status is not Status.PLANNED
            else None,
            mass_mg=float(sample.mass_mg) if sample.mass_mg else None,
            status=sample.status,
        )


def random_mixture_rsd(plan: Plan, sample_mg: float | None = None) -> float | None:
    """RSD of a perfect random mixture in samples of this size, %; None without particle sizes.

    Args:
        plan: describes the particles.
        sample_mg: mass of one sample; None means the content of a die at bulk density.
    """
    powder = plan.powder
    if (
        powder.active_d50_um is None
        or powder.active_gsd is None
        or powder.active_density_g_ml is None
    ):
        return None
    active = mixing.particle_mass_mg(
        powder.active_d50_um, powder.active_gsd, powder.active_density_g_ml
    )
    filler = mixing.particle_mass_mg(
        powder.filler_d50_um, powder.filler_gsd, powder.filler_density_g_ml
    )
    share = plan.dose.label_claim_mg / plan.dose.mass_mg
    return mixing.random_rsd(share, sample_mg or mass_window(plan).bulk_mg, active, filler)
