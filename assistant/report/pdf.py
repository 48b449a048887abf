"""A document as a PDF on A4: embedded fonts, vector figures, a footer on every numbered page.

Importing this module loads reportlab and matplotlib. The same document gives the same bytes.
"""

import io
from collections.abc import Iterable, Iterator, Sequence
from html import escape
from itertools import pairwise
from typing import Any, assert_never

from reportlab.lib.colors import HexColor, black, white
from reportlab.lib.enums import TA_CENTER, TA_RIGHT
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import inch, mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    LongTable,
    PageBreak,
    PageTemplate,
    Paragraph,
    Spacer,
)
from reportlab.platypus import Table as Grid

from assistant.report.document_model import (
    Block,
    Document,
    Facts,
    Heading,
    Picture,
    Table,
    Text,
    Verdict,
)
from assistant.report.matplotlib_to_reportlab import BOLD, PLAIN, VectorFigure, register_fonts
from assistant.report.numbered_canvas import NumberedCanvas
from assistant.report.plots import drawing

LEFT, RIGHT, TOP, FOOT = 17 * mm, 17 * mm, 20 * mm, 19 * mm
WIDTH = A4[0] - LEFT - RIGHT
INK, QUIET, LINE, PALE = (HexColor(c) for c in ("#1d2833", "#5d6b78", "#c5ced6", "#f2f5f7"))
PALER = HexColor("#eaedf0")

_LETTERS = {"left": 0, "centre": TA_CENTER, "right": TA_RIGHT}
_HEADING_ROOM, _LINE_ROOM, _BLOCK_ROOM = 19 * mm, 8 * mm, 22 * mm
"""Space for a heading, for a paragraph under it, and for the start of anything else."""

_WHOLE_ROWS = 12
"""A table with at most this many rows is not split."""


def pdf(document: Document) -> bytes:
    """Return a document as PDF."""
    register_fonts()
    out = io.BytesIO()
    with drawing():
        template = BaseDocTemplate(
            out,
            pagesize=A4,
            title=f"{document.title}, {document.subtitle}",
            author="",
            lang=document.language,
            invariant=1,
            pageCompression=1,
        )
        frame = Frame(LEFT, FOOT, WIDTH, A4[1] - TOP - FOOT, 0, 0, 0, 0)

        def across(canvas: Canvas, _: object) -> None:
            _across(canvas, document.mark)

        template.addPageTemplates(PageTemplate(frames=[frame], onPage=across))

        def canvas(*given: Any, **named: Any) -> "_Numbered":  # noqa: ANN401 - passed on
            return _Numbered(*given, document=document, **named)

        template.build(list(_story(document)), canvasmaker=canvas)
    return out.getvalue()


def _across(canvas: Canvas, mark: str) -> None:
    """Print a mark across the page, under its content."""
    if mark:
        canvas.saveState()
        canvas.setFillColor(PALER)
        canvas.translate(A4[0] / 2, A4[1] / 2)
        canvas.rotate(56)
        size = min(44.0, 0.95 * 1000 * A4[1] / stringWidth(mark, BOLD, 1000))
        canvas.setFont(BOLD, size)
        canvas.drawCentredString(0, -size / 3, mark)
        canvas.restoreState()


