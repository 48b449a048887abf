"""Numbers digit by digit, and codes letter by letter."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.grammar.numbers import MAX_DIGITS, read_number, spell_code, spell_number
from tests.unit.grammar.conftest import english

ENGLISH = english()


@pytest.mark.parametrize(
    ("words", "number"),
    [
        ("one eight two decimal four", "182.4"),
        ("zero", "0"),
        ("zero zero seven", "7"),
        ("zero point five", "0.5"),
        ("tree fower fife niner", "3459"),
        ("one two three four five six seven", "1234567"),
        ("one decimal two zero", "1.20"),
    ],
)
def test_digits_are_read(words: str, number: str) -> None:
    """The words of ICAO Annex 10 Vol II and the plain ones, without needless zeros in front."""
    assert read_number(ENGLISH, words) == number


@pytest.mark.parametrize(
    "words",
    [
        "",
        "ten",
        "one hundred",
        "decimal four",
        "four decimal",
        "one decimal two decimal three",
        "one two three four five six seven eight",
        "one-two",
    ],
)
def test_what_is_no_number_is_none(words: str) -> None:
    """No teens, no tens, no loose decimal sign, and no more than `MAX_DIGITS`."""
    assert read_number(ENGLISH, words) is None


@given(st.from_regex(r"(0|[1-9][0-9]{0,4})(\.[0-9]{1,2})?", fullmatch=True))
def test_what_is_spelt_is_read_back(number: str) -> None:
    """Saying a number and hearing it gives the number."""
    assert read_number(ENGLISH, spell_number(ENGLISH, number)) == number


@given(st.lists(st.sampled_from([*"0123456789."]), max_size=MAX_DIGITS + 3))
def test_every_row_of_digit_words_is_a_number_or_none(keys: list[str]) -> None:
    """Whatever the loop of digits hears, the result is a decimal string or nothing."""
    found = read_number(ENGLISH, " ".join(ENGLISH.digits[key][0] for key in keys))
    if found is not None:
        assert float(found) == float("".join(keys))
        assert sum(sign.isdigit() for sign in keys) <= MAX_DIGITS


def test_codes_are_spelt_by_the_alphabet() -> None:
    """Other signs are passed over."""
    assert spell_code(ENGLISH, "wb-2") == "whiskey bravo two"
    assert spell_code(ENGLISH, "...") == ""
