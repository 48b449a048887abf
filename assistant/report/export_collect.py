"""Build an export from a replayed record: who took, emptied, weighed and voided what, and when."""

from collections import Counter
from collections.abc import Iterable, Sequence

from assistant.conformance import FoldedEntry
from assistant.errors import RecordBroken
from assistant.journal.entry import Entry as Line
from assistant.journal.head_code import head_code
from assistant.plan.insertion_geometry import insertion_mm
from assistant.plan.model import Plan
from assistant.procedure import model
from assistant.procedure.enums import END, State
from assistant.procedure.events import Opened, RemarkTaken
from assistant.procedure.prompts import tally
from assistant.report.export import (
    Condition,
    Deviation,
    Entry,
    Export,
    Head,
    Moment,
    Person,
    Sample,
    Session,
    Signature,
)

_MARKS = {
    model.Status.TAKEN: "taken",
    model.Status.FULL: "emptied",
    model.Status.SHORT: "emptied",
    model.Status.EMPTY: "emptied",
    model.Status.VOID: "voided",
}
_BEFORE = {"taken": 0, "emptied": 1, "weighed": 1, "voided": 2}
_DISPOSED = ("accepted", "void", "repeat")

_HASHES = ("plan_sha256", "grammar_sha256")


class Collector:
    """Follows a record and collects the data of an export; fed by `collect`."""

    def __init__(self, plan: Plan) -> None:
        """Start before the first entry.

        Args:
            plan: plan of the record.
        """
        self._plan = plan
        self._session = model.begin(plan)
        self._opened: Opened | None = None
        self._first: Moment | None = None
        self._ended: Moment | None = None
        self._last: Line | None = None
        self._entries: list[Entry] = []
        self._done: dict[int, dict[str, Moment]] = {}
        self._raised: dict[int, Moment] = {}
        self._disposed: dict[int, Moment] = {}
        self._reasons: dict[int, tuple[str, str]] = {}
        self._asked = 0
        """Number of the deviation whose reason is currently asked for."""

    def collect(self, told: Iterable[FoldedEntry], *, entries: bool = True) -> list[str]:
        """Process a record to its end, or to its first invalid entry.

        Args:
            told: entries from `assistant.conformance.follow`, possibly with further checks.
            entries: keep every entry; otherwise memory does not grow with the record.

        Returns:
            the sentence saying what is broken, if something is.
        """
        try:
            for one in told:
                self.take(one)
                if entries:
                    self._entries.append(_entry(one.entry))
        except RecordBroken as fault:
            return [str(fault)]
        return []

    def take(self, told: FoldedEntry) -> None:
        """Process one entry."""
        before, after = self._session, told.outcome.session
        now = Moment(utc=told.entry.utc, by=told.entry.by, seq=told.entry.seq)
        self._session, self._last = after, told.entry
        if isinstance(told.event, Opened):
            self._opened, self._first = told.event, now
        if after.state in END and before.state not in END:
            self._ended = now
        if after.progress.samples is not before.progress.samples:
            self._samples(before.progress.samples, after.progress.samples, now)
        if after.deviations is not before.deviations:
            self._deviations(before.deviations, after.deviations, now)
        if isinstance(told.event, RemarkTaken) and before.state is State.REMARKING and self._asked:
            self._reasons[self._asked] = (told.event.text, told.event.clip)
            self._asked = 0

    def _samples(
        self, before: tuple[model.Sample, ...], after: tuple[model.Sample, ...], now: Moment
    ) -> None:
        """Record what was done to each vial; undo what a correction took back."""
        old = {sample.vial: sample for sample in before}
        for sample in after:
            was = old.get(sample.vial)
            if was is not None and was != sample:
                done = self._done.setdefault(sample.vial, {})
                mark = _MARKS.get(sample.status, "")
                if was.status is not sample.status:
                    kept = _kept(mark, had_mark=mark in done)
                    self._done[sample.vial] = done = {k: v for k, v in done.items() if k in kept}
                    if mark:
                        done.setdefault(mark, now)
                if not sample.mass_mg:
                    done.pop("weighed", None)
                elif was.mass_mg != sample.mass_mg:
                    done["weighed"] = now

    def _deviations(
        self, before: tuple[model.Deviation, ...], after: tuple[model.Deviation, ...], now: Moment
    ) -> None:
        old = {deviation.number: deviation.status for deviation in before}
        for deviation in after:
            number, status = deviation.number, deviation.status
            if number not in old:
                self._raised[number] = now
            elif old[number] == status:
                continue
            elif status in _DISPOSED:
                self._disposed[number], self._asked = now, number
            else:
                self._disposed.pop(number, None)
                self._reasons.pop(number, None)

    def export(
        self, faults: Sequence[str], signatures: Sequence[Signature], shown: Sequence[str] = ()
    ) -> Export:
        """Return the export.

        Args:
            faults: every fault of the record, one sentence each.
            signatures: signatures of the record.
            shown: how the session ended and how far the record is anchored, one sentence each.
        """
        last, session = self._last, self._session
        head = None
        if last is not None:
            head = Head(seq=last.seq, hash=last.hash, code=head_code(last.seq, last.hash).text)
        condition: Condition = "whole" if session.state is State.CLOSED else "incomplete"
        return Export(
            condition="damaged" if faults else condition,
            faults=tuple(faults),
            shown=tuple(shown),
            head=head,
            session=self._described(),
            people=tuple(Person(name=p.name, role=p.role, call=p.call) for p in self._plan.people),
            totals=totals(session),
            samples=self._sample_rows(),
            deviations=tuple(self._deviation(d) for d in session.deviations),
            signatures=tuple(signatures),
            entries=tuple(self._entries),
        )

    def _described(self) -> Session:
        study, opened = self._plan.study, self._opened
        known = {}
        if opened is not None:
            names = ("software", "engine", "microphone", "speaker", "kind", *_HASHES)
            known = {name: getattr(opened, name) for name in names}
        return Session(
            title=study.title,
            protocol=study.protocol,
            product=study.product,
            batch=study.batch,
            stage=study.stage,
            sampler=self._plan.sampler.identity,
            die_set=self._plan.sampler.die_set,
            opened=self._first,
            ended=self._ended,
            state=self._session.state.value,
            **known,
        )

    def _sample_rows(self) -> tuple[Sample, ...]:
        depths = [insertion_mm(self._plan, n) for n in range(len(self._plan.locations))]
        standing = [d for d in self._session.deviations if d.status != "withdrawn"]
        return tuple(
            self._sample(sample, depths, [d.number for d in standing if sample.vial in d.vials])
            for sample in self._session.progress.samples
        )

    def _sample(self, sample: model.Sample, depths: list[int], numbers: list[int]) -> Sample:
        insertion = self._session.progress.insertions[sample.insertion]
        location = self._plan.locations[insertion.location]
        return Sample(
            vial=sample.vial,
            location=location.code,
            description=location.description,
            insertion=sample.insertion + 1,
            attempt=insertion.attempt,
            position=self._plan.sampler.positions[sample.position].value,
            port=sample.port + 1,
            depth_mm=depths[insertion.location],
            status=sample.status.value,
            mass_mg=sample.mass_mg,
            deviations=tuple(numbers),
            **self._done.get(sample.vial, {}),
        )

    def _deviation(self, deviation: model.Deviation) -> Deviation:
        insertion = self._session.progress.insertions[deviation.insertion]
        text, clip = self._reasons.get(deviation.number, ("", ""))
        return Deviation(
            number=deviation.number,
            kind=deviation.kind.value,
            detail=deviation.detail,
            vials=deviation.vials,
            location=self._plan.locations[insertion.location].code,
            insertion=deviation.insertion + 1,
            status=deviation.status,
            raised=self._raised[deviation.number],
            disposed=self._disposed.get(deviation.number),
            reason=text,
            reason_clip=clip,
        )


