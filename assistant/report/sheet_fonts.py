"""The letters of the sheets: a face that has the names of people everywhere in Europe."""

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

__all__ = ["BOLD", "PLAIN", "register"]

PLAIN = "SheetPlain"
BOLD = "SheetBold"
_FILES = {PLAIN: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}


def register() -> None:
    """Make the faces known to reportlab; those that matplotlib carries, so nothing is shipped."""
    import matplotlib as mpl  # noqa: PLC0415 - slow to import

    folder = f"{mpl.get_data_path()}/fonts/ttf"
    for name, file in _FILES.items():
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, f"{folder}/{file}"))
