"""Label data for every vial that holds a sample, as text and with the code of its label.

The code is the one that `labels` printed before the session. Voided vials are marked VOID.
"""

from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Table

from assistant.plan.vials import Vial
from assistant.report.export import Export, Moment, Sample
from assistant.report.qr_code import qr_code
from assistant.report.sheet_fonts import BOLD, PLAIN

__all__ = ["label_code", "label_table"]

COLUMNS = 2
_HEIGHT = 26 * mm
_CODE_MM = 20.0

_TITLE = ParagraphStyle("label-title", fontName=BOLD, fontSize=11, leading=13)
_TEXT = ParagraphStyle("label-text", fontName=PLAIN, fontSize=7, leading=8.5)


def label_code(export: Export, sample: Sample) -> str:
    """Return the content of the label's code."""
    vial = Vial(sample.vial, sample.location, sample.position, sample.port)
    return vial.mark(export.session.batch)


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
    text = [
        Paragraph(escape(f"{void}Vial {sample.vial}   {sample.location}"), _TITLE),
        *(Paragraph(escape(line), _TEXT) for line in words),
    ]
    room = (_CODE_MM + 2) * mm
    style = [("VALIGN", (0, 0), (-1, -1), "MIDDLE"), ("LEFTPADDING", (0, 0), (-1, -1), 0)]
    code = qr_code(label_code(export, sample), _CODE_MM)
    return [Table([[text, code]], colWidths=[width - room - 4 * mm, room], style=style)]
