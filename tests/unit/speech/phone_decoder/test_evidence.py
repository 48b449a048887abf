"""The figures of one phrase in spelt-out sound."""

from collections.abc import Sequence

import numpy as np
import pytest

from assistant.speech.phone_decoder.evidence import (
    CONTRADICTIONS,
    GAP_LIMIT,
    Candidate,
    contradicts,
    measure,
    spikes,
)
from assistant.speech.phone_decoder.phrase_scores import PhraseSet, ratios

from .conftest import Spell

SHAFT = ("SH", "AE", "F", "T")
SHIFT = ("SH", "IH", "F", "T")
PHRASES = PhraseSet({"shaft": [(SHAFT,)], "shift": [(SHIFT,)]})


def candidate(spell: Spell, phones: Sequence[str], phrases: PhraseSet = PHRASES) -> Candidate:
    """Candidate."""
    posteriors = spell(phones)
    found = measure(0, phrases, phrases.ways_scores(ratios(posteriors)), posteriors)
    assert found is not None
    return found


def test_a_plain_phrase(spell: Spell) -> None:
    """A plain phrase."""
    found = candidate(spell, SHAFT)
    assert (found.phrase, found.second) == ("shaft", "shift")
    assert found.figures["fit"] > -0.1
    assert found.figures["worst-phone"] > -0.1
    assert 3.0 < found.figures["gap"] < 12.0
    assert found.figures["length"] == pytest.approx(np.log(4))
    assert found.before + found.after < 1.0
    assert not found.contradicted
    assert (found.begin, found.end) == (5, 18)


def test_a_near_miss_shows_in_its_worst_phone(spell: Spell) -> None:
    """A near miss shows in its worst phone."""
    found = candidate(spell, SHIFT)
    assert found.figures["worst-phone"] < -3.0
    assert found.figures["gap"] < 0


@pytest.mark.parametrize("way", [way for ways in CONTRADICTIONS.values() for way in ways])
@pytest.mark.parametrize("first", [True, False])
def test_a_contradiction_beside_the_phrase(
    spell: Spell, way: tuple[str, ...], *, first: bool
) -> None:
    """A contradiction beside the phrase."""
    rows = [*way, "-", *SHAFT] if first else [*SHAFT, "-", *way]
    found = candidate(spell, rows)
    assert found.contradicted
    assert (found.before if first else found.after) > 5.0


def test_other_words_are_counted_and_contradict_nothing(spell: Spell) -> None:
    """Other words are counted and contradict nothing."""
    found = candidate(spell, [*SHAFT, "-", "TH", "AE", "NG", "K", "Y", "UW"])
    assert not found.contradicted
    assert found.after > 10.0
    assert found.before < 1.0


def test_a_phrase_alone_leads_by_the_most_that_counts(spell: Spell) -> None:
    """A phrase alone leads by the most that counts."""
    found = candidate(spell, SHAFT, PhraseSet({"shaft": [(SHAFT,)]}))
    assert (found.second, found.figures["gap"]) == ("", GAP_LIMIT)


def test_too_short_for_the_phrase(spell: Spell) -> None:
    """Too short for the phrase."""
    posteriors = spell([], lead=1)
    by_way = PHRASES.ways_scores(ratios(posteriors))
    assert measure(0, PHRASES, by_way, posteriors) is None


def test_silence_neither_contradicts_nor_sounds(spell: Spell) -> None:
    """Silence neither contradicts nor sounds."""
    assert not contradicts(spell([]))
    assert not contradicts(spell([])[:0])
    assert not contradicts(spell(["N"], lead=0)[:1])
    assert spikes(spell(["N", "OW"], lead=2)) == [2, 6]
