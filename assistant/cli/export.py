"""`export`: a record as tables, as JSON, or as a sheet to print; damaged ones clearly marked."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from assistant.cli.files import require_output, write_file
from assistant.cli.output import terminal
from assistant.cli.requirements import show_lacking, trusted_by
from assistant.clock import SystemClock
from assistant.errors import GrammarError, InputError, PlanError, RecordBroken
from assistant.journal.signed import forged
from assistant.journal.signing import Signature, misplaced
from assistant.journal.transcript import Transcript
from assistant.printable import printable
from assistant.record import OpenRecord, Proof, open_record
from assistant.record.anchor import Anchor
from assistant.record.damaged import begin_proof, entries_alone, told_as_far_as_it_holds
from assistant.record.signing_rules import objections
from assistant.record.standing import Standing, standing_of
from assistant.record.time_stamps import check_stamps
from assistant.record.transcripts import fault_of
from assistant.report.export import Export, to_json
from assistant.report.export import Signature as Shown
from assistant.report.export import Transcript as ShownText
from assistant.report.export_collect import Collector, entries_only
from assistant.storage.keys import load_public
from assistant.storage.record_reader import RecordReader

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.x509 import Certificate


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `export`."""

    record: Path
    form: Literal["csv", "json", "sheet"]
    output: Path
    overwrite: bool
    head: str | None
    keys: Path | None
    authority: Path | None
    require: list[str]


_SUFFIX = {"json": ".json", "sheet": ".pdf"}


def run(options: Options) -> int:
    """Export a record; 0 when it is intact as far as it goes, 1 when it is damaged.

    1 also when something that was required does not hold; the export is written all the same.

    Raises:
        InputError: the output cannot be written there.
        RecordError: there is no record, or a file cannot be read or written.
    """
    if options.form == "csv":
        _require_folder(options.output)
    else:
        require_output(options.output, _SUFFIX[options.form], overwrite=options.overwrite)
    export, standing = _readable(
        options.record, options.keys, options.head or "", trusted_by(options.authority)
    )
    output: Path = options.output
    if options.form == "csv":
        _write_tables(export, output, overwrite=options.overwrite)
    elif options.form == "json":
        _write(output, to_json(export).encode(), overwrite=options.overwrite)
    else:
        from assistant.report.session_sheet import session_sheet  # noqa: PLC0415 - loads reportlab

        _write(output, session_sheet(export), overwrite=options.overwrite)
    console = terminal()
    entries = export.head.seq if export.head else 0
    console.print(f"{output}: {export.condition} record, {entries} entries")
    for fault in export.faults:
        console.print(f"does not hold: {printable(fault)}")
    for shown in export.signatures:
        if shown.standing == _NO_KEY:
            console.print(f"the signature of {printable(shown.name)} is {_NO_KEY}")
    if standing is None:
        return 1
    for line in standing.lines:
        console.print(line)
    return show_lacking(console, standing, options.require)


def _readable(
    folder: Path, keys: Path | None, code: str, trusted: Sequence["Certificate"]
) -> tuple[Export, Standing | None]:
    """Collect a record; its entries alone where its plan or grammar cannot be read."""
    try:
        record = open_record(folder)
    except (PlanError, GrammarError) as fault:
        faults = [str(fault)]
    else:
        return collected(record, keys, code, trusted)
    proof = begin_proof(folder, faults)
    entries = entries_alone(RecordReader(folder), proof, faults, code)
    known = load_public(keys) if keys is not None else None
    shown = [_shown(signature, "", proof, known) for signature in proof.signatures]
    return entries_only(entries, faults, shown), None


