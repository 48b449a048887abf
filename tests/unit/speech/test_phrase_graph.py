"""The word network accepts exactly the phrases and stays small."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.speech.phrase_graph import Network, build_network, normal

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")

word_lists = st.lists(st.lists(st.sampled_from("abc"), min_size=1, max_size=4), min_size=1)


def sentences(network: Network) -> list[str]:
    """Return every sentence that leads from the start to the final state."""
    found = []
    waiting: list[tuple[int, tuple[str, ...]]] = [(0, ())]
    while waiting:
        state, words = waiting.pop()
        if state == network.final:
            found.append(" ".join(words))
        waiting.extend(
            (arc.target, (*words, arc.word) if arc.word else words)
            for arc in network.arcs
            if arc.source == state
        )
    return found


@given(word_lists)
def test_a_network_accepts_its_phrases_and_nothing_else(lists: list[list[str]]) -> None:
    """Every phrase once, no other sentence, no way to recombine phrases."""
    phrases = {" ".join(words) for words in lists}
    assert sorted(sentences(build_network(sorted(phrases)))) == sorted(phrases)


@given(word_lists)
def test_the_same_phrases_give_the_same_network(lists: list[list[str]]) -> None:
    """Order, case, spacing and repetition of the list do not matter."""
    phrases = [" ".join(words) for words in lists]
    untidy = [f"  {phrase.upper()} " for phrase in reversed(phrases)] + phrases
    assert build_network(untidy) == build_network(phrases)


def test_shared_endings_are_shared() -> None:
    """Ten thousand four-digit numbers cost ten arcs a digit, not ten thousand."""
    numbers = [
        f"{a} {b} {c} {d} milligrams"
        for a in DIGITS
        for b in DIGITS
        for c in DIGITS
        for d in DIGITS
    ]
    assert len(build_network(numbers).arcs) == 4 * 10 + 1


def test_a_phrase_that_begins_another_ends_without_a_word() -> None:
    """The engine knows one final state; the shorter phrase reaches it by a silent arc."""
    network = build_network(["say again", "say again now"])
    assert [arc.word for arc in network.arcs].count("") == 1
    assert sorted(sentences(network)) == ["say again", "say again now"]


def test_no_phrase_and_an_empty_phrase_are_refused() -> None:
    """A network that accepts nothing or silence is a mistake of the program."""
    for phrases in ([], [""], ["say again", " "]):
        with pytest.raises(ValueError, match="at least one"):
            build_network(phrases)


def test_the_form_in_which_phrases_compare() -> None:
    """Lower case, single spaces."""
    assert normal("  What  can\tI say ") == "what can i say"
