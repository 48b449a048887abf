"""The phrase card: every phrase by step, with what it does, on A5 to hang beside the work.

Returns bytes; the same grammar and plan give the same bytes. Importing this module loads reportlab.
"""

import io
from collections.abc import Iterator, Mapping
from functools import partial
from xml.sax.saxutils import escape

from reportlab.lib import colors
from reportlab.lib.pagesizes import A5
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    Flowable,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Table,
    TableStyle,
)

from assistant.grammar.language import Language
from assistant.plan.model import Plan
from assistant.procedure import queries
from assistant.procedure.enums import Intent
from assistant.report.sheet_fonts import BOLD, PLAIN, register

__all__ = ["STEPS", "phrase_card", "spoken_form"]

STEPS: Mapping[str, Mapping[Intent, str]] = {
    "Before the powder is touched": {
        Intent.CAUTION_ISOLATED: "answers the first caution",
        Intent.CAUTION_EARTHED: "answers the second caution",
        Intent.CAUTION_PROTECTED: "answers the third caution",
    },
    "Each insertion": {
        Intent.DIES_SEATED: "dies pressed in, none left over",
        Intent.POSITIONED: "at the entry, tilt set",
        Intent.AT_DEPTH: "inserted, closed, to the depth told",
        Intent.PORT_OPEN: "turned open; the waiting time begins",
        Intent.FILLED_CLOSED: "waiting time over, turned closed again",
        Intent.SET_FILLED: "waiting time is over; next, close",
        Intent.PORT_CLOSED: "turned closed again",
        Intent.RAISED_OPEN: "shaft lifted, then turned open; the wait begins",
        Intent.SHAFT_RAISED: "shaft lifted to the next position",
        Intent.SAMPLER_OUT: "out of the powder, closed",
        Intent.SHAKEN_OFF: "powder outside has dropped off",
    },
    "Emptying": {
        Intent.DIES_UP_TUBE_OFF: "powder outside dropped off, dies up, tube off",
        Intent.DIES_UP: "dies point upward",
        Intent.TUBE_OFF: "tube slid off the shaft",
        Intent.ALL_FULL: "all dies left are in their vials, full; read back",
        Intent.VIAL_FULL: "die emptied into this vial, full",
        Intent.VIAL_SHORT: "the same, underfilled: a deviation",
        Intent.VIAL_EMPTY: "the die was empty: a deviation",
        Intent.MASS: "what the balance shows, digit by digit",
        Intent.EMPTY_CLEAN: "tube empty; no rubbing, no bright metal",
        Intent.TUBE_EMPTIED: "nothing was in the tube, or it is out",
        Intent.POWDER_IN_TUBE: "powder was in the tube: noted as a leak",
        Intent.SHAFT_CLEAN: "no rubbing, no bright metal",
        Intent.SHAFT_MARKED: "rubbing seen: work is held",
        Intent.MARKS_ACCEPTED: "go on all the same; stays on record",
        Intent.SAMPLER_CHANGED: "another sampler from now on",
        Intent.ON_STAND: "sampler put down; next location",
    },
    "Answers to a question": {
        Intent.AFFIRM: "yes, what was asked is right",
        Intent.NEGATIVE: "no, it is not",
        Intent.WITNESS_AFFIRMED: "said by the witness alone",
    },
    "At any moment": {
        Intent.SAY_AGAIN: "repeats the instruction",
        Intent.WHERE_ARE_WE: "tells location, position and step",
        Intent.WHAT_CAN_I_SAY: "tells the phrases of this step",
        Intent.HEAD_CODE: "tells the code of the record's last entry",
        Intent.STAND_BY: "pauses the work",
        Intent.RESUME: "ends the pause",
        Intent.CORRECTION: "takes the last entry back; both stay on record",
        Intent.REMARK: "keeps what you say next as sound",
        Intent.TAKE_OVER: "another operator takes over",
        Intent.STOP_SAMPLING: "ends the session, incomplete; asks first",
    },
    "Note of a spill or leak": {
        Intent.NOTE_SPILL: "begins a note of a spill",
        Intent.NOTE_LEAK: "begins a note of a leak",
        Intent.PLACE_FLOOR: "where",
        Intent.PLACE_VESSEL: "where",
        Intent.PLACE_SAMPLER: "where",
        Intent.PLACE_VIALS: "where",
        Intent.AMOUNT_TRACE: "how much",
        Intent.AMOUNT_SPOONFUL: "how much",
        Intent.AMOUNT_MORE: "how much",
        Intent.AFFECTS_NONE: "which samples",
        Intent.AFFECTS_INSERTION: "which samples",
        Intent.AFFECTS_ALL: "which samples",
        Intent.DISREGARD: "drops the note",
    },
    "Close-out": {
        Intent.DIES_COMPLETE: "as many dies as went in",
        Intent.DIE_MISSING: "a die is missing: a deviation",
        Intent.DEVIATION_ACCEPTED: "samples stand, with the reason spoken next",
        Intent.SAMPLES_VOIDED: "samples do not count; they stay on record",
        Intent.INSERTION_REPEATED: "the insertion is done again",
        Intent.RECORD_SIGNED: "closes the session",
    },
}
"""What each phrase does, by step; of every intent, each once."""