def entries_only(
    lines: Sequence[Line], faults: Sequence[str], signatures: Sequence[Signature]
) -> Export:
    """Return the export of a record whose plan or grammar cannot be read: only its entries.

    Samples and deviations depend on the plan, so there are none; spoken phrases are in the
    entries.

    Args:
        lines: lines proved by the chain.
        faults: every fault, at least why there is no plan or grammar.
        signatures: signatures of the record.
    """
    first, last = (lines[0], lines[-1]) if lines else (None, None)
    opened = first.event if first else {}
    names = ("software", "engine", "microphone", "speaker", "kind", *_HASHES)
    unknown = dict.fromkeys(
        ("title", "protocol", "product", "batch", "stage", "sampler", "die_set"), "not readable"
    )
    return Export(
        condition="damaged",
        faults=tuple(faults),
        head=Head(seq=last.seq, hash=last.hash, code=head_code(last.seq, last.hash).text)
        if last
        else None,
        session=Session(
            **unknown,
            **{name: str(opened.get(name, "")) for name in names},
            opened=Moment(utc=first.utc, by=first.by, seq=first.seq) if first else None,
            state=str(last.outcome.get("state", "")) if last else "",
        ),
        people=(),
        totals={},
        samples=(),
        deviations=(),
        signatures=tuple(signatures),
        entries=tuple(_entry(line) for line in lines),
    )


def _kept(mark: str, *, had_mark: bool) -> set[str]:
    """Return which steps of a vial remain valid when its status becomes the one of `mark`.

    Returning to a status keeps the steps that led there; advancing keeps all of them.
    """
    if not mark:
        return set()
    if had_mark:
        return {name for name in _BEFORE if _BEFORE[name] <= _BEFORE[mark]}
    return set(_BEFORE)


def totals(session: model.Session) -> dict[str, int]:
    """Reconcile samples against the plan and by status, insertions, and deviations by status."""
    samples = Counter(s.status for s in session.progress.samples)
    standing = Counter(d.status for d in session.deviations)
    count = tally(session)
    plan = session.plan
    return {
        "samples-planned": int(count["planned"]),
        "samples-taken": int(count["taken"]),
        "samples-full": samples[model.Status.FULL],
        "samples-short": samples[model.Status.SHORT],
        "samples-empty": samples[model.Status.EMPTY],
        "samples-void": samples[model.Status.VOID],
        "samples-still-in-the-sampler": samples[model.Status.TAKEN],
        "samples-not-begun": samples[model.Status.PLANNED],
        "vials-listed": len(session.progress.samples),
        "insertions": len(session.progress.insertions),
        "dies-per-insertion": plan.vials_per_insertion,
        "deviations": len(session.deviations),
        **{
            f"deviations-{name}": standing[name]
            for name in ("open", "withdrawn", "accepted", "void", "repeat")
        },
    }


def _entry(line: Line) -> Entry:
    return Entry(
        seq=line.seq,
        utc=line.utc,
        mono_ns=line.mono,
        boot=line.boot,
        by=line.by,
        event=line.event,
        outcome=line.outcome,
        hash=line.hash,
    )
