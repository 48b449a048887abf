"""The session sheet: a printed record to read, sign off and file.

It shows what happened, the condition of the record, vials, deviations, reconciliation, signatures
with name, time and meaning, and the session entry by entry. Returns bytes; the same export
gives the same bytes. Importing this module loads reportlab, so it is imported only when a sheet is
needed.
"""

import io
from collections.abc import Iterable, Sequence
from functools import partial
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    Flowable,
    NextPageTemplate,
    PageBreak,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from assistant.report.deviation_words import in_words
from assistant.report.export import Entry, Export, Moment
from assistant.report.export_tables import said, session_kind
from assistant.report.numbered_canvas import NumberedCanvas
from assistant.report.qr_code import qr_code
from assistant.report.remarks import reason_of, remark_of
from assistant.report.sheet_fonts import BOLD, PLAIN, register
from assistant.report.sheet_labels import label_table

__all__ = ["MOST_ENTRIES", "session_sheet"]

MOST_ENTRIES = 2000
"""Most entries printed; the others are in the tables and in JSON."""

_BANNER = {
    "whole": (
        "WHOLE: the session was closed; the record is intact from its first entry",
        colors.darkgreen,
    ),
    "incomplete": ("INCOMPLETE: intact, but the session was stopped or is open", colors.darkorange),
    "damaged": ("DAMAGED: do not rely on it; see the faults listed", colors.red),
}
_MARGIN = 15 * mm
_CODE_MM = 20.0
"""Side of the code that holds head code and hash."""
_WIDTH = A4[0] - 2 * _MARGIN
_BODY = ParagraphStyle("body", fontName=PLAIN, fontSize=8, leading=10)
_SMALL = ParagraphStyle("small", parent=_BODY, fontSize=6.5, leading=8)
_HEAD = ParagraphStyle("head", parent=_BODY, fontName=BOLD)
_SECTION = ParagraphStyle(
    "section", parent=_BODY, fontName=BOLD, fontSize=10, leading=13, spaceBefore=8, spaceAfter=3
)
_TITLE = ParagraphStyle("title", parent=_BODY, fontName=BOLD, fontSize=15, leading=19)
_GRID = TableStyle(
    [
        ("GRID", (0, 0), (-1, -1), 0.3, colors.grey),
        ("BACKGROUND", (0, 0), (-1, 0), colors.whitesmoke),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.5),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ]
)


def session_sheet(export: Export) -> bytes:
    """Return the sheet followed by the labels of all vials, as a PDF.

    Args:
        export: of one record, entries included.
    """
    register()
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=A4,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=18 * mm,
        bottomMargin=16 * mm,
        invariant=1,
        title=f"Session sheet, batch {export.session.batch}",
        author="",
    )
    frame = partial(_frame, export)
    document.build(
        list(_story(export)), onFirstPage=frame, onLaterPages=frame, canvasmaker=_Numbered
    )
    return out.getvalue()


class _Numbered(NumberedCanvas):
    """Puts "page n of m" on every page."""

    def furniture(self, number: int, count: int) -> None:
        """Draw it into the lower right corner."""
        self.setFont(PLAIN, 7)
        self.setFillColor(colors.black)
        self.drawRightString(A4[0] - _MARGIN, 9 * mm, f"page {number} of {count}")


def _frame(export: Export, canvas: Canvas, _document: SimpleDocTemplate) -> None:
    """Print condition, batch and head code on every page."""
    words, colour = _BANNER[export.condition]
    canvas.saveState()
    canvas.setFillColor(colour)
    canvas.setFont(BOLD, 8)
    canvas.drawString(_MARGIN, A4[1] - 11 * mm, words)
    if export.session.kind != "live":
        canvas.drawString(_MARGIN, A4[1] - 14.5 * mm, f"SESSION: {session_kind(export).upper()}")
    canvas.setFillColor(colors.black)
    canvas.setFont(PLAIN, 7)
    canvas.drawRightString(A4[0] - _MARGIN, A4[1] - 11 * mm, f"batch {export.session.batch}")
    code = f"head code {export.head.code}" if export.head else "no entry could be proved"
    canvas.drawString(_MARGIN, 9 * mm, code)
    canvas.restoreState()


def _story(export: Export) -> Iterable[Flowable]:
    yield Paragraph(escape(export.session.title), _TITLE)
    yield from _faults(export)
    yield _facts(export)
    yield from _head_to_keep(export)
    yield from _signatures(export)
    yield from _reconciliation(export)
    yield from _deviations(export)
    yield from _samples(export)
    yield from _course(export)
    labels = label_table(export, _WIDTH)
    if labels is not None:
        yield NextPageTemplate("Later")
        yield PageBreak()
        yield Paragraph("Label data", _SECTION)
        yield labels


def _faults(export: Export) -> Iterable[Flowable]:
    style = ParagraphStyle("fault", parent=_BODY, textColor=colors.red)
    for fault in export.faults:
        yield Paragraph(f"Does not hold: {escape(fault)}", style)
    for line in export.shown:
        yield Paragraph(escape(f"{line[0].upper()}{line[1:]}."), _BODY)


def _table(header: Sequence[str], rows: Sequence[Sequence[str]], shares: Sequence[float]) -> Table:
    """Return a table that can break across pages and repeats its header; widths as shares."""
    widths = [_WIDTH * share / sum(shares) for share in shares]
    cells = [[Paragraph(escape(cell), _HEAD) for cell in header]]
    cells += [[Paragraph(escape(cell), _SMALL) for cell in row] for row in rows]
    return Table(cells, colWidths=widths, repeatRows=1, style=_GRID, hAlign="LEFT")


def _when(moment: Moment | None) -> str:
    """Format a moment for people: UTC to the second, and the person."""
    return f"{clock(moment.utc)} {moment.by}" if moment else ""


