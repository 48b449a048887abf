"""A QR code (ISO/IEC 18004) to place on a page."""

from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.lib.units import mm

__all__ = ["qr_code"]


def qr_code(text: str, side_mm: float) -> Drawing:
    """Return the code of a text, error correction M (15 %), with its quiet zone.

    Args:
        text: what a scanner reads.
        side_mm: width and height, mm.
    """
    side = side_mm * mm
    drawing = Drawing(side, side)
    drawing.add(QrCodeWidget(text, barWidth=side, barHeight=side, barLevel="M"))
    return drawing
