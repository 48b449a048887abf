"""A document as a sequence of blocks: the content of a report, before HTML or PDF.

Both forms are rendered from the same blocks, so they cannot differ in content. All text is plain:
the renderer escapes it.
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
    """Whether the section starts on a new page."""


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph."""

    text: str
    tone: Literal["plain", "small", "warning"] = "plain"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The answer in one line, with its basis."""

    met: bool
    line: str
    sentence: str
    asides: tuple[str, ...] = ()
    """Limitations of the answer, set apart below it."""


@dataclass(frozen=True, slots=True)
class Facts:
    """Pairs of names and values."""

    rows: tuple[tuple[str, str], ...]
    columns: int = 1
    """Number of pairs per row."""


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
    """Indices of emphasised rows."""
    note: str = ""
    grouped: bool = False
    """Whether an emphasised row heads the rows after it, so that they stay together."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A figure with its caption."""

    draw: Callable[[], "Figure"]
    caption: str
    describes: str
    """Text alternative for readers who cannot see the figure."""
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
    """Printed on every page."""
    utc: str
    """Time of the document, from the record: RFC 3339, ending in Z."""
    language: str = "en"
    mark: str = ""
    """Printed across every page, for example that the data is made up."""


def table(
    columns: Sequence[tuple[str, float, Align]],
    rows: Sequence[Sequence[str]],
    *,
    bold: Sequence[int] = (),
    note: str = "",
    grouped: bool = False,
) -> Table:
    """Build a table from plain sequences.

    Args:
        columns: heading, share of the width and alignment of each.
        rows: cells, one for each column.
        bold: indices of the emphasised rows.
        note: text below the table.
        grouped: whether an emphasised row heads the rows after it.
    """
    return Table(
        tuple(Column(*column) for column in columns),
        tuple(tuple(row) for row in rows),
        frozenset(bold),
        note,
        grouped,
    )
