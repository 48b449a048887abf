"""The search, against every path there is."""

import itertools
import math

import numpy as np
import pytest

from assistant.speech.phone_decoder.phrase_scores import (
    LOWEST,
    PhraseSet,
    align,
    greedy_phones,
    labels,
    ratios,
    states,
)

from .conftest import Spell

AB = (("AA", "B"),)
AA = (("AA", "AA"),)


def by_hand(way: tuple[tuple[str, ...], ...], ratio: np.ndarray) -> tuple[float, float]:
    """Return the sum and the best of all paths filler, phrase, filler."""
    symbols = states(labels([phone for word in way for phone in word]))
    last = len(symbols) - 1
    total, best = 0.0, 0.0
    for path in itertools.product(range(len(symbols)), repeat=len(ratio)):
        steps = list(itertools.pairwise(path))
        skips = [b for a, b in steps if b - a == 2]
        fine = path[0] <= 1 and path[-1] >= last - 1 and all(0 <= b - a <= 2 for a, b in steps)
        legal = all(b % 2 == 1 and symbols[b] != symbols[b - 2] for b in skips)
        if fine and legal:
            worth = math.prod(ratio[t, symbols[s]] for t, s in enumerate(path))
            total, best = total + worth, max(best, worth)
    return total, best


@pytest.mark.parametrize("way", [AB, AA, (("B",),), (("AA",), ("B",))])
def test_the_forward_sum_is_that_of_all_paths(way: tuple[tuple[str, ...], ...]) -> None:
    """The forward sum is that of all paths."""
    rows = np.random.default_rng(5).normal(0, 2, (6, 40))
    posteriors = rows - np.log(np.exp(rows).sum(axis=1, keepdims=True))
    ratio = ratios(posteriors)
    total, best = by_hand(way, ratio)
    assert PhraseSet({"it": [way]}).scores(ratio)[0] == pytest.approx(math.log(total))
    found = align(way, ratio)
    assert found is not None
    outside = np.log(ratio[:, -1])
    around = outside[: found.begin].sum() + outside[found.end :].sum()
    assert sum(found.phones) == pytest.approx(found.inside)
    assert found.inside + around == pytest.approx(math.log(best))


def test_phrases_of_different_length_do_not_touch_each_other(spell: Spell) -> None:
    """Phrases of different length do not touch each other."""
    ratio = ratios(spell(["AA", "B", "K"]))
    alone = [PhraseSet({"x": [way]}).scores(ratio)[0] for way in (AB, (("AA", "B", "K"),))]
    both = PhraseSet({"ab": [AB], "abk": [(("AA", "B", "K"),)]}).scores(ratio)
    np.testing.assert_allclose(both, alone)
    assert both[1] > both[0]


def test_the_best_way_of_a_phrase_counts(spell: Spell) -> None:
    """The best way of a phrase counts."""
    phrases = PhraseSet({"it": [(("K", "B"),), AB], "other": [AA]})
    ratio = ratios(spell(["AA", "B"]))
    assert phrases.best_way(0, phrases.ways_scores(ratio)) == AB
    assert phrases.best_way(1, phrases.ways_scores(ratio)) == AA


def test_sound_outside_the_phrase_is_paid_for(spell: Spell) -> None:
    """Sound outside the phrase is paid for."""
    phrases = PhraseSet({"it": [AB]})
    plain = phrases.scores(ratios(spell(["AA", "B"])))[0]
    more = phrases.scores(ratios(spell(["AA", "B", "-", "N", "OW"])))[0]
    assert plain > -0.5
    assert more < plain - 3.0


def test_the_alignment_says_where(spell: Spell) -> None:
    """The alignment says where."""
    found = align(AB, ratios(spell(["N", "-", "AA", "B"], lead=4)))
    assert found is not None
    assert (found.begin, found.end) == (11, 16)
    assert found.starts == (11, 15)


def test_too_little_sound_for_a_phrase(spell: Spell) -> None:
    """Too little sound for a phrase."""
    ratio = ratios(spell([], lead=1)[:1])
    assert align(AA, ratio) is None
    assert align(AB, ratio[:0]) is None
    assert PhraseSet({"it": [AB]}).scores(ratio[:0]).tolist() == [LOWEST]


def test_a_phrase_needs_a_way() -> None:
    """A phrase needs a way."""
    with pytest.raises(ValueError, match="needs a way"):
        PhraseSet({"it": [()]})


def test_the_free_path(spell: Spell) -> None:
    """The free path."""
    assert greedy_phones(spell(["N", "OW"], lead=2)) == [("N", 2), ("OW", 6)]
    assert greedy_phones(spell([])[:0]) == []
