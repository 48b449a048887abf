"""A sheet of vial labels, to be printed before the session.

Every label shows product, batch, vial number, location, position and port as text, has room for
date and initials, and carries a machine-readable QR code. Returns bytes; the same plan gives the
same bytes. Importing this module loads reportlab, so it is imported only when labels are needed.
"""

import io
from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.graphics import renderPDF
from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas

from assistant.plan.model import Plan
from assistant.plan.vials import Vial
from assistant.report.qr_code import qr_code
from assistant.report.sheet_fonts import BOLD, PLAIN, register


@dataclass(frozen=True, slots=True)
class Sheet:
    """Arrangement of the labels on an A4 page; lengths in mm."""

    columns: int = 3
    rows: int = 8
    width: float = 70.0
    height: float = 36.0
    left: float = 0.0
    top: float = 4.5

    @property
    def per_page(self) -> int:
        """Labels on one page."""
        return self.columns * self.rows


SHEET_70_BY_36 = Sheet()
"""24 labels of 70 mm by 36 mm, a common size."""

CODE_MM = 20.0
"""Side of the machine-readable code."""

_MARGIN = 4.0
_GAP = 2.0
"""Between the text and the code."""


def label_sheet(
    plan: Plan, vials: Sequence[Vial], foot: str = "", sheet: Sheet = SHEET_70_BY_36
) -> bytes:
    """Return the labels of all vials as a PDF.

    Args:
        plan: gives product, batch and protocol.
        vials: the numbered vials (`assistant.plan.vials.vials`), one label each.
        foot: printed small on every label, such as the hash of the plan file.
        sheet: arrangement of the labels on the page.
    """
    register()
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=1, pageCompression=1)
    canvas.setTitle(f"Vial labels, batch {plan.study.batch}")
    canvas.setAuthor("")
    for index, vial in enumerate(vials):
        place = index % sheet.per_page
        if index and place == 0:
            canvas.showPage()
        row, column = divmod(place, sheet.columns)
        left = sheet.left + column * sheet.width
        top = A4[1] / mm - (sheet.top + row * sheet.height)
        canvas.saveState()
        canvas.translate(left * mm, top * mm)
        _label(canvas, plan, vial, foot, sheet)
        canvas.restoreState()
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _label(canvas: Canvas, plan: Plan, vial: Vial, foot: str, sheet: Sheet) -> None:
    """Draw one label down and right of the origin, its upper left corner."""
    study = plan.study
    whole = sheet.width - 2 * _MARGIN
    room = whole - CODE_MM - _GAP
    code_top = sheet.height - _MARGIN - 1.0
    renderPDF.draw(
        qr_code(vial.mark(study.batch), CODE_MM),
        canvas,
        (sheet.width - _MARGIN - CODE_MM) * mm,
        -code_top * mm,
    )
    lines = (
        (study.product, PLAIN, 7.0, 6.0, whole),
        (f"Batch {study.batch}", BOLD, 8.5, 10.2, whole),
        (f"Vial {vial.number}", BOLD, 14.0, 16.2, room),
        (vial.location, BOLD, 9.0, 20.4, room),
        (f"{vial.position} set, port {vial.port}", PLAIN, 7.0, 23.6, room),
        (f"{study.protocol}   {foot}".rstrip(), PLAIN, 4.5, 33.8, room),
    )
    for text, font, size, below, space in lines:
        canvas.setFont(font, size)
        canvas.drawString(_MARGIN * mm, -below * mm, _fitting(text, font, size, space * mm))
    canvas.setFont(PLAIN, 6)
    canvas.setLineWidth(0.4)
    for word, below in (("Date", 27.6), ("Initials", 31.4)):
        canvas.drawString(_MARGIN * mm, -below * mm, word)
        canvas.line((_MARGIN + 9.0) * mm, -below * mm, (_MARGIN + room) * mm, -below * mm)


def _fitting(text: str, font: str, size: float, room: float) -> str:
    """Shorten a line until it fits; the QR code contains what names the vial in full."""
    if stringWidth(text, font, size) <= room:
        return text
    while stringWidth(f"{text}...", font, size) > room:
        text = text[:-1]
    return f"{text}..."
