"""`archive check`: prove every record of the archive where it stands, many at a time."""

from dataclasses import dataclass

from assistant.archive.fleet import INTACT, check_record
from assistant.cli.archive_fleet import work_on_all


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `archive check`."""

    archive: str | None
    workers: int
    scheduler: str | None


def run(options: Options) -> int:
    """Prove every record; 1 where one is not intact.

    Raises:
        InputError: an option cannot be used.
        ArchiveError: the database refused.
        DeviceError: the scheduler does not answer.
    """
    answers = work_on_all(
        options.archive,
        "check",
        check_record,
        INTACT,
        workers=options.workers,
        scheduler=options.scheduler,
    )
    return 1 if answers.keys() - {INTACT} else 0