class _Numbered(NumberedCanvas):
    """Adds header and footer once the number of pages is known."""

    def __init__(self, *given: Any, document: Document, **named: Any) -> None:  # noqa: ANN401 - passed on
        super().__init__(*given, **named)
        self._document = document
        digits = "".join(letter for letter in document.utc[:19] if letter.isdigit())
        self.setDateFormatter(lambda *_: f"D:{digits}Z")

    def furniture(self, number: int, count: int) -> None:
        """Draw the mark of made-up data, title and footer."""
        self.saveState()
        self.setFillColor(QUIET)
        self.setStrokeColor(LINE)
        self.setLineWidth(0.5)
        self.setFont(PLAIN, 6)
        foot = FOOT - 5 * mm
        self.line(LEFT, foot, A4[0] - RIGHT, foot)
        self.drawString(LEFT, foot - 3.2 * mm, self._document.footer)
        self.setFont(BOLD, 6.5)
        self.drawRightString(A4[0] - RIGHT, foot - 3.2 * mm, f"page {number} of {count}")
        self.setFillColor(INK)
        self.setFont(BOLD, 8)
        self.drawCentredString(A4[0] / 2, A4[1] - TOP + 11 * mm, self._document.mark)
        self.setFillColor(QUIET)
        if number > 1:
            self.setFont(PLAIN, 6.5)
            top = A4[1] - TOP + 6 * mm
            self.drawString(LEFT, top, self._document.title)
            self.drawRightString(A4[0] - RIGHT, top, self._document.subtitle)
            self.line(LEFT, top - 1.6 * mm, A4[0] - RIGHT, top - 1.6 * mm)
        self.restoreState()


def _style(size: float, *, bold: bool = False, **more: Any) -> ParagraphStyle:  # noqa: ANN401 - passed on
    given = {
        "fontName": BOLD if bold else PLAIN,
        "fontSize": size,
        "leading": size * 1.36,
        "textColor": INK,
        "splitLongWords": 1,
    }
    return ParagraphStyle(f"{size}{bold}{sorted(more)}", **(given | more))


def _story(document: Document) -> Iterator[Flowable]:
    yield Paragraph(escape(document.title), _style(17, bold=True, leading=20))
    yield Paragraph(escape(document.subtitle), _style(8.5, textColor=QUIET, spaceBefore=2))
    yield _rule()
    for index, block in enumerate(document.blocks):
        if isinstance(block, Heading):
            yield (
                PageBreak()
                if block.new_page
                else CondPageBreak(_room(document.blocks[index + 1 :]))
            )
        yield from _flowables(block)


def _room(following: Sequence[Block]) -> float:
    """Space needed below a heading to keep it on its page: its first picture, or a little."""
    room = float(_HEADING_ROOM)
    for block in following:
        match block:
            case Picture():
                return room + float(block.height_in * inch)
            case Text():
                room += _LINE_ROOM
            case _:
                break
    return room + float(_BLOCK_ROOM)


def _rule() -> Flowable:
    line = Grid([[""]], colWidths=[WIDTH], rowHeights=[2.5 * mm])
    line.setStyle([("LINEBELOW", (0, 0), (-1, -1), 1.4, INK)])
    return line


def _flowables(block: Block) -> Iterable[Flowable]:
    match block:
        case Heading():
            return _heading(block)
        case Text():
            return _text(block)
        case Verdict():
            return _verdict(block)
        case Facts():
            return _facts(block)
        case Table():
            return _table(block)
        case Picture():
            return _picture(block)
        case _:
            assert_never(block)


def _heading(heading: Heading) -> Iterator[Flowable]:
    yield Paragraph(escape(heading.text), _style(10.5, bold=True, spaceBefore=11, spaceAfter=1.5))
    line = Grid([[""]], colWidths=[WIDTH], rowHeights=[1])
    line.setStyle([("LINEABOVE", (0, 0), (-1, -1), 0.6, LINE)])
    yield line
    yield Spacer(0, 3)


def _text(text: Text) -> Iterator[Flowable]:
    match text.tone:
        case "small":
            yield Paragraph(
                escape(text.text), _style(6.8, textColor=QUIET, spaceBefore=2, spaceAfter=3)
            )
        case "warning":
            yield _boxed([Paragraph(escape(text.text), _style(8, bold=True))], bar=3)
        case _:
            yield Paragraph(escape(text.text), _style(8, spaceBefore=2, spaceAfter=3))


def _boxed(inside: list[Flowable], *, bar: float, frame: float = 0) -> Flowable:
    box = Grid([[inside]], colWidths=[WIDTH])
    style: list[tuple[Any, ...]] = [
        ("LEFTPADDING", (0, 0), (-1, -1), 8 + bar),
        ("TOPPADDING", (0, 0), (-1, -1), 6),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 7),
        ("BACKGROUND", (0, 0), (-1, -1), white if frame else PALE),
        ("LINEBEFORE", (0, 0), (0, -1), bar, INK),
    ]
    if frame:
        style.append(("BOX", (0, 0), (-1, -1), frame, INK))
    box.setStyle(style)
    box.spaceBefore = box.spaceAfter = 6
    return box


