"""Label data for every vial that holds a sample, as text and as Code 128.

The code holds batch and vial number (`TV2611|7`), which together identify one vial of one record;
the text has the rest. Voided vials are marked VOID.
"""

from xml.sax.saxutils import escape

from reportlab.graphics.barcode.code128 import Code128
from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Spacer, Table

from assistant.report.export import Export, Moment, Sample
from assistant.report.sheet_fonts import BOLD, PLAIN

__all__ = ["label_code", "label_table"]

COLUMNS = 2
_HEIGHT = 34 * mm
_CODE_MM = 9.0
_QUIET_MM = 5.0
_WIDEST_MM = 0.4
"""Width of one module; narrower for a long batch name. Few scanners read below 0.19 mm."""

_TITLE = ParagraphStyle("label-title", fontName=BOLD, fontSize=11, leading=13)
_TEXT = ParagraphStyle("label-text", fontName=PLAIN, fontSize=7, leading=8.5)


def label_code(export: Export, sample: Sample) -> str:
    """Return the content of the label's code: batch and vial."""
    return f"{export.session.batch}|{sample.vial}"


def label_table(export: Export, width: float) -> Table | None:
    """Return the labels of all vials with a sample, two in a row; None where there is none.

    Args:
        export: of one record.
        width: of the table, points.
    """
    held = [s for s in export.samples if s.status not in ("planned", "taken")]
    if not held:
        return None
    cell = width / COLUMNS
    cells: list[list[Flowable] | str] = [_label(export, sample, cell) for sample in held]
    cells += [""] * (-len(cells) % COLUMNS)
    rows = [cells[n : n + COLUMNS] for n in range(0, len(cells), COLUMNS)]
    return Table(
        rows,
        colWidths=[cell] * COLUMNS,
        rowHeights=[_HEIGHT] * len(rows),
        style=[
            ("GRID", (0, 0), (-1, -1), 0.3, colors.lightgrey),
            ("VALIGN", (0, 0), (-1, -1), "MIDDLE"),
        ],
    )


def _label(export: Export, sample: Sample, width: float) -> list[Flowable]:
    done: Moment | None = sample.emptied or sample.taken
    when = f"{done.utc[:10]} {done.utc[11:19]} UTC" if done else "time unknown"
    who = done.by if done else ""
    void = "VOID  " if sample.status == "void" else ""
    mass = f", {sample.mass_mg} mg" if sample.mass_mg else ""
    place = f"{sample.position} set, port {sample.port}, {sample.depth_mm} mm in"
    words = (
        f"{export.session.product}, batch {export.session.batch}",
        f"{place}, {sample.status}{mass}",
        f"{when}, {who}",
    )
    return [
        Paragraph(escape(f"{void}Vial {sample.vial}   {sample.location}"), _TITLE),
        *(Paragraph(escape(line), _TEXT) for line in words),
        Spacer(1, 1.5 * mm),
        _code(label_code(export, sample), width - 4 * mm),
    ]


def _code(text: str, room: float) -> Code128:
    """Return the code in its preferred width, or as narrow as the space requires."""
    measure = Code128(text, barWidth=1.0, quiet=0)
    module = min(_WIDEST_MM * mm, (room - 2 * _QUIET_MM * mm) / measure.width)
    return Code128(
        text,
        barWidth=module,
        barHeight=_CODE_MM * mm,
        lquiet=_QUIET_MM * mm,
        rquiet=_QUIET_MM * mm,
    )
