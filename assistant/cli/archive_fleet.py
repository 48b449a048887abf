"""How `archive check` and `archive re-hear` show a run over many records."""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass

from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

from assistant.archive.fleet import Found, Task, begin_run, run_over
from assistant.cli.archive_common import opened
from assistant.cli.output import terminal
from assistant.errors import InputError
from assistant.printable import printable
from assistant.report.formatting import counted

__all__ = ["Options", "work_on_all"]

_MOST_WORKERS = 256


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of both."""

    archive: str | None
    workers: int
    scheduler: str | None


def work_on_all(
    options: Options, name: str, work: Callable[[Task], Found], good: str
) -> Counter[str]:
    """Work on every record; name each whose answer is not `good`, and return the answers' counts.

    Raises:
        InputError: an option cannot be used.
        ArchiveError: the database refused.
        DeviceError: the scheduler does not answer.
    """
    workers, scheduler = options.workers, options.scheduler
    if not 1 <= workers <= _MOST_WORKERS:
        raise InputError(f"--workers {workers} is not between 1 and {_MOST_WORKERS}.")
    console, answers = terminal(), Counter[str]()
    columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    bars = Progress(*columns, console=console, transient=True, disable=not console.is_terminal)
    with opened(options.archive) as archive, bars as progress:
        run = begin_run(archive, name)
        if run.before:
            console.print(f"run {run.number} continues behind {counted(run.before, 'record')}")
        bar = progress.add_task(name, total=run.before + len(run.left), completed=run.before)
        for done in run_over(archive, run, work, workers=workers, scheduler=scheduler):
            answers[done.found.answer] += 1
            progress.advance(bar)
            if done.found.answer != good:
                line = f"{done.found.answer}: {done.task.folder}: {done.found.statement}"
                console.print(printable(line))
    counts = [f"{count} {answer}" for answer, count in answers.most_common()]
    console.print(f"run {run.number}: {', '.join(counts) or 'no records'}")
    return answers
