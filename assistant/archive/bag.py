"""Records copied for retention: one dated folder that can be checked without the archive.

The folder is a bag by RFC 8493 (BagIt), so that any BagIt tool finds a changed, missing or added
file. Whether the records are what they were is shown by `verify` alone.
"""

import os
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Final

import bagit
from sqlalchemy import select

from assistant.archive.database import Archive
from assistant.archive.fleet import INTACT, Found, Task, check_record
from assistant.archive.tables import RECORD_TABLES, places
from assistant.errors import InputError, RecordError
from assistant.report.export import SCHEMA_FILE
from assistant.report.export_tables import to_csv
from assistant.storage.filesystem import failure

__all__ = ["Bagged", "write_bag"]

_PRIVATE: Final = ".key.pem"
_README: Final = """\
Records of powder sampling sessions, copied from an archive for retention.

records/  one folder per record, as it was written
keys/     public keys of the signers, if they were named
index/    what the archive knew of these records, one table per file
schema/   JSON Schema of `sampling-assistant export --as json`

Checksums of all files: manifest-sha256.txt, one folder up (BagIt, RFC 8493).
To verify a record:

    sampling-assistant verify data/records/NAME --keys data/keys
"""


@dataclass(frozen=True, slots=True)
class Wanted:
    """A record to be copied."""

    head: str
    name: str
    """Of its folder in the bag."""


@dataclass(frozen=True, slots=True)
class Bagged:
    """What was written."""

    folder: Path
    records: int
    left_out: tuple[str, ...]
    """One sentence for each record that could not be copied as it was."""


def write_bag(
    archive: Archive,
    wanted: Sequence[Wanted],
    into: Path,
    *,
    day: str,
    software: str,
    keys: Path | None = None,
    authority: Path | None = None,
) -> Bagged:
    """Copy records with their index into a new folder and seal it with checksums.

    Args:
        archive: the index.
        wanted: records to be copied.
        into: existing folder.
        day: for the name of the new folder, like 2026-03-04.
        software: name and version of this program.
        keys: folder of public keys to go with them.
        authority: certificates of the time-stamping authority to go with them.

    Raises:
        InputError: `into` or `keys` is not there, the new folder is, or no record is intact.
        RecordError: a file cannot be copied; nothing is left behind.
        ArchiveError: the database refused.
    """
    folder = into / f"archive-{day}"
    if not into.is_dir():
        raise InputError(f"There is no folder {into}: make it first.")
    if folder.exists():
        raise InputError(f"{folder} is there already: name another folder, or move it away.")
    unfinished = into / f".{folder.name}.tmp"
    try:
        shutil.rmtree(unfinished, ignore_errors=True)
        left_out = tuple(_copy_records(archive, wanted, unfinished))
        copied = [one for one in wanted if (unfinished / "records" / one.name).exists()]
        if not copied:
            raise InputError(f"Nothing to copy: {left_out[0] if left_out else 'no record fits.'}")
        _copy_beside(unfinished, keys, authority)
        _write_index(archive, [one.head for one in copied], unfinished / "index")
        _seal(unfinished, len(copied), software)
        unfinished.rename(folder)
    except OSError as fault:
        raise failure("copy records into", folder, fault) from fault
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)
    return Bagged(folder, len(copied), left_out)


def _copy_records(archive: Archive, wanted: Sequence[Wanted], folder: Path) -> Iterator[str]:
    """Copy each record and prove the copy; yield why one was left out."""
    for one in wanted:
        with archive.reading() as connection:
            where = connection.scalar(
                select(places.c.folder)
                .where(places.c.head == one.head)
                .order_by(places.c.added_utc.desc(), places.c.folder)
            )
        source, copy = Path(str(where)), folder / "records" / one.name
        found = Found("not there", f"There is no record in {source}.")
        if source.is_dir():
            shutil.copytree(source, copy)
            found = check_record(Task(one.head, str(copy)))
        if found.answer != INTACT:
            shutil.rmtree(copy, ignore_errors=True)
            said = found.statement.replace(str(copy), str(source))
            yield f"{source} {found.answer}: {said}"


def _copy_beside(folder: Path, keys: Path | None, authority: Path | None) -> None:
    (folder / "README.txt").write_text(_README, "utf-8")
    (folder / "schema").mkdir()
    schema = files("assistant.report") / SCHEMA_FILE
    (folder / "schema" / SCHEMA_FILE).write_bytes(schema.read_bytes())
    if keys is not None:
        if not keys.is_dir():
            raise InputError(f"There is no folder of public keys {keys}; check the name.")
        (folder / "keys").mkdir()
        for path in sorted(keys.glob("*.pem")):
            if not path.name.endswith(_PRIVATE):
                shutil.copyfile(path, folder / "keys" / path.name)
    if authority is not None:
        shutil.copyfile(authority, folder / "authority.pem")


def _write_index(archive: Archive, heads: Sequence[str], folder: Path) -> None:
    folder.mkdir()
    for table in RECORD_TABLES:
        rows: list[list[str | int]] = []
        with archive.reading() as connection:
            for head in heads:
                found = connection.execute(select(table).where(table.c.head == head))
                rows += [["" if cell is None else str(cell) for cell in row] for row in found]
        (folder / f"{table.name}.csv").write_bytes(to_csv(table.c.keys(), rows))


def _seal(folder: Path, records: int, software: str) -> None:
    """Make the folder a bag: its files go below data/, their checksums beside it."""
    here = Path.cwd()
    about = {
        "Bag-Software-Agent": f"{software}, bagit",
        "External-Description": f"{records} records of powder sampling sessions",
    }
    try:
        bagit.make_bag(str(folder.absolute()), about, checksums=["sha256"])
    except bagit.BagError as fault:
        raise RecordError(f"{folder} cannot be sealed: {fault}.") from None
    finally:
        os.chdir(here)
