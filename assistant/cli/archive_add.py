"""`archive add`: records that `verify` passes, now or when the database answers again."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console

from assistant.archive.adding import CLOCK_S, Added, add
from assistant.archive.database import Archive, connect
from assistant.archive.proved import Witnesses, proved_record
from assistant.archive.queue import Queue, Waiting
from assistant.cli.archive_common import AddOptions, archive_at
from assistant.cli.evaluation_inputs import read_laboratory
from assistant.cli.output import terminal
from assistant.cli.requirements import trusted_by
from assistant.errors import ArchiveError, ArchiveUnreachable, AssistantError, InputError
from assistant.printable import printable
from assistant.report.formatting import counted
from assistant.user_folder import user_folder


@dataclass(frozen=True, slots=True, kw_only=True)
class Options(AddOptions):
    """Options of `archive add`."""

    records: list[str]


def run(options: Options) -> int:
    """Add what waits and what is named; one record that cannot be added does not stop the rest.

    Returns:
        0, or the largest exit code of the records that could not be added.

    Raises:
        ArchiveError: the database refused; ArchiveUnreachable if it did not answer, and then the
            records wait in the queue.
        InputError: the URL or the queue cannot be used.
    """
    url, queue = archive_at(options.archive), Queue(user_folder())
    work = list(dict.fromkeys((*queue.waiting(url), *_named(options, url))))
    if not work:
        raise InputError("Nothing waits in the queue: name a record.")
    done: list[Waiting] = []
    try:
        archive = connect(url, begin=True)
        try:
            codes = add_all(archive, work, done)
        finally:
            archive.close()
    except ArchiveUnreachable as fault:
        rest = [one for one in work if one not in done]
        queue.put(rest)
        raise ArchiveUnreachable(
            f"{fault} {counted(len(rest), 'record waits', 'records wait')} in {queue.path}: run "
            "`sampling-assistant archive add` when it answers again."
        ) from None
    finally:
        queue.drop(done)
    return max(codes, default=0)


def _named(options: Options, url: str) -> list[Waiting]:
    """Return what the command line names, with absolute paths: it may be added elsewhere, later."""
    found = []
    for text in options.records:
        record, _, sheet = (text, "", "") if Path(text).is_dir() else text.partition("=")
        found.append(
            Waiting(
                archive=url,
                record=Path(record).absolute(),
                sheet=Path(sheet).absolute() if sheet else None,
                unit=options.unit,
                partial=options.partial,
                keys=_absolute(options.keys),
                station_register=_absolute(options.register),
                authority=_absolute(options.authority),
            )
        )
    return found


def _absolute(path: Path | None) -> Path | None:
    return None if path is None else path.absolute()


def add_all(
    archive: Archive, work: Iterable[Waiting], done: list[Waiting], *, quiet: bool = False
) -> list[int]:
    """Add record by record and say what came of it.

    Args:
        archive: where to.
        work: the records.
        done: receives those that need not wait any more.
        quiet: name those only that could not be added.

    Returns:
        The exit code of each that could not be added.

    Raises:
        ArchiveError: the database refused; the rest was not tried.
    """
    console, came = terminal(), Counter[Added]()
    codes, clock_s = [], 0.0
    for one in work:
        try:
            added, clock_s = _add(archive, one)
        except ArchiveError:
            raise
        except AssistantError as fault:
            console.print(f"not added: {printable(str(fault))}")
            codes.append(fault.exit_code)
            continue
        done.append(one)
        came[added] += 1
        if added is not Added.KNOWN and not quiet:
            console.print(f"{added.value}: {printable(str(one.record))}")
    counts = [f"{came[each]} {each.value}" for each in Added]
    console.print(f"{', '.join(counts)}, {len(codes)} not added")
    _show_clock(console, clock_s)
    return codes


def _add(archive: Archive, one: Waiting) -> tuple[Added, float]:
    witnesses = Witnesses(one.keys, one.station_register, trusted_by(one.authority))
    laboratory = read_laboratory(one.sheet, one.unit) if one.sheet else None
    proved = proved_record(one.record, witnesses, laboratory, partial=one.partial)
    return add(archive, proved, now=datetime.now(UTC))


def _show_clock(console: Console, clock_s: float) -> None:
    """Say when this machine's clock, and so the times in its records, cannot be right."""
    if abs(clock_s) > CLOCK_S:
        how = "ahead of" if clock_s > 0 else "behind"
        console.print(
            f"The clock of this machine is {abs(clock_s) / 60:.0f} min {how} the database's: set "
            "it; `archive find doubtful-times` lists what was added meanwhile."
        )
