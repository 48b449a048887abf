"""Checks before a session that the phrases of a grammar sound different enough."""

from collections.abc import Callable, Sequence
from functools import cache

from assistant.grammar.language import Language
from assistant.grammar.lint import refuse
from assistant.plan.model import Plan


def dictionary(language: Language) -> Callable[[str], Sequence[str]]:
    """Return a lookup in the pronouncing dictionary and the grammar's own pronunciations.

    Raises:
        DeviceError: the dictionary is missing.
        GrammarError: a pronunciation of the grammar uses a sound the model does not have.
    """
    from assistant.speech.phone_decoder import Pronunciations  # noqa: PLC0415 - loads numpy
    from assistant.speech.pocketsphinx_engine import model_folder  # noqa: PLC0415 - the same

    words = Pronunciations(model_folder(), language.pronunciations)
    return cache(lambda word: tuple(" ".join(way) for way in words.word(word)))


def refuse_alike(language: Language, plan: Plan) -> None:
    """Refuse a grammar whose phrases sound too similar in the states of a plan.

    Only English can be checked: the dictionary has no other language.

    Raises:
        DeviceError: the dictionary is missing.
        GrammarError: names the first word, phrase or pair at fault.
    """
    if language.language.split("-")[0] == "en":
        refuse(language, plan, dictionary(language))
