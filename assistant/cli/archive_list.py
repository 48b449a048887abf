"""`archive list`: the records in the archive."""

from dataclasses import dataclass
from datetime import date
from pathlib import Path

from assistant.archive.questions import ask
from assistant.cli.archive_common import Form, filters_of, opened, show


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `archive list`."""

    archive: str | None
    product: str
    batch: str
    booth: str
    operator: str
    sampler: str
    plan: str
    first: date | None
    last: date | None
    form: Form
    output: Path | None
    overwrite: bool


def run(options: Options) -> int:
    """List the records, in the order in which their sessions began.

    Raises:
        InputError: an option cannot be used.
        ArchiveError: the database refused.
    """
    filters = filters_of(
        product=options.product,
        batch=options.batch,
        booth=options.booth,
        operator=options.operator,
        sampler=options.sampler,
        plan=options.plan,
        first=options.first,
        last=options.last,
    )
    with opened(options.archive) as archive:
        show(
            ask(archive, "sessions", filters),
            options.form,
            options.output,
            overwrite=options.overwrite,
        )
    return 0
