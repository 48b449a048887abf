"""`export`: a record as tables, as JSON, or as a sheet to print; damaged ones clearly marked."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from rich.console import Console

from assistant.cli.record import OpenRecord, open_record
from assistant.cli.verify import Proof, prove_files
from assistant.conformance import Told, proved
from assistant.errors import InputError, RecordBroken
from assistant.journal.signing import Signature, check, note_heads
from assistant.report.export import Export, to_json
from assistant.report.export import Signature as Shown
from assistant.report.export_collect import Collector
from assistant.storage.atomic import replace_file
from assistant.storage.keys import load_public
from assistant.storage.signatures import load_signatures


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `export`."""

    record: Path
    form: Literal["csv", "json", "sheet"]
    output: Path
    keys: Path | None


def run(options: Options) -> int:
    """Export a record; 0 when it is proven as far as it goes, 1 when it is damaged.

    Raises:
        InputError: the output cannot be written there.
        RecordError: there is no record, or a file cannot be read or written.
    """
    export = collected(open_record(options.record), options.keys)
    output: Path = options.output
    if options.form == "csv":
        _write_tables(export, output)
    elif options.form == "json":
        _write(output, to_json(export).encode())
    else:
        from assistant.report.session_sheet import session_sheet  # noqa: PLC0415 - loads reportlab

        _write(output, session_sheet(export))
    console = Console(highlight=False)
    entries = export.head.seq if export.head else 0
    console.print(f"{output}: {export.condition} record, {entries} entries", soft_wrap=True)
    for fault in export.faults:
        console.print(f"does not hold: {fault}", soft_wrap=True)
    return 1 if export.condition == "damaged" else 0


def collected(record: OpenRecord, keys: Path | None) -> Export:
    """Prove a record as far as it holds, and return what can be exported of it.

    Args:
        record: opened for reading.
        keys: folder of public keys, None to leave the signatures unchecked.

    Raises:
        InputError: the folder of keys cannot be used.
    """
    faults: list[str] = []
    signatures: tuple[Signature, ...] = ()
    try:
        signatures = load_signatures(record.view.path)
    except RecordBroken as fault:
        faults.append(str(fault))
    proof = Proof(signatures)
    collector = Collector(record.plan)
    faults += collector.collect(_told(record, proof, faults))
    shown = tuple(_shown(n, s, proof, keys) for n, s in enumerate(signatures, start=1))
    faults += [
        f"The signature of {s.name} {s.standing}."
        for s in shown
        if s.standing not in (_GENUINE, _UNCHECKED)
    ]
    return collector.export(faults, shown)


_GENUINE = "genuine"
_UNCHECKED = "not checked"


def _told(record: OpenRecord, proof: Proof, faults: list[str]) -> Iterator[Told]:
    """Retell the record; a file that does not hold is a fault, but not the end."""
    counts = {signature.statement.count for signature in proof.signatures}
    try:
        next(record.entries(), None)
    except RecordBroken as fault:
        faults.append(str(fault))
    for told in record.told(note_heads(proved(record.view.lines()), counts, proof.heads)):
        try:
            prove_files(record, told, proof)
        except RecordBroken as fault:
            faults.append(str(fault))
        yield told


def _shown(number: int, signature: Signature, proof: Proof, keys: Path | None) -> Shown:
    """Return a signature with its standing."""
    said = signature.statement
    standing = _UNCHECKED
    if proof.heads.get(said.count) != said.head:
        standing = f"was not made under this record as it stands at entry {said.count}"
    elif keys is not None:
        try:
            check([signature], proof.heads, load_public(keys))
            standing = _GENUINE
        except RecordBroken as fault:
            standing = str(fault).replace("Signature 1 ", f"number {number} ").rstrip(".")
    return Shown(
        name=said.name,
        meaning=said.meaning,
        utc=said.utc,
        count=said.count,
        head=said.head,
        key=said.key,
        standing=standing,
    )


def _write_tables(export: Export, folder: Path) -> None:
    from assistant.report.export_tables import tables  # noqa: PLC0415 - the other forms need none

    try:
        folder.mkdir(exist_ok=True)
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise InputError(f"The folder {folder} cannot be made: {reason}.") from None
    for name, data in tables(export).items():
        _write(folder / name, data)


def _write(path: Path, data: bytes) -> None:
    if path.is_dir() or not path.parent.is_dir():
        raise InputError(f"{path} cannot be written: name a file in a folder that is there.")
    replace_file(path, data)
