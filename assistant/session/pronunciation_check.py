"""Whether the phrases of a grammar can be told apart by ear, asked before a session begins."""

from collections.abc import Callable, Sequence
from functools import cache

from assistant.grammar.language import Language
from assistant.grammar.lint import refuse
from assistant.plan.model import Plan


def dictionary(language: Language) -> Callable[[str], Sequence[str]]:
    """Return what looks a word up in the embedded dictionary and in the grammar's own.

    Raises:
        DeviceError: the embedded recogniser is missing.
        GrammarError: a pronunciation of the grammar uses a sound the model does not have.
    """
    from assistant.speech.pocketsphinx_engine import (  # noqa: PLC0415 - loads a library
        known_ways,
        open_decoder,
    )

    decoder = open_decoder(language.pronunciations)
    return cache(lambda word: tuple(known_ways(decoder, word)))


def refuse_alike(language: Language, plan: Plan) -> None:
    """Refuse a grammar whose phrases cannot be told apart in the states of a plan.

    Only English can be judged: the embedded dictionary knows no other language.

    Raises:
        DeviceError: the embedded recogniser is missing.
        GrammarError: names the first word, phrase or pair at fault.
    """
    if language.language.split("-")[0] == "en":
        refuse(language, plan, dictionary(language))
