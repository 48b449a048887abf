"""From a record's folder and a laboratory's file to what an evaluation takes."""

import io
from hashlib import sha256
from pathlib import Path

from assistant.cli.files import read_file
from assistant.cli.requirements import trusted_by
from assistant.errors import InputError
from assistant.evaluation.assay_units import Unit
from assistant.evaluation.sheet_import import Table, table_from_csv, table_from_workbook
from assistant.evaluation.sheet_rows import read_sheet
from assistant.journal.signing import Signature, check
from assistant.record import open_record, prove
from assistant.record.standing import Standing, standing_of
from assistant.report.evaluation_run import Laboratory
from assistant.report.vial_records import RecordStudy, study_of
from assistant.storage.keys import load_public

MOST_BYTES = 20_000_000
"""A sheet of some hundred vials has a few kB; anything near this is another file."""

_TEXTS = (".csv", ".tsv", ".txt")


def read_record(
    folder: Path, code: str = "", keys: Path | None = None, authority: Path | None = None
) -> tuple[RecordStudy, tuple[Signature, ...], Standing]:
    """Prove a record as `verify` does; return its vials, who signed it, and what was shown.

    Args:
        folder: of the record.
        code: head code as typed, "" for none.
        keys: folder of public keys; without it signatures are proved to stand under this record,
            not to be genuine.
        authority: certificates of the time-stamping authority; without them no time stamp counts.

    Raises:
        RecordError: there is no record, or it cannot be read.
        RecordBroken: the chain, a clip, the head code or a signature does not hold, or its plan or
            grammar was exchanged.
    """
    record = open_record(folder)
    proof = prove(record, code)
    if keys is not None:
        check(proof.signatures, proof.heads, load_public(keys))
    genuine = proof.signatures if keys is not None else ()
    standing = standing_of(proof, code, genuine, proof.stamped(trusted_by(authority)))
    if standing is None:
        raise InputError(f"{folder} holds no entry: there is nothing to evaluate.")
    return study_of(record.told(), record.plan), proof.signatures, standing


def read_laboratory(path: Path, unit: str | None) -> Laboratory:
    """Read the laboratory's file.

    Args:
        path: CSV or XLSX.
        unit: of the assays, as on the command line.

    Raises:
        InputError: it is not there, is neither, or what it holds cannot be used.
    """
    data = read_file(path, "assay file")
    if len(data) > MOST_BYTES:
        raise InputError(f"{path}: {len(data)} bytes are too many for a sheet of assays.")
    table = _table(path, data)
    sheet = read_sheet(table, Unit(unit) if unit else None)
    return Laboratory(sheet, sha256(data).hexdigest())


def _table(path: Path, data: bytes) -> Table:
    suffix = path.suffix.lower()
    if suffix == ".xlsx":
        return table_from_workbook(io.BytesIO(data), path.name)
    if suffix not in _TEXTS:
        raise InputError(f"{path}: save the assays as CSV or XLSX; {suffix or 'no suffix'} is not.")
    return table_from_csv(_text(path, data), path.name)


def _text(path: Path, data: bytes) -> str:
    """Decode a text file: UTF-8, UTF-16 by its first bytes or zeros, or Windows Latin-1."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    elif b"\0" in data[:200]:
        encodings = ["utf-16-be" if data[0] == 0 else "utf-16-le"]
    else:
        encodings = ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise InputError(f"{path}: neither UTF-8, UTF-16 nor Latin-1 text; save it as CSV (UTF-8).")
