"""`archive list`: the records in the archive."""

from dataclasses import dataclass
from pathlib import Path

from assistant.archive.questions import ask
from assistant.cli.archive_common import FilterOptions, Form, filters_of, opened, show


@dataclass(frozen=True, slots=True, kw_only=True)
class Options(FilterOptions):
    """Options of `archive list`."""

    form: Form
    output: Path | None
    overwrite: bool


def run(options: Options) -> int:
    """List the records, in the order in which their sessions began.

    Raises:
        InputError: an option cannot be used.
        ArchiveError: the database refused.
    """
    filters = filters_of(options)
    with opened(options.archive) as archive:
        show(
            ask(archive, "sessions", filters),
            options.form,
            options.output,
            overwrite=options.overwrite,
        )
    return 0
