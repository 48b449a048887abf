"""From a file's text or bytes to rows and from rows to named columns; no number is read here.

The separator of a CSV file is the one that makes its first row a heading with a vial and an
assay column; the order of the columns does not matter. A workbook is read through openpyxl from
an open binary stream: values only, first sheet, which must be the only one with anything on it.
"""

import csv
import re
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import BinaryIO

from assistant.errors import InputError
from assistant.evaluation.number_parsing import Cell, text_of

# What openpyxl raises on bytes that are no workbook, or a damaged one: no zip, parts missing or
# broken, XML of another shape.
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
_BRACKETED = re.compile(r"(.*?)\s*[(\[]\s*(.*?)\s*[)\]]")
_TRAILING = re.compile(r"([a-z ]+?),? (%.*|mg/g|mg|g)")
_VIAL = {"vial", "vial no", "vial number", "vial id", "vial label", "sample", "sample id"}
_BATCH = {"batch", "lot", "batch no", "batch number", "lot no", "lot number"}
_ASSAY = {"assay", "result", "content", "found", "api"}
_MASS = {"mass", "weight", "net", "net mass", "net weight", "sample mass", "sample weight"}
_MASS_UNITS = {"", "mg", "g"}
_ASSAY_UNITS = {
    "": "",
    "%": "percent",
    "% of target": "percent",
    "% target": "percent",
    "% lc": "percent",
    "% label claim": "percent",
    "fraction": "fraction",
    "mg": "mg",
    "mg/g": "mg/g",
}


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under named columns."""

    name: str
    """What messages call the file."""
    columns: tuple[str, ...]
    rows: tuple[tuple[int, tuple[Cell, ...]], ...]
    """Row number in the file, from 1, and the cells."""


@dataclass(frozen=True, slots=True)
class Columns:
    """Which column holds what; indices from 0."""

    vial: int
    assay: int
    unit: str
    """'percent', 'fraction', 'mg', 'mg/g', or '' where the heading does not say."""
    mass: int | None
    mass_unit: str
    """'mg' or 'g'; '' where the heading does not say."""
    batch: int | None
    ignored: tuple[str, ...]
    """Headings that are not used."""


def table_from_csv(text: str, name: str) -> Table:
    """The table of a CSV text.

    Args:
        text: the decoded file, with or without a byte-order mark.
        name: what messages call it.

    Raises:
        InputError: it is empty, its separator is not clear, or a row is longer than the heading.
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
        if _has_heading(rows):
            fits.append(rows)
    if len(fits) != 1:
        raise InputError(
            f"{name}: no heading with a vial and an assay column, parted by comma, semicolon or "
            "tab, was found; the first row should read like 'vial,assay (%)'."
        )
    return _table(fits[0], name)


def table_from_workbook(stream: BinaryIO, name: str) -> Table:
    """The table of an XLSX workbook.

    Args:
        stream: the open workbook.
        name: what messages call it.

    Raises:
        InputError: it is no workbook, is empty, or has more than one sheet in use.
    """
    try:
        sheets = _sheets(stream)
    except _NOT_A_WORKBOOK as error:
        raise InputError(
            f"{name} is not a readable XLSX workbook: save it again as XLSX or CSV."
        ) from error
    if not sheets:
        raise InputError(f"{name} is empty: it should hold a heading and one row per vial.")
    if len(sheets) > 1:
        raise InputError(f"{name} has {len(sheets)} sheets in use: keep the one with the assays.")
    if not _has_heading(sheets[0]):
        raise InputError(
            f"{name}: the first row should name a vial and an assay column, like 'vial' and "
            "'assay (%)'."
        )
    return _table(sheets[0], name)


def _sheets(stream: BinaryIO) -> list[list[list[Cell]]]:
    """The cells of every sheet with anything on it."""
    import openpyxl  # noqa: PLC0415 - slow to import, used for workbooks only

    book = openpyxl.load_workbook(stream, read_only=True, data_only=True)
    sheets = []
    for sheet in book.worksheets:
        rows = [[_plain(cell) for cell in row] for row in sheet.iter_rows(values_only=True)]
        if any(text_of(cell) for row in rows for cell in row):
            sheets.append(rows)
    return sheets


def _plain(cell: object) -> Cell:
    """A workbook's value as a cell; dates and the like become text and are refused later."""
    return cell if cell is None or isinstance(cell, str | int | float) else str(cell)


def _has_heading(rows: Sequence[Sequence[Cell]]) -> bool:
    """Whether the first row with anything on it names a vial and an assay column."""
    for row in rows:
        if any(text_of(cell) for cell in row):
            kinds = [_kind(text_of(cell))[0] for cell in row]
            return "vial" in kinds and "assay" in kinds
    return False


def _table(rows: Sequence[Sequence[Cell]], name: str) -> Table:
    used = [(i, row) for i, row in enumerate(rows, start=1) if any(text_of(c) for c in row)]
    heading = [text_of(cell) for cell in used[0][1]]
    while heading and not heading[-1]:
        heading.pop()
    body = []
    for number, row in used[1:]:
        cells = list(row)
        while len(cells) > len(heading) and not text_of(cells[-1]):
            cells.pop()
        if len(cells) > len(heading):
            raise InputError(
                f"{name}, row {number}: {len(cells)} cells under {len(heading)} headings; quote "
                "decimal commas in a comma-separated file, or use semicolons."
            )
        body.append((number, tuple(cells + [None] * (len(heading) - len(cells)))))
    if not body:
        raise InputError(f"{name} holds a heading but no vial.")
    return Table(name, tuple(heading), tuple(body))


def columns_of(table: Table) -> Columns:
    """Which column holds what.

    Raises:
        InputError: two columns could hold the same thing.
    """
    found: dict[str, list[tuple[int, str]]] = {}
    for index, heading in enumerate(table.columns):
        kind, unit = _kind(heading)
        found.setdefault(kind, []).append((index, unit))
    for kind in ("vial", "assay", "mass", "batch"):
        if len(found.get(kind, [])) > 1:
            names = " and ".join(repr(table.columns[i]) for i, _ in found[kind])
            raise InputError(
                f"{table.name}: columns {names} could both hold the {kind}; rename or remove one."
            )
    assay, unit = found["assay"][0]
    mass, mass_unit = found["mass"][0] if "mass" in found else (None, "")
    return Columns(
        vial=found["vial"][0][0],
        assay=assay,
        unit=unit,
        mass=mass,
        mass_unit=mass_unit,
        batch=found["batch"][0][0] if "batch" in found else None,
        ignored=tuple(table.columns[i] for i, _ in found.get("", [])),
    )


def _kind(heading: str) -> tuple[str, str]:
    """What a heading stands for ('vial', 'assay', 'mass', 'batch' or '') and its unit."""
    plain = re.sub(r"[\s_.]+", " ", heading.casefold()).strip()
    match = _BRACKETED.fullmatch(plain) or _TRAILING.fullmatch(plain)
    word, unit = (match[1], match[2]) if match else (plain, "")
    if word in _VIAL and not unit:
        return "vial", ""
    if word in _BATCH and not unit:
        return "batch", ""
    if word in _ASSAY and unit in _ASSAY_UNITS:
        return "assay", _ASSAY_UNITS[unit]
    if word in _MASS and unit in _MASS_UNITS:
        return "mass", unit
    if word in _ASSAY_UNITS and word and not unit:
        return "assay", _ASSAY_UNITS[word]
    return "", ""
