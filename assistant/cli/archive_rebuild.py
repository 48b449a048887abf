"""`archive rebuild`: the index made anew from the folders, which are the originals."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from assistant.archive.database import connect
from assistant.archive.queue import Waiting
from assistant.cli.archive_add import add_all
from assistant.cli.archive_common import AddOptions, archive_at
from assistant.errors import InputError

_RECORD = "record.jsonl"
_SHEETS = (".csv", ".xlsx")


@dataclass(frozen=True, slots=True, kw_only=True)
class Options(AddOptions):
    """Options of `archive rebuild`."""

    roots: list[Path]


def run(options: Options) -> int:
    """Add every record below the folders; those that are known stay as they are.

    Returns:
        0, or the largest exit code of the records that could not be added.

    Raises:
        InputError: a folder is not there, or the URL cannot be used.
        ArchiveError: the database refused; what was added before stays.
    """
    for root in options.roots:
        if not root.is_dir():
            raise InputError(f"There is no folder {root}; check the name.")
    url = archive_at(options.archive)
    work = (
        Waiting(
            archive=url,
            record=record.absolute(),
            sheet=_sheet(record),
            unit=options.unit,
            partial=options.partial,
            keys=options.keys,
            station_register=options.register,
            authority=options.authority,
        )
        for record in _records(options.roots)
    )
    with closing(connect(url, begin=True)) as archive:
        return max(add_all(archive, work, [], quiet=True), default=0)


def _records(roots: Sequence[Path]) -> Iterator[Path]:
    for root in roots:
        yield from (path.parent for path in sorted(root.rglob(_RECORD)))


def _sheet(record: Path) -> Path | None:
    """Return the sheet beside a record."""
    names = (record.with_name(record.name + suffix) for suffix in _SHEETS)
    return next((path.absolute() for path in names if path.is_file()), None)
