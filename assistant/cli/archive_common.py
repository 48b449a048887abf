"""What the actions of `archive` share: which archive, what limits an answer, how it is shown."""

import json
import os
import re
import sys
from contextlib import closing
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from pathlib import Path
from typing import Final, Literal

from rich.table import Table

from assistant.archive.database import Archive, connect
from assistant.archive.questions import Answer, Filters
from assistant.cli.files import read_file, write_file
from assistant.cli.output import terminal
from assistant.errors import InputError
from assistant.printable import printable
from assistant.report.export_tables import to_csv
from assistant.report.formatting import counted
from assistant.user_folder import user_folder

__all__ = ["AddOptions", "FilterOptions", "Form", "archive_at", "filters_of", "opened", "show"]

URL_VARIABLE: Final = "SAMPLING_ASSISTANT_ARCHIVE"
"""Names the database where the command line does not."""

Form = Literal["table", "csv", "json"]
_MINUTE: Final = 16
"""Characters of a time to the minute."""
_FEWEST_DIGITS = 8


def archive_at(url: str | None) -> str:
    """Return the URL on the command line, else the environment's, else the user's own file."""
    if url or (url := os.environ.get(URL_VARIABLE)):
        return url
    user_folder().mkdir(parents=True, exist_ok=True)
    return f"sqlite:///{user_folder() / 'archive.sqlite'}"


def opened(url: str | None) -> "closing[Archive]":
    """Open the archive for reading, to be closed by `with`.

    Raises:
        InputError: the URL cannot be used.
        ArchiveError: the database cannot be used, or there is none.
    """
    return closing(connect(archive_at(url)))


@dataclass(frozen=True, slots=True, kw_only=True)
class FilterOptions:
    """The archive, and what limits an answer: options of several actions."""

    archive: str | None
    product: str
    batch: str
    booth: str
    operator: str
    sampler: str
    plan: str
    first: date | None
    last: date | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AddOptions:
    """The archive, and how records and their sheets are read: options of both ways to add them."""

    archive: str | None
    keys: Path | None
    register: Path | None
    authority: Path | None
    partial: bool
    unit: str | None


def filters_of(options: FilterOptions, kind: str = "") -> Filters:
    """Return the filters of the command line; a plan by its file or the digits of its hash.

    Args:
        options: of the action.
        kind: of a deviation, "" for any.

    Raises:
        InputError: the plan is neither, or the days are exchanged.
    """
    first, last = options.first, options.last
    if first and last and last < first:
        raise InputError(f"--from {first} is after --to {last}: exchange them.")
    return Filters(
        product=options.product,
        batch=options.batch,
        booth=options.booth,
        operator=options.operator,
        sampler=options.sampler,
        plan=_plan_hash(options.plan),
        kind=kind,
        first=first,
        last=last,
    )


def _plan_hash(plan: str) -> str:
    if not plan or (len(plan) >= _FEWEST_DIGITS and re.fullmatch("[0-9a-f]{8,64}", plan)):
        return plan
    if not Path(plan).exists():
        raise InputError(
            f"There is no plan file {plan}, and it is no beginning of a SHA-256: type "
            f"{_FEWEST_DIGITS} or more of its digits, in small letters."
        )
    return sha256(read_file(Path(plan), "plan")).hexdigest()


def show(answer: Answer, form: Form, output: Path | None, *, overwrite: bool) -> None:
    """Print an answer, or write it to a file.

    Args:
        answer: rows under headings.
        form: how.
        output: file to write, None to print.
        overwrite: replace a file that is there.

    Raises:
        InputError: a table was asked for in a file, or the file is there or cannot be written.
    """
    if form == "table":
        if output is not None:
            raise InputError(f"{output}: a table is for the terminal; write --as csv or --as json.")
        _table(answer)
        return
    data = _csv(answer) if form == "csv" else _json(answer)
    if output is not None:
        write_file(output, data, overwrite=overwrite)
        terminal().print(f"{output}: {counted(len(answer.rows), 'row')}")
    else:
        sys.stdout.write(data.decode("utf-8-sig"))


def _csv(answer: Answer) -> bytes:
    rows = ([_cell(value) for value in row] for row in answer.rows)
    return to_csv(answer.headings, rows)


def _cell(value: str | float | None) -> str | int:
    if value is None:
        return ""
    return repr(value) if isinstance(value, float) else value


def _json(answer: Answer) -> bytes:
    rows = [dict(zip(answer.headings, row, strict=True)) for row in answer.rows]
    return (json.dumps(rows, ensure_ascii=False, indent=1) + "\n").encode()


def _table(answer: Answer) -> None:
    console = terminal()
    console.print(counted(len(answer.rows), "row"))
    if not answer.rows:
        return
    shown = [n for n, name in enumerate(answer.headings) if name in (answer.narrow or (name,))]
    table = Table(box=None, padding=(0, 2, 0, 0))
    for n in shown:
        name = answer.headings[n]
        number = isinstance(answer.rows[0][n], int | float)
        table.add_column(
            name.replace("_utc", " (UTC)").replace("_", " "),
            justify="right" if number else "left",
            no_wrap=name.endswith("_utc"),
            overflow="fold",
        )
    for row in answer.rows:
        table.add_row(*(_spelt(answer.headings[n], row[n]) for n in shown))
    console.print(table)


def _spelt(heading: str, value: str | float | None) -> str:
    text = "" if value is None else printable(str(value))
    return text[:_MINUTE].replace("T", " ") if heading.endswith("_utc") else text
