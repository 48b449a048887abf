"""A document as a sequence of blocks: what stands in a report, before it is HTML or PDF.

Both forms are set from the same blocks, so they cannot say different things. All text is plain:
whoever sets it escapes it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Align = Literal["left", "right", "centre"]


@dataclass(frozen=True, slots=True)
class Heading:
    """The title of a section."""

    text: str
    new_page: bool = False
    """Whether the section begins on a page of its own."""


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph."""

    text: str
    tone: Literal["plain", "small", "warning"] = "plain"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer in one line, with what stands behind it."""

    met: bool
    line: str
    sentence: str
    asides: tuple[str, ...] = ()
    """What limits the answer; set apart below it."""


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and values in pairs."""

    rows: tuple[tuple[str, str], ...]
    columns: int = 1
    """How many pairs stand side by side."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table."""

    heading: str
    width: float
    """Share of the table's width; the shares of a table are scaled to the whole."""
    align: Align = "left"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under headings."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    bold: frozenset[int] = frozenset()
    """Indices of rows that stand out."""
    note: str = ""
    grouped: bool = False
    """Whether a row that stands out heads those after it, so that they stay together."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure with its caption."""

    draw: Callable[[], "Figure"]
    caption: str
    describes: str
    """What can be seen, for those who cannot."""
    height_in: float
    """Height of the figure, inches."""


Block: TypeAlias = Heading | Text | Verdict | Facts | Table | Picture


@dataclass(frozen=True, slots=True)
class Document:
    """A whole report."""

    title: str
    subtitle: str
    blocks: tuple[Block, ...]
    footer: str
    """Stands on every page."""
    utc: str
    """The time that the document carries, from the record: RFC 3339, ending in Z."""
    language: str = "en"
    mark: str = ""
    """Stands across every page, such as that the data is made up."""


def table(
    columns: Sequence[tuple[str, float, Align]],
    rows: Sequence[Sequence[str]],
    *,
    bold: Sequence[int] = (),
    note: str = "",
    grouped: bool = False,
) -> Table:
    """A table from plain sequences.

    Args:
        columns: heading, share of the width and alignment of each.
        rows: cells, one for each column.
        bold: indices of the rows that stand out.
        note: below the table.
        grouped: whether a row that stands out heads those after it.
    """
    return Table(
        tuple(Column(*column) for column in columns),
        tuple(tuple(row) for row in rows),
        frozenset(bold),
        note,
        grouped,
    )
