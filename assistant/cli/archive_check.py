"""`archive check`: prove every record of the archive where it stands, many at a time."""

from assistant.archive.fleet import INTACT, check_record
from assistant.cli.archive_fleet import Options, work_on_all


def run(options: Options) -> int:
    """Prove every record; 1 where one is not intact.

    Raises:
        InputError: an option cannot be used.
        ArchiveError: the database refused.
        DeviceError: the scheduler does not answer.
    """
    answers = work_on_all(options, "check", check_record, INTACT)
    return 1 if answers.keys() - {INTACT} else 0
