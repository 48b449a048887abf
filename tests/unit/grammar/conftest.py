"""The shipped grammar, as it is and with pieces replaced, and a dictionary for it."""

from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from assistant.grammar.language import Language, parse_grammar
from assistant.plan import Plan, parse_plan
from assistant.speech.pocketsphinx_engine import known_ways, open_decoder
from tests.dialogue import full

ROOT = Path(__file__).parents[3]
RAW = (ROOT / "grammars" / "en.toml").read_bytes()


@cache
def english() -> Language:
    """Return the shipped English grammar."""
    return parse_grammar(RAW, "en.toml")


def changed(**tables: dict[str, Any]) -> Language:
    """Return the shipped grammar with entries of its tables replaced."""
    plain = english().model_dump(mode="json", by_alias=True)
    for table, entries in tables.items():
        plain[table] = {**plain[table], **entries}
    return Language.model_validate(plain)


@cache
def plan_of(name: str) -> Plan:
    """Return a shipped plan."""
    return parse_plan(full(name), name)


@pytest.fixture(scope="session")
def pronounce() -> Callable[[str], Sequence[str]]:
    """Return what looks a word up in the embedded dictionary and the grammar's own."""
    decoder = open_decoder(english().pronunciations)
    return cache(lambda word: tuple(known_ways(decoder, word)))
