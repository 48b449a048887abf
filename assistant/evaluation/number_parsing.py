"""Parse numbers in a laboratory's cells, with a decimal point or comma.

The whole file is examined before any number is read: one cell with "99,4" shows that the comma is
the file's decimal mark, and then "0,998" and "99,123" are clear too. Ambiguous cells are refused,
never guessed: a lone "1,234" (over a thousand or about one?), both marks in one file or in one
cell. A lone point is always a decimal mark.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from assistant.errors import InputError

Cell = str | int | float | None
"""A cell of a table: text from a CSV file, text or a number from a workbook."""

_SHAPE = re.compile(r"[+-]?(?:\d+(?:[.,]\d+)*|[.,]\d+)(?:[eE][+-]?\d+)?")
_LONE_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_PERCENT = re.compile(r"\s*%$")


@dataclass(frozen=True, slots=True)
class Place:
    """Location of a cell, for messages."""

    row: int
    """Row number in the file, from 1."""
    column: str
    """Heading of its column."""

    def __str__(self) -> str:
        """Row and heading, as named in messages."""
        return f"row {self.row}, column {self.column!r}"


def text_of(cell: Cell) -> str:
    """The cell as text; whole numbers from a workbook lose their '.0'."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell).strip()


def decimal_mark(cells: Sequence[tuple[Place, Cell]]) -> str:
    """The decimal mark, '.' or ',', that all text cells agree on.

    Raises:
        InputError: cells disagree, one has both marks, or a comma could separate thousands.
    """
    points: list[tuple[Place, str]] = []
    commas: list[tuple[Place, str]] = []
    for place, cell in cells:
        text = _PERCENT.sub("", text_of(cell)) if isinstance(cell, str) else ""
        if not _SHAPE.fullmatch(text):
            continue
        if len(re.findall("[.,]", text)) > 1:
            raise InputError(
                f"{text!r} ({place}) has more than one mark: write numbers without thousands "
                "separators."
            )
        if "." in text:
            points.append((place, text))
        elif "," in text:
            commas.append((place, text))
    if points and commas:
        raise InputError(
            f"{points[0][1]!r} ({points[0][0]}) has a decimal point but {commas[0][1]!r} "
            f"({commas[0][0]}) a comma: use one decimal mark in the whole file."
        )
    if commas and all(_LONE_THOUSANDS.fullmatch(text) for _, text in commas):
        raise InputError(
            f"{commas[0][1]!r} ({commas[0][0]}) could separate thousands or decimals: "
            "write it with a decimal point."
        )
    return "," if commas else "."


def number(cell: Cell, place: Place, mark: str) -> float | None:
    """The cell's number; None if it is empty.

    Args:
        cell: text or number; a trailing % sign is allowed.
        place: location of the cell, for the message.
        mark: the file's decimal mark.

    Raises:
        InputError: the cell is not a number, or not a finite one.
    """
    if isinstance(cell, bool):
        raise InputError(f"{cell!r} ({place}) is not a number: correct or remove it.")
    if isinstance(cell, int | float):
        value = float(cell)
    else:
        text = _PERCENT.sub("", text_of(cell))
        if not text:
            return None
        if not _SHAPE.fullmatch(text):
            raise InputError(f"{text!r} ({place}) is not a number: correct or remove it.")
        value = float(text.replace(mark, "."))
    if not math.isfinite(value):
        raise InputError(f"{value} ({place}) is not a usable number: correct or remove it.")
    return value
