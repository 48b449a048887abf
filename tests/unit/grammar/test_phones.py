"""How far apart two phrases sound, on pairs worked out by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.grammar.phones import Way, closeness

SOUND = st.sampled_from("AA B CH DH F IY K M N S T UW ZZ".split())  # noqa: SIM905 - read as a row
WAY = st.lists(SOUND, min_size=1, max_size=8).map(tuple)


def way(text: str) -> Way:
    """Return the sounds of a row."""
    return tuple(text.split())


@pytest.mark.parametrize(
    ("one", "other", "distance"),
    [
        ("F UH L", "F UH L", 0.0),
        # One vowel for another, of three sounds.
        ("F UH L", "F IY L", 0.5 / 3),
        # F and SH are of different classes, UH and AO vowels, L and R alike, T is too much.
        ("F UH L", "SH AO R T", (1 + 0.5 + 0.5 + 1) / 4),
        ("AA", "B", 1.0),
        ("AA", "AA B CH DH", 3 / 4),
        # Sounds outside the classes are alike to nothing but themselves.
        ("QQ", "XX", 1.0),
        ("QQ", "QQ", 0.0),
    ],
)
def test_distances_worked_by_hand(one: str, other: str, distance: float) -> None:
    """A slip within a class costs half, any other slip, gap or surplus one."""
    assert closeness([way(one)], [way(other)]) == pytest.approx(distance, rel=1e-12)
    assert closeness([way(other)], [way(one)]) == pytest.approx(distance, rel=1e-12)


def test_the_nearest_ways_count() -> None:
    """A phrase that can be said like another one will be."""
    first = [way("B IY"), way("K AA T")]
    second = [way("M M M M"), way("K AA T S")]
    assert closeness(first, second) == pytest.approx(1 / 4, rel=1e-12)


@given(WAY, WAY)
def test_the_distance_is_a_share(one: Way, other: Way) -> None:
    """Nought for the same alone, one at most, the same both ways."""
    found = closeness([one], [other])
    assert 0 <= found <= 1
    assert (found == 0) == (one == other)
    assert found == closeness([other], [one])
