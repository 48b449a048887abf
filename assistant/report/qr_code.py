"""QR codes (ISO/IEC 18004), to place on a page or a screen."""

from reportlab.graphics.barcode.qr import QrCodeWidget
from reportlab.graphics.shapes import Drawing
from reportlab.lib.units import mm

__all__ = ["qr_code", "qr_rows"]


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


def qr_rows(text: str) -> tuple[str, ...]:
    """Return the modules of a text's code, error correction M, without its quiet zone.

    Args:
        text: what a scanner reads.

    Returns:
        one string a row from the top, "1" for a dark module and "0" for a light one.
    """
    code = QrCodeWidget(text, barLevel="M").qr
    code.make()
    return tuple("".join("1" if dark else "0" for dark in row) for row in code.modules)
