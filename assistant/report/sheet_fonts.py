"""Fonts of the sheets, covering the names of people throughout Europe."""

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

__all__ = ["BOLD", "PLAIN", "register"]

PLAIN = "SheetPlain"
BOLD = "SheetBold"
_FILES = {PLAIN: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}


def register() -> None:
    """Register matplotlib's bundled fonts with reportlab, so that none need shipping."""
    import matplotlib as mpl  # noqa: PLC0415 - slow to import

    folder = f"{mpl.get_data_path()}/fonts/ttf"
    for name, file in _FILES.items():
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, f"{folder}/{file}"))
