"""The phrase card: every phrase is on it, as it is said in this plan."""

import shutil
import subprocess
from pathlib import Path

import pytest

from assistant.grammar.language import parse_grammar
from assistant.plan import parse_plan
from assistant.procedure import queries
from assistant.procedure.enums import Intent
from assistant.report.phrase_card import STEPS, phrase_card, spoken_form
from assistant.storage import bundled_files

BROKEN = (Intent.SHAFT_RAISED, Intent.RAISED_OPEN, Intent.FILLED_CLOSED)
"""Phrases that break over two lines on the card."""
ENGLISH = parse_grammar(bundled_files.read_grammar("en"), "en")


def test_every_phrase_is_explained_once() -> None:
    """A new phrase without a line on the card is an error here."""
    named = [intent for phrases in STEPS.values() for intent in phrases]
    assert len(named) == len(set(named))
    assert set(named) == set(Intent)


@pytest.mark.parametrize("dialogue", ["full", "short"])
@pytest.mark.parametrize("name", bundled_files.plan_names())
def test_another_program_reads_every_phrase(name: str, dialogue: str, tmp_path: Path) -> None:
    """On two A5 pages, with positions and call signs of the plan and what it was made from."""
    plan = parse_plan(bundled_files.read_plan(name), name)
    plan = plan.model_copy(update={"dialogue": dialogue})
    raw = phrase_card(ENGLISH, plan, "made from this")
    assert raw == phrase_card(ENGLISH, plan, "made from this")
    reader = shutil.which("pdftotext")
    if reader is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    (tmp_path / "card.pdf").write_bytes(raw)
    text = subprocess.run(
        [reader, "-layout", "card.pdf", "-"],
        cwd=tmp_path,
        capture_output=True,
        check=True,
        text=True,
    ).stdout
    pages = text.split("\f")[:-1]
    assert len(pages) == 2
    assert all("made from this" in page for page in pages)
    words = " ".join(text.split())
    for intent in set(Intent) - set(queries.unused(plan)):
        if intent not in BROKEN:
            assert " ".join(spoken_form(ENGLISH, plan, intent).split()) in words
    assert "never grants permission" in words


def test_alternatives_and_numbers_are_shown() -> None:
    """Positions by slashes, dots where digits go."""
    plan = parse_plan(bundled_files.read_plan("double-cone"), "double-cone")
    assert spoken_form(ENGLISH, plan, Intent.PORT_OPEN) == "bottom / middle / top port open"
    assert spoken_form(ENGLISH, plan, Intent.VIAL_FULL) == "vial … full"
    assert spoken_form(ENGLISH, plan, Intent.MASS) == "… milligrams"
