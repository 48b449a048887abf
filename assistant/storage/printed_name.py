"""Printed names of signers: one spelling each, and none that passes for another."""

import unicodedata

from assistant.errors import InputError

__all__ = ["printed_name"]

_LONGEST = 60  # characters; file systems take 255 bytes
_ALLOWED = " .'-"
_NEUTRAL = frozenset({"COMMON", "INHERITED"})
_TOGETHER = ({"HAN", "HIRAGANA", "KATAKANA"}, {"HAN", "BOPOMOFO"}, {"HAN", "HANGUL"})
"""Scripts that one name mixes as a matter of course (Unicode UTS 39, section 5.2)."""


def printed_name(name: str) -> str:
    """Return a name in its one spelling: NFC, single spaces; it can also name a file.

    Raises:
        InputError: it holds a control, invisible or other character that a name does not need, or
            letters of two scripts, of which one may look like the other.
    """
    tidy = unicodedata.normalize("NFC", " ".join(name.split()))
    sound = all(
        c.isalpha() or c.isdigit() or unicodedata.combining(c) or c in _ALLOWED for c in tidy
    )
    if not tidy or not sound or len(tidy) > _LONGEST or not tidy[0].isalpha() or tidy[-1] == ".":
        raise InputError(
            f"{name!r} cannot be a printed name: use up to {_LONGEST} letters, digits, spaces, "
            "full stops, hyphens and apostrophes, beginning with a letter."
        )
    scripts = _scripts(tidy)
    if len(scripts) > 1 and not any(scripts <= each for each in _TOGETHER):
        mixed = " and ".join(script.capitalize() for script in sorted(scripts))
        raise InputError(
            f"{name!r} mixes letters of {mixed}, which may look alike: write it in one script."
        )
    return tidy


def _scripts(text: str) -> set[str]:
    """Return the scripts of the letters, in capitals as Unicode names them."""
    from confusable_homoglyphs.categories import (  # noqa: PLC0415 - reads tables of Unicode
        unique_aliases,
    )

    return set(unique_aliases(text)) - _NEUTRAL