_MARGIN = 9 * mm
_WIDTH = A5[0] - 2 * _MARGIN - 12
_PHRASE = ParagraphStyle("phrase", fontName=BOLD, fontSize=8.5, leading=10)
_DOES = ParagraphStyle("does", fontName=PLAIN, fontSize=7.5, leading=10)
_STEP = ParagraphStyle("step", fontName=BOLD, fontSize=9.5, leading=12, spaceBefore=5)
_ROWS = TableStyle(
    [
        ("LINEBELOW", (0, 0), (-1, -1), 0.25, colors.lightgrey),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 0.6),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.4),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ]
)


def phrase_card(language: Language, plan: Plan, footer: str = "") -> bytes:
    """Return the card as a PDF of A5 pages.

    Args:
        language: whose phrases are printed; what they do is said in English.
        plan: decides positions, call signs and which dialogue is held.
        footer: names the files that it was made from.
    """
    register()
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=A5,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=8 * mm,
        bottomMargin=11 * mm,
        invariant=1,
        title="Phrase card",
        author="",
    )
    frame = partial(_frame, footer)
    document.build(list(_story(language, plan)), onFirstPage=frame, onLaterPages=frame)
    return out.getvalue()


def spoken_form(language: Language, plan: Plan, intent: Intent) -> str:
    """Return a phrase as the card prints it: alternatives by slashes, dots for a number."""
    people = [person.call for person in plan.people if person.role == "operator"]
    positions = [language.names.get(each.value, each.value) for each in plan.sampler.positions]
    return language.phrases[intent].format(
        position=" / ".join(positions), vial="…", call=" / ".join(people), number="…"
    )


def _frame(footer: str, canvas: Canvas, document: SimpleDocTemplate) -> None:
    canvas.saveState()
    canvas.setFont(PLAIN, 6)
    canvas.drawString(_MARGIN, 6 * mm, footer)
    canvas.drawRightString(A5[0] - _MARGIN, 6 * mm, f"page {document.page}")
    canvas.restoreState()


def _story(language: Language, plan: Plan) -> Iterator[Flowable]:
    unused = queries.unused(plan)
    for step, phrases in STEPS.items():
        rows = [
            [
                Paragraph(escape(spoken_form(language, plan, intent)), _PHRASE),
                Paragraph(escape(does), _DOES),
            ]
            for intent, does in phrases.items()
            if intent not in unused
        ]
        widths = [_WIDTH * 0.5, _WIDTH * 0.5]
        table = Table(rows, colWidths=widths, style=_ROWS, hAlign="LEFT")
        yield KeepTogether([Paragraph(step, _STEP), table])
    yield Paragraph(
        "Say one phrase at a time, as printed; … stands for digits, one by one. The program "
        "records; it never grants permission. Follow your site's procedures.",
        _DOES,
    )
