"""`archive find`: the questions of a quality unit."""

from dataclasses import dataclass
from pathlib import Path

from assistant.archive.database import Archive
from assistant.archive.missing import missing
from assistant.archive.questions import Answer, Filters, ask
from assistant.cli.archive_common import FilterOptions, Form, filters_of, opened, show
from assistant.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class Options(FilterOptions):
    """Options of `archive find`."""

    question: str
    kind: str
    register: list[Path]
    form: Form
    output: Path | None
    overwrite: bool


def run(options: Options) -> int:
    """Answer a question; no rows is an answer like any other.

    Raises:
        InputError: an option cannot be used, or says nothing about this question.
        RecordBroken: a register was changed.
        ArchiveError: the database refused.
    """
    filters = filters_of(options, options.kind)
    if options.question == "plan" and not filters.plan:
        raise InputError("Name the plan with --plan: its file, or the digits of its SHA-256.")
    if (options.question == "missing") != bool(options.register):
        raise InputError("--register goes with the question 'missing', which needs one.")
    with opened(options.archive) as archive:
        show(
            _answer(archive, options, filters),
            options.form,
            options.output,
            overwrite=options.overwrite,
        )
    return 0


def _answer(archive: Archive, options: Options, filters: Filters) -> Answer:
    if options.question != "missing":
        return ask(archive, options.question, filters)
    if filters.given:
        raise InputError("The question 'missing' is limited by its registers only.")
    return missing(archive, options.register)
