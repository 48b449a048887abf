"""How far apart phone strings sound."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.grammar.phones import PHONES, distance, substitution

STRINGS = st.lists(st.sampled_from(PHONES), max_size=8)


def test_the_dictionary_has_39_phones() -> None:
    """The CMU dictionary's set of phones without stress has 39 members."""
    assert len(PHONES) == 39
    assert len(set(PHONES)) == 39


def test_alike_phones_cost_half() -> None:
    """One stop for another costs half a change, a vowel for a stop a whole one."""
    assert substitution("P", "P") == 0.0
    assert substitution("P", "T") == 0.5
    assert substitution("P", "AA") == 1.0
    assert substitution("SIL", "P") == 1.0


def test_fifteen_and_fifty() -> None:
    """F IH F T IY N to F IH F T IY is one loss in six phones (worked by hand)."""
    assert distance(["F", "IH", "F", "T", "IY", "N"], ["F", "IH", "F", "T", "IY"]) == pytest.approx(
        1 / 6
    )


def test_empty_strings_do_not_divide_by_zero() -> None:
    """Nothing against nothing is the same; nothing against something shares nothing."""
    assert distance([], []) == 0.0
    assert distance([], ["AA"]) == 1.0


@given(STRINGS, STRINGS)
def test_distance_is_symmetric_and_bounded(first: list[str], second: list[str]) -> None:
    """Order does not matter, and the longer string bounds the changes."""
    found = distance(first, second)
    assert found == distance(second, first)
    assert 0.0 <= found <= 1.0
    assert (found == 0.0) == (first == second)
