"""One spelling per value: RFC 8785 canonical JSON, without floating-point numbers.

Two programs must be able to compute the same hash from the same entry years apart. RFC 8785 fixes
the order of keys, the escapes and the spaces. Floats are refused altogether: 1 and 1.0 would be one
spelling, and a weight belongs in the record with the digits that were read ("0.250"), as a string.
"""

import json
import re
from collections.abc import Callable

import rfc8785
from pydantic import JsonValue

__all__ = ["canonical", "parse_canonical", "spell_like"]

_plain = json.JSONEncoder(ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode
_LARGEST = 2**53 - 1
_BEYOND_BASIC_PLANE = re.compile(r"[\U00010000-\U0010ffff]")


def canonical(value: JsonValue) -> bytes:
    """Return the RFC 8785 form of a JSON value.

    Args:
        value: None, bool, int within +-(2**53 - 1), str, list or dict with str keys, nested freely.

    Raises:
        TypeError: a float, a key that is not a string, or a type that JSON does not have.
        ValueError: an integer beyond 2**53 - 1, or text holding half a surrogate pair.
    """
    _refuse_floats(value)
    try:
        return rfc8785.dumps(value)
    except rfc8785.IntegerDomainError as error:
        message = "an integer on record must lie within 2**53 - 1: write larger ones as strings"
        raise ValueError(message) from error
    except rfc8785.CanonicalizationError as error:
        raise ValueError(f"this text has no place on record: {error}") from error


def _refuse_floats(value: JsonValue) -> None:
    """Raise TypeError on the first float or foreign type, however deep."""
    if value is None or isinstance(value, str | int):
        return
    if isinstance(value, list):
        for item in value:
            _refuse_floats(item)
    elif isinstance(value, dict):
        for key, item in value.items():
            if not isinstance(key, str):
                raise TypeError(f"a key on record must be a string, not {key!r}")
            _refuse_floats(item)
    else:
        raise TypeError(f"{value!r} has no place on record: write quantities as strings")


def spell_like(text: str) -> Callable[[JsonValue], str]:
    """Return the quickest function that spells parts of `text` exactly as RFC 8785 would.

    The standard library's encoder differs from RFC 8785 in three things only: floats and integers
    beyond 2**53 - 1, which `parse_canonical` refuses, and the order of keys outside the basic plane
    (code points there, UTF-16 units in the RFC). Text without such a character is spelled many
    times faster. Should an escape hide such a character from this look, the text is not canonical
    and either function shows it.
    """
    basic = text.isascii() or _BEYOND_BASIC_PLANE.search(text) is None
    return _plain if basic else _spell_slowly


def _spell_slowly(value: JsonValue) -> str:
    """Spell by the reference implementation."""
    return canonical(value).decode()


def _refuse_number(literal: str) -> None:
    """Refuse 1.5, 1e3, NaN and Infinity while parsing."""
    raise ValueError(f"{literal} is not an integer")


def _integer(literal: str) -> int:
    """Return an integer that every reader of JSON understands alike."""
    number = int(literal)
    if not -_LARGEST <= number <= _LARGEST:
        raise ValueError(f"{literal} is beyond 2**53 - 1")
    return number


_parse = json.JSONDecoder(
    parse_float=_refuse_number, parse_int=_integer, parse_constant=_refuse_number
).decode


def parse_canonical(text: str) -> JsonValue:
    """Parse JSON text as the record allows it; whether it is canonical the caller must compare.

    Raises:
        ValueError: not JSON, a float, NaN, Infinity or an integer beyond 2**53 - 1.
        RecursionError: nested too deeply to be one of our entries.
    """
    value: JsonValue = _parse(text)
    return value