def collected(
    record: OpenRecord,
    keys: Path | None,
    code: str = "",
    trusted: Sequence["Certificate"] = (),
) -> tuple[Export, Standing | None]:
    """Prove a record as far as it holds; return what can be exported of it, and what was shown.

    Nothing is shown of a damaged record.

    Args:
        record: opened for reading.
        keys: folder of public keys, None to leave the signatures unchecked.
        code: a head code as typed, "" for none.
        trusted: certificates of the time-stamping authority.

    Raises:
        InputError: the folder of keys cannot be used.
    """
    faults: list[str] = []
    proof = begin_proof(record.view.path, faults)
    collector = Collector(record.plan)
    faults += collector.collect(told_as_far_as_it_holds(record, proof, faults, code))
    known = load_public(keys) if keys is not None else None
    last = proof.last.entry if proof.last else None
    found = objections(proof.signatures, record.plan, last, SystemClock().now().utc)
    shown = tuple(
        _shown(signature, why, proof, known)
        for signature, why in zip(proof.signatures, found, strict=True)
    )
    faults += [
        f"The signature of {s.name} {s.standing}."
        for s in shown
        if s.standing not in (_GENUINE, _UNCHECKED, _NO_KEY)
    ]
    texts = tuple(_text_shown(each, proof, known) for each in proof.transcripts)
    faults += [
        f"The text of entry {text.seq} by {text.name} {text.standing}."
        for text in texts
        if text.standing not in (_GENUINE, _UNCHECKED, _NO_KEY)
    ]
    stamped = _stamped(proof, trusted, faults)
    pairs = zip(proof.signatures, shown, strict=True)
    genuine = [signature for signature, one in pairs if one.standing == _GENUINE]
    standing = None if faults else standing_of(proof, code, genuine, stamped)
    lines = standing.lines if standing is not None else ()
    export = collector.export(faults, shown, lines)
    return export.model_copy(update={"transcripts": texts}), standing


def _stamped(
    proof: Proof, trusted: Sequence["Certificate"], faults: list[str]
) -> tuple[Anchor, ...]:
    """Return what the time stamps anchor; one that does not hold is a fault."""
    try:
        check_stamps(proof.stamps, proof.heads)
        return proof.stamped(trusted)
    except RecordBroken as fault:
        faults.append(str(fault))
        return ()


_GENUINE = "genuine"
_UNCHECKED = "not checked"
_NO_KEY = "not checked: there is no public key of that name"
"""A key that was not at hand says nothing about the record."""


def _shown(
    signature: Signature, why: str, proof: Proof, keys: "Mapping[str, Ed25519PublicKey] | None"
) -> Shown:
    """Return a signature with its standing; `why` it does not count by the rules, or ""."""
    said = signature.statement
    return Shown(
        name=said.name,
        meaning=said.meaning,
        utc=said.utc,
        count=said.count,
        head=said.head,
        key=said.key,
        standing=_standing(signature, misplaced(signature, proof.heads) or why, keys),
    )


def _standing(
    signed: Signature | Transcript, fault: str, keys: "Mapping[str, Ed25519PublicKey] | None"
) -> str:
    """Say whether a signature counts; `fault` is why it does not, whoever made it, or ""."""
    if not fault and keys is None:
        return _UNCHECKED
    if not fault and keys is not None:
        fault = forged(signed, keys) if signed.statement.name in keys else _NO_KEY
    return fault or _GENUINE


def _require_folder(folder: Path) -> None:
    """Refuse the name of a file where a folder of tables is written.

    Raises:
        InputError: it ends like one of the files that this program writes.
    """
    if folder.suffix.lower() in {".csv", *_SUFFIX.values()}:
        raise InputError(
            f"{folder}: the tables are several files; name a folder, without {folder.suffix}."
        )


def _text_shown(
    typed: Transcript, proof: Proof, keys: "Mapping[str, Ed25519PublicKey] | None"
) -> ShownText:
    """Return the text of a remark with its standing."""
    said = typed.statement
    return ShownText(
        seq=said.entry,
        text=said.text,
        name=said.name,
        utc=said.utc,
        key=said.key,
        standing=_standing(typed, fault_of(typed, proof.heads, proof.utc), keys),
    )


def _write_tables(export: Export, folder: Path, *, overwrite: bool) -> None:
    from assistant.report.export_tables import tables  # noqa: PLC0415 - the other forms need none

    try:
        folder.mkdir(exist_ok=True)
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise InputError(f"The folder {folder} cannot be made: {reason}.") from None
    made = {folder / name: data for name, data in tables(export).items()}
    for path in made:
        require_output(path, overwrite=overwrite)
    for path, data in made.items():
        _write(path, data, overwrite=overwrite)


def _write(path: Path, data: bytes, *, overwrite: bool) -> None:
    if path.is_dir() or not path.parent.is_dir():
        raise InputError(f"{path} cannot be written: name a file in a folder that is there.")
    write_file(path, data, overwrite=overwrite)