def _verdict(verdict: Verdict) -> Iterator[Flowable]:
    inside = [
        Paragraph(escape(verdict.line), _style(13, bold=True)),
        Paragraph(escape(verdict.sentence), _style(8.5, spaceBefore=2)),
        *(
            Paragraph(escape(aside), _style(8, bold=True, spaceBefore=3))
            for aside in verdict.asides
        ),
    ]
    yield _boxed(inside, bar=1.4 if verdict.met else 9, frame=1.4)


def _facts(facts: Facts) -> Iterator[Flowable]:
    name, value = _style(7.3, textColor=QUIET), _style(7.3)
    pairs = [
        [Paragraph(escape(left), name), Paragraph(escape(right), value)]
        for left, right in facts.rows
    ]
    rows = [
        [cell for pair in pairs[start : start + facts.columns] for cell in pair]
        for start in range(0, len(pairs), facts.columns)
    ]
    rows[-1] += [""] * (2 * facts.columns - len(rows[-1]))
    one = WIDTH / facts.columns
    label = 33 * mm if facts.columns == 1 else 26 * mm
    grid = Grid(rows, colWidths=[label, one - label] * facts.columns)
    grid.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("LEFTPADDING", (0, 0), (-1, -1), 0),
            ("TOPPADDING", (0, 0), (-1, -1), 1),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
        ]
    )
    grid.hAlign = "LEFT"
    grid.spaceAfter = 6
    yield grid


def _table(table: Table) -> Iterator[Flowable]:
    whole = sum(column.width for column in table.columns)
    aligns = [_LETTERS[column.align] for column in table.columns]
    plain = [_style(6.8, alignment=align) for align in aligns]
    strong = [_style(6.8, bold=True, alignment=align) for align in aligns]
    rows = [
        [
            Paragraph(escape(column.heading), style)
            for column, style in zip(table.columns, strong, strict=True)
        ]
    ]
    for index, row in enumerate(table.rows):
        styles = strong if index in table.bold else plain
        rows.append(
            [Paragraph(escape(cell), style) for cell, style in zip(row, styles, strict=True)]
        )
    grid = LongTable(
        rows, colWidths=[WIDTH * column.width / whole for column in table.columns], repeatRows=1
    )
    grid.setStyle(
        [
            *_groups(table),
            ("VALIGN", (0, 0), (-1, 0), "BOTTOM"),
            ("VALIGN", (0, 1), (-1, -1), "TOP"),
            ("LINEBELOW", (0, 0), (-1, 0), 0.9, black),
            ("LINEBELOW", (0, 1), (-1, -1), 0.35, LINE),
            ("LEFTPADDING", (0, 0), (-1, -1), 4),
            ("RIGHTPADDING", (0, 0), (-1, -1), 4),
            ("TOPPADDING", (0, 0), (-1, -1), 1.6),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1.9),
        ]
    )
    grid.spaceBefore, grid.spaceAfter = 3, 4
    yield CondPageBreak(_BLOCK_ROOM)
    yield KeepTogether([grid]) if len(table.rows) <= _WHOLE_ROWS else grid
    if table.note:
        yield from _text(Text(table.note, "small"))


def _groups(table: Table) -> Iterator[tuple[Any, ...]]:
    """Keep the rows of each group on one page."""
    if table.grouped:
        starts = [*sorted(table.bold), len(table.rows)]
        for start, end in pairwise(starts):
            yield "NOSPLIT", (0, start + 1), (-1, end)


def _picture(picture: Picture) -> Iterator[Flowable]:
    figure = VectorFigure(picture.draw())
    caption = Paragraph(
        escape(picture.caption), _style(6.8, textColor=QUIET, spaceBefore=1, spaceAfter=5)
    )
    yield KeepTogether([figure, caption])
