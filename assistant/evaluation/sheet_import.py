"""Read a file into rows and named columns; numbers are parsed elsewhere.

The heading is the first row that names a key (the vial, or location and position) and an assay;
rows above it are titles. The separator of a CSV file is the one that yields a heading; the order of
the columns does not matter. A workbook is read with openpyxl from an open binary stream, values
only; the one sheet with a heading is used, the others are listed.
"""

import csv
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import BinaryIO, Never

from assistant.errors import InputError
from assistant.evaluation.number_parsing import Cell, text_of
from assistant.evaluation.sheet_headings import Meaning, meaning_of

# Raised by openpyxl if the bytes are not a workbook or damaged: not a zip file, missing or broken
# parts, unexpected XML.
_NOT_A_WORKBOOK = (
    zipfile.BadZipFile,
    zlib.error,
    ArithmeticError,
    AttributeError,
    LookupError,
    OSError,
    RuntimeError,
    SyntaxError,
    TypeError,
    ValueError,
    EOFError,
)
SEPARATORS = (",", ";", "\t")
MOST_TITLE_ROWS = 40
"""Number of rows searched for the heading."""

Rows = Sequence[Sequence[Cell]]


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under named columns."""

    name: str
    """Name of the file in messages."""
    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[Cell, ...]], ...]
    """Row number in the file, from 1, and the cells."""
    set_aside: tuple[str, ...] = ()
    """Title rows and other sheets, which are not used."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Indices of the columns from 0; None for those that are missing."""

    assays: tuple[int, ...]
    """One column, or one per injection."""
    unit: str
    """Unit of all of them, as in `Meaning.unit`."""
    single: Mapping[str, int]
    """All other columns that are used, by kind."""
    mass_units: Mapping[str, str]
    """'mg' or 'g' by kind of mass; '' if the heading does not say."""
    ignored: tuple[str, ...]
    """Headings that are not used."""


def table_from_csv(text: str, name: str) -> Table:
    """Read the table of a CSV text.

    Args:
        text: the decoded file, with or without a byte-order mark.
        name: name of the file in messages.

    Raises:
        InputError: the file is empty, its separator is unclear, or a row is longer than the
        heading.
    """
    lines = text.removeprefix("\ufeff").splitlines(keepends=True)
    if not any(line.strip() for line in lines):
        raise InputError(f"{name} is empty: it should hold a heading and one row per vial.")
    fits = []
    for separator in SEPARATORS:
        try:
            rows = list(csv.reader(lines, delimiter=separator, strict=True))
        except csv.Error:
            continue
        if _heading_at(rows) is not None:
            fits.append(rows)
    if len(fits) != 1:
        raise InputError(
            f"{name}: no heading with a vial and an assay column, separated by comma, "
            "semicolon or tab, was found; it should look like 'vial,assay (% of target)'."
        )
    return _table(fits[0], name)


def table_from_workbook(stream: BinaryIO, name: str) -> Table:
    """Read the table of an XLSX workbook.

    Args:
        stream: the open workbook.
        name: name of the file in messages.

    Raises:
        InputError: it is not a workbook, is empty, or not exactly one sheet has a heading.
    """
    try:
        sheets = _sheets(stream)
    except _NOT_A_WORKBOOK as error:
        raise InputError(
            f"{name} is not a readable XLSX workbook: save it again as XLSX or CSV."
        ) from error
    if not sheets:
        raise InputError(f"{name} is empty: it should hold a heading and one row per vial.")
    fits = [title for title, rows in sheets.items() if _heading_at(rows) is not None]
    if not fits:
        raise InputError(
            f"{name}: no sheet has a row that names a vial and an assay column, like 'vial' and "
            "'assay (% of target)'."
        )
    if len(fits) > 1:
        raise InputError(
            f"{name}: sheets {_listed(fits)} hold assays: keep the one that counts in the file."
        )
    others = tuple(f"sheet {title!r}" for title in sheets if title != fits[0])
    return _table(sheets[fits[0]], name, others)