def clock(utc: str) -> str:
    """Format a recorded time as "2026-03-04 05:06:07 UTC"."""
    return f"{utc[:10]} {utc[11:19]} UTC"


def _facts(export: Export) -> Table:
    session, head = export.session, export.head
    people = "; ".join(f"{p.name} ({p.role})" for p in export.people)
    facts = [
        ("Product", session.product, "Batch", session.batch),
        ("Protocol", session.protocol, "Stage", session.stage),
        ("Sampler", session.sampler, "Die set", session.die_set),
        ("Opened", _when(session.opened), "Ended", _when(session.ended) or "not ended"),
        ("Session", session_kind(export), "State", session.state),
        ("People", people, "Head code", head.code if head else ""),
        ("Software", session.software, "Recogniser", session.engine),
        ("Microphone", session.microphone, "Voice", session.speaker),
    ]
    cells = [
        [Paragraph(escape(text), _HEAD if n % 2 == 0 else _BODY) for n, text in enumerate(row)]
        for row in facts
    ]
    widths = [_WIDTH * share for share in (0.14, 0.36, 0.14, 0.36)]
    return Table(cells, colWidths=widths, style=[("VALIGN", (0, 0), (-1, -1), "TOP")])


def _head_to_keep(export: Export) -> Iterable[Flowable]:
    """Head code and hash to be kept apart from the record, for the eye and for a scanner."""
    head = export.head
    if head is None:
        return
    text = Paragraph(
        f"Head code <b>{escape(head.code)}</b> of entry {head.seq}, SHA-256 {head.hash}; the code "
        "beside holds both. Kept with the batch record, away from the files, it shows later, with "
        "verify --head, whether these entries were changed. It says nothing about what came after "
        "them.",
        _BODY,
    )
    style = [("VALIGN", (0, 0), (-1, -1), "MIDDLE"), ("LEFTPADDING", (0, 0), (0, 0), 0)]
    code, room = qr_code(f"{head.code} {head.hash}", _CODE_MM), (_CODE_MM + 4) * mm
    yield Table([[code, text]], colWidths=[room, _WIDTH - room], style=style)


def _signatures(export: Export) -> Iterable[Flowable]:
    yield Paragraph("Signatures", _SECTION)
    if not export.signatures:
        yield Paragraph("Nobody has signed this record.", _BODY)
        return
    rows = [
        (s.name, s.meaning, clock(s.utc), f"entry {s.count}", s.standing, s.key[:16])
        for s in export.signatures
    ]
    header = ("Name", "Meaning", "Time", "Signed up to", "Standing", "Key")
    yield _table(header, rows, (4, 2, 4, 2.4, 5, 3))


def _reconciliation(export: Export) -> Iterable[Flowable]:
    yield Paragraph("Reconciliation", _SECTION)
    shown = [f"{name.replace('-', ' ')}: {count}" for name, count in export.totals.items()]
    yield Paragraph(escape("; ".join(shown)), _BODY)


def _deviations(export: Export) -> Iterable[Flowable]:
    yield Paragraph("Deviations", _SECTION)
    if not export.deviations:
        yield Paragraph("None.", _BODY)
        return
    rows = [
        (
            str(d.number),
            in_words(d.kind, d.detail),
            " ".join(str(vial) for vial in d.vials),
            d.location,
            _when(d.raised),
            d.status,
            _when(d.disposed),
            reason_of(export, d.reason, d.reason_clip),
        )
        for d in export.deviations
    ]
    header = ("No.", "What", "Vials", "Location", "Raised", "Standing", "Disposed", "Reason")
    yield _table(header, rows, (1, 3, 1.6, 2.1, 4, 2.2, 4, 4))


def _samples(export: Export) -> Iterable[Flowable]:
    yield Paragraph("Samples", _SECTION)
    rows = [
        (
            str(s.vial),
            s.location + (f" (attempt {s.attempt})" if s.attempt > 1 else ""),
            f"{s.position}, port {s.port}",
            f"{s.depth_mm}",
            s.status,
            s.mass_mg,
            _when(s.taken),
            _when(s.emptied),
            " ".join(str(number) for number in s.deviations),
        )
        for s in export.samples
    ]
    header = ("Vial", "Location", "Die", "mm in", "Status", "mg", "Taken", "Into vial", "Dev.")
    yield _table(header, rows, (1.2, 2.2, 2.6, 1.5, 1.7, 1.5, 4, 4, 1.2))


def _course(export: Export) -> Iterable[Flowable]:
    yield Paragraph("Course of the session", _SECTION)
    rows = [_line(export, entry) for entry in export.entries[:MOST_ENTRIES]]
    yield _table(
        ("No.", "Time (UTC)", "By", "What", "State", "Said"), rows, (1.2, 3.4, 3, 5, 2.8, 5.4)
    )
    more = len(export.entries) - MOST_ENTRIES
    if more > 0:
        yield Spacer(1, 4)
        yield Paragraph(f"{more} more entries are in the tables and the JSON export.", _BODY)


def _line(export: Export, entry: Entry) -> tuple[str, ...]:
    event = entry.event
    what = str(event.get("type", ""))
    text = event.get("text") or event.get("timer") or event.get("device") or event.get("reason")
    if event.get("type") == "remark-taken":
        text = remark_of(export, entry)
    if text:
        what = f"{what}: {text}"
    if event.get("decision") in ("ask", "refuse"):
        what = f"{what} ({event['decision']})"
    state = str(entry.outcome.get("state", ""))
    return (
        str(entry.seq),
        clock(entry.utc).removesuffix(" UTC"),
        entry.by,
        what,
        state,
        said(entry),
    )
