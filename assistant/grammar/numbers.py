"""Numbers digit by digit, as ICAO Annex 10 Vol II has them spoken; no teens, no tens."""

from assistant.grammar.language import Language

MAX_DIGITS = 7
"""Digits in one number, the decimal sign not counted."""


def read_number(language: Language, words: str) -> str | None:
    """Read spoken digits.

    Args:
        language: which words stand for which digit.
        words: such as "one eight two decimal four".

    Returns:
        a decimal string such as "182.4", without needless leading zeros; None where a word is no
        digit, there are none or more than `MAX_DIGITS`, or the decimal sign stands first, last or
        twice.
    """
    sign = {word: key for key, names in language.digits.items() for word in names}
    keys = [sign.get(word, "") for word in words.split()]
    if not keys or "" in keys or keys.count(".") > 1 or keys[0] == "." or keys[-1] == ".":
        return None
    if sum(key != "." for key in keys) > MAX_DIGITS:
        return None
    whole, dot, part = "".join(keys).partition(".")
    return (whole.lstrip("0") or "0") + dot + part


def spell_number(language: Language, number: str) -> str:
    """Say a decimal string digit by digit: "182.4" is "one eight two decimal four"."""
    return " ".join(language.digits[key][0] for key in number)


def spell_code(language: Language, code: str) -> str:
    """Spell a code by the ICAO alphabet: "C1" is "charlie one"; other signs are left out."""
    named = {**language.letters, **{k: v[0] for k, v in language.digits.items() if k != "."}}
    return " ".join(named[sign] for sign in code.upper() if sign in named)
