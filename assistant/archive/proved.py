"""From a record's folder to its rows: one pass proves the record and collects what is indexed."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.conformance import FoldedEntry
from assistant.errors import RecordBroken, RecordError
from assistant.evaluation.review import protocol_outcome
from assistant.evaluation.study import Options, evaluate
from assistant.journal.signing import Signature, check
from assistant.procedure.enums import END
from assistant.procedure.events import Opened
from assistant.record import OpenRecord, Proof, open_record, prove, software
from assistant.record.anchor import Anchor
from assistant.record.registered import registered
from assistant.record.standing import Standing, standing_of
from assistant.report.evaluation_run import Laboratory, joined_of, made_up, protocol_of
from assistant.report.export import Export, Moment
from assistant.report.export_collect import Collector
from assistant.report.vial_records import random_mixture_rsd, study_of
from assistant.storage.keys import load_public
from assistant.storage.register import Session, sessions

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

__all__ = ["Proved", "Witnesses", "proved_record"]

Cell = str | int | float | None
Row = dict[str, Cell]
Rows = dict[str, list[Row]]


@dataclass(frozen=True, slots=True)
class Witnesses:
    """What from outside the folder may vouch for a record."""

    keys: Path | None = None
    """Folder of public keys; without it signatures are not checked."""
    register: Path | None = None
    """Register of the station."""
    trusted: tuple["Certificate", ...] = ()
    """Certificates of the time-stamping authority."""


@dataclass(frozen=True, slots=True)
class Proved:
    """A record that `verify` passes, as the rows of the archive."""

    folder: Path
    rows: Rows
    """By the name of the table; one row of `sessions`."""

    @property
    def head(self) -> str:
        """Hash of the last entry."""
        return str(self.rows["sessions"][0]["head"])


class _Watch:
    """Collects an export, and of the first entry what an export does not name."""

    def __init__(self, record: OpenRecord) -> None:
        self.collector = Collector(record.plan)
        self.booth = self.boot = ""

    def note(self, told: FoldedEntry) -> None:
        """Process an entry."""
        if isinstance(told.event, Opened):
            self.booth, self.boot = told.event.host, told.entry.boot
        self.collector.take(told)


def proved_record(
    folder: Path,
    witnesses: Witnesses,
    laboratory: Laboratory | None = None,
    *,
    partial: bool = False,
) -> Proved:
    """Prove a record as `verify` does and return its rows.

    Args:
        folder: of the record.
        witnesses: what may vouch for it.
        laboratory: the sheet with its assays, None for none.
        partial: take a sheet that lacks vials, as for an evaluation.

    Raises:
        RecordError: there is no record, it cannot be read, or its session has not ended.
        RecordBroken: something does not hold.
        InputError: the sheet, keys or register cannot be used.
    """
    record = open_record(folder)
    watch = _Watch(record)
    known = sessions(witnesses.register) if witnesses.register else {}
    first = record.first_hash()
    session = known.get(first)
    proof = prove(record, counts=session.heads.keys() if session else frozenset(), seen=watch.note)
    standing = _standing(proof, session, witnesses)
    if standing is None:
        raise RecordBroken(f"{folder} holds no entry; nothing can be proved.")
    if standing.state not in END:
        raise RecordError(
            f"The session in {folder} is open in {standing.state.value}: resume it and finish or "
            "stop it, then add its record."
        )
    export = watch.collector.export((), (), standing.lines)
    own: Row = {"session": first, "booth": watch.booth, "boot": watch.boot}
    rows: Rows = {
        "sessions": [{**own, **_session(export, standing)}],
        **_sampling(export),
        "signatures": list(_signatures(proof.signatures)),
        "anchors": list(_anchors(standing.anchors)),
        "assays": [],
        "verdicts": [],
    }
    if laboratory is not None:
        rows |= _evaluated(record, laboratory, partial=partial)
    head = str(rows["sessions"][0]["head"])
    return Proved(
        folder, {name: [{"head": head, **row} for row in each] for name, each in rows.items()}
    )


def _standing(proof: Proof, session: Session | None, witnesses: Witnesses) -> Standing | None:
    """Check what vouches for a record; return what was shown."""
    outside: list[Anchor] = []
    if witnesses.register is not None:
        outside.append(registered(proof, session, witnesses.register))
    genuine: Sequence[Signature] = ()
    if witnesses.keys is not None:
        check(proof.signatures, proof.heads, load_public(witnesses.keys))
        genuine = proof.signatures
    return standing_of(proof, "", genuine, [*outside, *proof.stamped(witnesses.trusted)])


def _session(export: Export, standing: Standing) -> Row:
    session, head = export.session, export.head
    if head is None or session.opened is None or session.ended is None:
        raise TypeError("an ended session has a head, a beginning and an end")
    return {
        "head": head.hash,
        "entries": head.seq,
        "head_code": head.code,
        **session.model_dump(exclude={"opened", "ended", "engine", "microphone", "speaker"}),
        "operator": session.opened.by,
        "opened_utc": session.opened.utc,
        "ended_utc": session.ended.utc,
        "statement": f"{'; '.join(standing.lines)}; verified by {software()}",
        "doubtful_times": standing.doubtful_times,
    }


def _sampling(export: Export) -> Rows:
    insertions = {
        sample.insertion: sample.model_dump(
            include={"insertion", "location", "description", "attempt", "depth_mm"}
        )
        for sample in export.samples
    }
    return {
        "insertions": list(insertions.values()),
        "samples": [
            {
                **one.model_dump(
                    include={"vial", "insertion", "position", "port", "status", "mass_mg"}
                ),
                **_when("taken", one.taken),
                **_when("emptied", one.emptied),
                **_when("weighed", one.weighed),
                **_when("voided", one.voided),
            }
            for one in export.samples
        ],
        "deviations": [
            {
                **one.model_dump(exclude={"vials", "raised", "disposed"}),
                "vials": " ".join(map(str, one.vials)),
                **_when("raised", one.raised),
                "raised_seq": one.raised.seq,
                **_when("disposed", one.disposed),
            }
            for one in export.deviations
        ],
    }


def _when(what: str, moment: Moment | None) -> Row:
    utc, by = (moment.utc, moment.by) if moment else ("", "")
    return {f"{what}_utc": utc, f"{what}_by": by}


def _signatures(signatures: Iterable[Signature]) -> Iterator[Row]:
    for number, signature in enumerate(signatures, start=1):
        said = signature.statement
        yield {
            "number": number,
            **said.model_dump(include={"name", "meaning", "utc", "count", "key"}),
        }


def _anchors(anchors: Iterable[Anchor]) -> Iterator[Row]:
    for one in anchors:
        yield {
            "count": one.count,
            "by": one.by,
            "name": one.name,
            "meaning": one.meaning,
            "utc": one.utc,
        }


def _evaluated(record: OpenRecord, laboratory: Laboratory, *, partial: bool) -> Rows:
    """Join a record with its assays and evaluate them, by the functions of `evaluate`."""
    study = study_of(record.told(), record.plan)
    results = joined_of(study, laboratory, partial=partial).results
    masses = [result.mass_mg for result in results if result.mass_mg is not None]
    mean_mg = sum(masses) / len(masses) if masses else None
    options = Options(random_rsd=random_mixture_rsd(record.plan, mean_mg))
    outcomes = list(evaluate(results, options).outcomes)
    protocol = protocol_of(record.plan)
    if protocol is not None:
        outcomes.append(protocol_outcome(results, protocol))
    about: Row = {
        "sheet": laboratory.sheet.name,
        "sheet_sha256": laboratory.sha256,
        "made_up": ", ".join(made_up(study, laboratory)),
        "software": software(),
    }
    return {
        "assays": [
            {"vial": int(one.vial), "assay": one.assay, "mass_mg": one.mass_mg} for one in results
        ],
        "verdicts": [
            {
                "scheme": one.scheme.key,
                "verdict": one.verdict.value,
                "sentence": one.sentence,
                **about,
            }
            for one in outcomes
        ],
    }
