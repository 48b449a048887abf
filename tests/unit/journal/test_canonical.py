"""The canonical form is RFC 8785, and the quick way to it agrees wherever it is taken."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import JsonValue

from assistant.journal.canonical import canonical, parse_canonical, spell_like

TEXT = st.text(st.characters(exclude_categories=["Cs"]))
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | TEXT,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4),
    max_leaves=12,
)


def test_keys_are_sorted_by_utf16_units() -> None:
    """RFC 8785 section 3.2.3 (from memory) prints this order; code points have another."""
    given_keys = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    in_order = ["\r", "1", "\u0080", "\u00f6", "\u20ac", "\U0001f600", "\ufb33"]
    assert list(json.loads(canonical(dict.fromkeys(given_keys)))) == in_order
    assert sorted(given_keys) != in_order


def test_strings_are_escaped_as_little_as_possible() -> None:
    """RFC 8785 section 3.2.2.2 (from memory): short escapes, else lower-case digits, else raw."""
    assert canonical('\u20ac$\u000f\nA\'B"\\\\"/\x7f') == (
        '"\u20ac$\\u000f\\nA\'B\\"\\\\\\\\\\"/\x7f"'.encode()
    )


def test_literals_integers_and_nesting() -> None:
    """Everything else has one spelling without spaces."""
    assert canonical({"b": [None, True, False], "a": -(2**53) + 1, "": {}}) == (
        b'{"":{},"a":-9007199254740991,"b":[null,true,false]}'
    )


@pytest.mark.parametrize("value", [1.0, [0.5], {"a": {"b": float("nan")}}, (1,), b"x", {1: 2}])
def test_floats_and_foreign_types_are_refused(value: JsonValue) -> None:
    """Quantities go on record as the digits that were read; JSON has no tuple, bytes or int key."""
    with pytest.raises(TypeError, match="record"):
        canonical(value)


@pytest.mark.parametrize("number", [2**53, -(2**53)])
def test_integers_that_others_would_round_are_refused(number: int) -> None:
    """2**53 and 2**53 + 1 are one number to a reader that uses doubles."""
    with pytest.raises(ValueError, match="2\\*\\*53"):
        canonical({"n": number})


def test_half_a_surrogate_pair_is_refused() -> None:
    """It has no UTF-8 form."""
    with pytest.raises(ValueError, match="text has no place"):
        canonical("\ud83d")


@pytest.mark.parametrize(
    "text",
    [
        "1.0",
        "[1e3]",
        "9007199254740992",
        "[-9007199254740992]",
        "9" * 5000,
        "NaN",
        '{"a":Infinity}',
        "{",
        "",
        "\ufeff1",
    ],
)
def test_what_is_not_ours_is_not_parsed(text: str) -> None:
    """Floats, NaN and long integers are refused while parsing, as is what is no JSON."""
    with pytest.raises(ValueError, match=r"."):
        parse_canonical(text)


@given(VALUES)
def test_quick_spelling_agrees_with_the_reference(value: JsonValue) -> None:
    """Whatever way the text itself suggests, it leads to the same text."""
    text = canonical(value).decode()
    assert spell_like(text)(value) == text
    assert parse_canonical(text) == value


@given(VALUES)
def test_quick_spelling_accepts_no_other_text(value: JsonValue) -> None:
    """Text spelled with escapes is never taken for canonical unless it is."""
    text = json.dumps(value, ensure_ascii=True, sort_keys=True, separators=(",", ":"))
    assert (spell_like(text)(value) == text) is (canonical(value).decode() == text)


@pytest.mark.parametrize(
    ("text", "quick"),
    [('{"a":1}', True), ('{"a":"\u00fc\uffee"}', True), ('{"\U0001f600":1}', False)],
)
def test_the_slow_way_is_taken_where_the_two_differ(text: str, quick: bool) -> None:  # noqa: FBT001 - a table
    """Characters beyond the basic plane go to the reference implementation."""
    assert (spell_like(text) is spell_like("1")) is quick
