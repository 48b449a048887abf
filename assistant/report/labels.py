"""A sheet of vial labels, to be printed before the session.

Every label shows batch, location, position, port and vial number as text and as a machine-readable
QR code. Returns bytes; the same plan gives the same bytes. Importing this
module loads reportlab, so it is imported only when labels are needed.
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


def label_sheet(
    plan: Plan, vials: Sequence[Vial], foot: str = "", sheet: Sheet = SHEET_70_BY_36
) -> bytes:
    """Return the labels of all vials as a PDF.

    Args:
        plan: gives batch and product.
        vials: the numbered vials (`assistant.plan.vials.vials`), one label each.
        foot: printed small on every label, such as the hash of the plan file.
        sheet: arrangement of the labels on the page.
    """
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=A4, invariant=1, pageCompression=1)
    canvas.setTitle(f"Vial labels, batch {plan.study.batch}")
    canvas.setAuthor("")
    for index, vial in enumerate(vials):
        place = index % sheet.per_page
        if index and place == 0:
            canvas.showPage()
        row, column = divmod(place, sheet.columns)
        left = (sheet.left + column * sheet.width) * mm
        top = A4[1] - (sheet.top + row * sheet.height) * mm
        _label(canvas, plan, vial, (left, top - sheet.height * mm), sheet)
        canvas.setFont("Helvetica", 5)
        canvas.drawString(left + 4 * mm, top - 33.5 * mm, _fitting(foot, 5, 40 * mm))
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def _label(
    canvas: Canvas, plan: Plan, vial: Vial, corner: tuple[float, float], sheet: Sheet
) -> None:
    (left, foot), margin = corner, 4 * mm
    code_left = left + sheet.width * mm - CODE_MM * mm - margin
    renderPDF.draw(qr_code(vial.mark(plan), CODE_MM), canvas, code_left, foot + margin)
    room = code_left - left - margin - 2 * mm
    whole = sheet.width * mm - 2 * margin
    canvas.setFont("Helvetica-Bold", 9)
    top = foot + sheet.height * mm
    canvas.drawString(left + margin, top - 7 * mm, _fitting(f"Batch {plan.study.batch}", 9, whole))
    canvas.setFont("Helvetica-Bold", 20)
    canvas.drawString(left + margin, top - 16 * mm, f"{vial.number}")
    canvas.setFont("Helvetica-Bold", 11)
    canvas.drawString(left + margin, top - 22 * mm, _fitting(vial.location, 11, room))
    canvas.setFont("Helvetica", 8)
    canvas.drawString(left + margin, top - 26.5 * mm, f"{vial.position} set, port {vial.port}")
    canvas.setFont("Helvetica", 6)
    canvas.drawString(left + margin, top - 30.5 * mm, _fitting(plan.study.protocol, 6, room))


def _fitting(text: str, size: float, room: float) -> str:
    """Shorten a line until it fits; the QR code contains the full text."""
    if stringWidth(text, "Helvetica-Bold", size) <= room:
        return text
    while stringWidth(f"{text}...", "Helvetica-Bold", size) > room:
        text = text[:-1]
    return f"{text}..."
