"""`archive export`: records copied for retention, sealed with checksums (BagIt)."""

from dataclasses import dataclass
from pathlib import Path

from assistant.archive.bag import Wanted, write_bag
from assistant.archive.database import Archive
from assistant.archive.questions import Filters, ask
from assistant.cli.archive_common import FilterOptions, filters_of, opened
from assistant.cli.output import terminal
from assistant.clock import SystemClock
from assistant.printable import printable
from assistant.record import software
from assistant.report.formatting import counted


@dataclass(frozen=True, slots=True, kw_only=True)
class Options(FilterOptions):
    """Options of `archive export`."""

    into: Path
    keys: Path | None
    authority: Path | None


def run(options: Options) -> int:
    """Copy the records; 1 where one could not be copied as it was.

    Raises:
        InputError: an option cannot be used, or no record is left to copy.
        RecordError: a file cannot be copied; nothing is left behind.
        ArchiveError: the database refused.
    """
    filters = filters_of(options)
    console = terminal()
    with opened(options.archive) as archive:
        bagged = write_bag(
            archive,
            _wanted(archive, filters),
            options.into,
            day=SystemClock().now().utc[:10],
            software=software(),
            keys=options.keys,
            authority=options.authority,
        )
    for line in bagged.left_out:
        console.print(f"left out: {printable(line)}")
    console.print(f"{bagged.folder}: {counted(bagged.records, 'record')}, sealed with SHA-256")
    return 1 if bagged.left_out else 0


def _wanted(archive: Archive, filters: Filters) -> list[Wanted]:
    """Return the records, each under a name of its own: its head code is part of it."""
    answer = ask(archive, "sessions", filters)
    head, code, opened_utc = (answer.headings.index(n) for n in ("head", "head_code", "opened_utc"))
    return [
        Wanted(str(row[head]), f"{str(row[opened_utc])[:10]}-{row[code]}") for row in answer.rows
    ]
