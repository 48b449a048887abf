"""What only the embedded engine promises: pronunciations, many phrases, dictionary."""

import pytest

from assistant.errors import GrammarError
from assistant.ports import Utterance
from assistant.speech.pocketsphinx_engine import (
    PocketSphinxRecogniser,
    known_ways,
    open_decoder,
)
from assistant.speech.tts import Voice

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


def test_pronunciations_are_added_and_known_ones_skipped() -> None:
    """An unknown word gets its first pronunciation, a known one another."""
    extra = {"earthed": ["ER TH T"], "Nine": ["N AY N", "N AY N ER"], "tree": ["T R  IY"]}
    decoder = open_decoder(extra)
    assert known_ways(decoder, "earthed") == ["ER TH T"]
    assert known_ways(decoder, "nine") == ["N AY N", "N AY N ER"]
    assert known_ways(decoder, "tree") == ["T R IY"]
    assert known_ways(decoder, "zorblax") == []


@pytest.mark.parametrize("way", ["ERR TH T", "ER1 TH T", "er th t", ""])
def test_a_pronunciation_of_unknown_sounds_is_refused(way: str) -> None:
    """The sentence names word and pronunciation."""
    with pytest.raises(GrammarError, match=f'"earthed": "{way}"'):
        PocketSphinxRecogniser({"earthed": [way]})


def test_an_added_way_of_saying_a_word_is_heard_as_that_word() -> None:
    """When "niner" is spoken, "nine" of the phrase is heard."""
    recogniser = PocketSphinxRecogniser({"nine": ["N AY N ER"]})
    recogniser.prepare(["vial nine full", "vial one full", "vial five full"])
    sound = Voice("en-us", 140).render("vial niner full")
    assert recogniser.hear(Utterance(pcm=sound)).text == "vial nine full"


def test_ten_thousand_numbers_are_heard() -> None:
    """All four-digit masses beside other phrases, digit by digit."""
    numbers = [
        f"{a} {b} {c} {d} milligrams"
        for a in DIGITS
        for b in DIGITS
        for c in DIGITS
        for d in DIGITS
    ]
    recogniser = PocketSphinxRecogniser()
    recogniser.prepare([*numbers, "bottom port open", "correction last entry"])
    voice = Voice("en-us", 150)
    for said in (
        "two six four nine milligrams",
        "bottom port open",
        "one zero eight three milligrams",
    ):
        assert recogniser.hear(Utterance(pcm=voice.render(said))).text == said


def test_many_lists_of_phrases_may_be_set_in_turn() -> None:
    """Old lists are forgotten without harm to the one in force."""
    recogniser = PocketSphinxRecogniser()
    voice = Voice()
    for number in range(150):
        recogniser.prepare(
            ["bottom port open", f"vial {DIGITS[number % 10]} {DIGITS[number // 15]}"]
        )
    assert (
        recogniser.hear(Utterance(pcm=voice.render("bottom port open"))).text == "bottom port open"
    )
    recogniser.prepare(["bottom set filled"])
    assert (
        recogniser.hear(Utterance(pcm=voice.render("bottom set filled"))).text
        == "bottom set filled"
    )
