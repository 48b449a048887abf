"""Numbers from spelt-out phones."""

import pytest

from assistant.speech.phone_decoder.digit_decoder import DigitDecoder, DigitWords
from assistant.speech.phone_decoder.phrase_scores import PhraseSet, ratios

from .conftest import Spell

SPOKEN = {
    "one": (("W", "AH", "N"), ("HH", "W", "AH", "N")),
    "six": (("S", "IH", "K", "S"),),
    "seven": (("S", "EH", "V", "AH", "N"),),
    "nine": (("N", "AY", "N"),),
    "niner": (("N", "AY", "N", "ER"),),
    "decimal": (("D", "EH", "S", "AH", "M", "AH", "L"),),
    "milligrams": (("M", "IH", "L", "AH", "G", "R", "AE", "M", "Z"),),
    "net": (("N", "EH", "T"),),
}
VALUES = {"one": "1", "six": "6", "seven": "7", "nine": "9", "niner": "9", "decimal": "."}


def decoder(*unit: str) -> DigitDecoder:
    """Decoder."""
    return DigitDecoder(DigitWords(VALUES, SPOKEN, unit or ("milligrams",)))


def phones(said: str) -> list[str]:
    """Phones."""
    return [phone for word in said.split() for phone in (*SPOKEN[word][0], "-")]


@pytest.mark.parametrize(
    "said",
    [
        "one milligrams",
        "six seven milligrams",
        "six six nine milligrams",
        "one decimal seven milligrams",
        "nine six decimal one one milligrams",
        "one one one one one milligrams",
    ],
)
def test_what_is_spelt_is_heard(spell: Spell, said: str) -> None:
    """What is spelt is heard."""
    assert decoder().best(spell(phones(said))) == tuple(said.split())


def test_a_repeated_phone_needs_a_blank_between_words(spell: Spell) -> None:
    """A repeated phone needs a blank between words."""
    run_together = [phone for phone in phones("six seven milligrams") if phone != "-"]
    assert decoder().best(spell(run_together)) == ("six", "seven", "milligrams")


def test_sound_around_a_number_is_left_to_the_filler(spell: Spell) -> None:
    """Sound around a number is left to the filler."""
    around = ["B", "AA", "-", *phones("six milligrams"), "T", "UW"]
    assert decoder().best(spell(around)) == ("six", "milligrams")


def test_a_unit_of_two_words(spell: Spell) -> None:
    """A unit of two words."""
    found = decoder("milligrams", "net").best(spell(phones("six milligrams net")))
    assert found == ("six", "milligrams", "net")


def test_a_sixth_digit_is_not_taken_in(spell: Spell) -> None:
    """A sixth digit is not taken in."""
    found = decoder().best(spell(phones("one six one six one six milligrams")))
    assert len(found) == 6


def test_silence_is_too_short(spell: Spell) -> None:
    """Silence is too short."""
    assert decoder().best(spell([])[:0]) == ()
    assert decoder().best(spell([], lead=1)) == ()


def test_the_runner_up_is_another_number(spell: Spell) -> None:
    """The runner up is another number."""
    digits = decoder()
    blurred = spell(["S", "EH", "V", "AH", "N", "-", *phones("milligrams")], sure=0.8)
    words = digits.best(blurred)
    rows = PhraseSet(digits.variants(words))
    scores = dict(zip(rows.names, rows.scores(ratios(blurred)), strict=True))
    assert words == ("seven", "milligrams")
    assert max(scores, key=lambda name: scores[name]) == "seven milligrams"


def test_variants_keep_to_the_bounds_and_change_the_value() -> None:
    """Variants keep to the bounds and change the value."""
    found = decoder().variants(("nine", "decimal", "one", "milligrams"))
    assert "nine decimal one milligrams" in found
    assert "niner decimal one milligrams" not in found
    assert "nine one milligrams" in found
    assert not any(name.startswith("decimal") or " decimal milligrams" in name for name in found)
    assert not any(name.count("decimal") > 1 for name in found)
    assert len(found["nine decimal one milligrams"]) == 2


def test_a_number_needs_digits_and_a_unit() -> None:
    """A number needs digits and a unit."""
    with pytest.raises(ValueError, match="digits and a unit"):
        DigitDecoder(DigitWords(VALUES, SPOKEN, ()))