def _sheets(stream: BinaryIO) -> dict[str, list[list[Cell]]]:
    """The cells of every non-empty sheet, by the sheet's name."""
    import openpyxl  # noqa: PLC0415 - slow to import, used for workbooks only

    book = openpyxl.load_workbook(stream, read_only=True, data_only=True)
    sheets = {}
    for sheet in book.worksheets:
        rows = [
            [_plain(cell.value, cell.number_format) for cell in row] for row in sheet.iter_rows()
        ]
        if any(text_of(cell) for row in rows for cell in row):
            sheets[sheet.title] = rows
    return sheets


def _plain(value: object, shown: str | None) -> Cell:
    """Convert a workbook value to a cell as displayed: 0.992 in a % format becomes 99.2.

    Dates and similar values become text and are refused later.
    """
    if isinstance(value, int | float) and not isinstance(value, bool) and "%" in (shown or ""):
        return round(100.0 * value, 10)
    return value if value is None or isinstance(value, str | int | float) else str(value)


def _heading_at(rows: Rows) -> int | None:
    """Index of the first row that names a key and an assay column; None if none does."""
    for index, row in enumerate(rows[:MOST_TITLE_ROWS]):
        kinds = {meaning_of(text_of(cell)).kind for cell in row if text_of(cell)}
        if {"assay", "mean"} & kinds and ("vial" in kinds or {"location", "position"} <= kinds):
            return index
    return None


def _table(rows: Rows, name: str, others: tuple[str, ...] = ()) -> Table:
    start = _heading_at(rows) or 0
    heading = [text_of(cell) for cell in rows[start]]
    while not heading[-1]:
        heading.pop()
    body = []
    for number, row in enumerate(rows[start + 1 :], start=start + 2):
        cells = list(row)
        while cells and not text_of(cells[-1]):
            cells.pop()
        if len(cells) > len(heading):
            raise InputError(
                f"{name}, row {number}: {len(cells)} cells under {len(heading)} headings; quote "
                "decimal commas in a comma-separated file, or use semicolons."
            )
        if cells:
            body.append((number, tuple(cells + [None] * (len(heading) - len(cells)))))
    if not body:
        raise InputError(f"{name} has a heading but no vial.")
    titles = (" ".join(filter(None, map(text_of, row))) for row in rows[:start])
    return Table(name, tuple(heading), tuple(body), (*filter(None, titles), *others))


def columns_of(table: Table) -> Columns:
    """Assign the columns.

    Raises:
        InputError: two columns could have the same meaning, or units differ between injections.
    """
    found: dict[str, list[tuple[int, Meaning]]] = {}
    for index, heading in enumerate(table.columns):
        meaning = meaning_of(heading)
        found.setdefault(meaning.kind, []).append((index, meaning))
    if "assay" not in found:
        found["assay"] = found.pop("mean")
    assays = found.pop("assay")
    ignored = tuple(table.columns[index] for index, _ in found.pop("", []))
    _check_assays(table, assays)
    for kind, several in found.items():
        if len(several) > 1:
            _refuse_twins(table, kind, [index for index, _ in several])
    single = {kind: members[0][0] for kind, members in found.items()}
    units = {
        kind: members[0][1].unit
        for kind, members in found.items()
        if kind in ("mass", "gross", "tare")
    }
    return Columns(tuple(i for i, _ in assays), assays[0][1].unit, single, units, ignored)


def _check_assays(table: Table, assays: Sequence[tuple[int, Meaning]]) -> None:
    """Check that several assay columns are numbered injections in one unit."""
    if len(assays) == 1:
        return
    numbers = {meaning.number for _, meaning in assays}
    if 0 in numbers or len(numbers) < len(assays):
        _refuse_twins(table, "assay", [index for index, _ in assays])
    if len({meaning.unit for _, meaning in assays}) > 1:
        names = _listed([table.columns[index] for index, _ in assays])
        raise InputError(f"{table.name}: columns {names} are in different units: use one.")


def _refuse_twins(table: Table, kind: str, indices: Sequence[int]) -> Never:
    names = _listed([table.columns[index] for index in indices])
    raise InputError(
        f"{table.name}: columns {names} could both be the {kind}; rename or remove one."
    )


def _listed(names: Sequence[str]) -> str:
    return " and ".join(map(repr, names))
