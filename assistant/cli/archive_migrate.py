"""`archive migrate`: make the tables of an archive, or bring older ones up to this version."""

from dataclasses import dataclass

from assistant.archive.database import migrate
from assistant.cli.archive_common import archive_at
from assistant.cli.output import terminal


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `archive migrate`."""

    archive: str | None


def run(options: Options) -> int:
    """Make or migrate the tables; nothing is done to tables of this version.

    Raises:
        InputError: the URL cannot be used.
        ArchiveError: the database refused, or its tables are of a newer version.
    """
    changed = migrate(archive_at(options.archive))
    how = "now has" if changed else "already has"
    terminal().print(f"The archive {how} the tables of this version.")
    return 0
