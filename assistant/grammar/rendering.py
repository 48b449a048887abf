"""Meanings to phrases and back, prompts to sentences."""

from collections.abc import Iterable, Iterator, Mapping
from typing import TypeVar

from assistant.errors import GrammarError
from assistant.grammar.language import Language
from assistant.grammar.numbers import read_number, spell_code, spell_number
from assistant.procedure import queries
from assistant.procedure.effects import Say, Slot
from assistant.procedure.enums import POSITIONAL, VIAL, Intent, Prompt
from assistant.procedure.events import Meaning
from assistant.procedure.model import Session

Key = TypeVar("Key", Intent, Prompt)

NUMBER = "<number>"
"""Stands in a phrase for a bounded run of spoken digits; the engines know it."""

CODES = ("location", "code")
"""Slots spelt letter by letter."""

LISTS = ("vials",)
"""Slots that hold whole numbers with spaces between."""


def phrase(language: Language, meaning: Meaning) -> str:
    """The phrase for `meaning`, in lower case."""
    number = spell_number(language, meaning.number) if meaning.number else NUMBER
    vial = spell_number(language, str(meaning.vial)) if meaning.vial is not None else ""
    words = _known(language.phrases, meaning.intent).format(
        position=_name(language, meaning.position or ""),
        vial=vial,
        call=meaning.call or "",
        number=number,
    )
    return " ".join(words.lower().split())


def universe(language: Language, session: Session) -> dict[str, Meaning]:
    """Every phrase that can be meant in this session, legal now or not.

    Phrases that name a vial are limited to those of the insertion in hand: thirty phrases
    that differ by a digit only would be very hard to tell apart.
    """
    return {phrase(language, meaning): meaning for meaning in meanings(session)}


def meanings(session: Session) -> Iterator[Meaning]:
    """Yield everything that can be meant in this session, legal now or not."""
    unused = queries.unused(session.plan)
    for intent in Intent:
        if intent not in unused:
            yield from _objects(session, intent)


def _objects(session: Session, intent: Intent) -> Iterable[Meaning]:
    if intent in POSITIONAL:
        return [Meaning(intent=intent, position=p) for p in session.plan.sampler.positions]
    if intent in VIAL:
        return [Meaning(intent=intent, vial=s.vial) for s in session.here()]
    if intent is Intent.TAKE_OVER:
        people = [p for p in session.plan.people if p.role == "operator"]
        return [Meaning(intent=intent, call=p.call) for p in people]
    return [Meaning(intent=intent)]


def understand(language: Language, known: dict[str, Meaning], text: str) -> Meaning | None:
    """The meaning of exactly these words, digits read; None where they are no phrase."""
    said = " ".join(text.lower().split())
    if said in known:
        return known[said]
    before, _, after = language.phrases[Intent.MASS].lower().partition("{number}")
    if said.startswith(before) and said.endswith(after):
        number = read_number(language, said.removeprefix(before).removesuffix(after).strip())
        if number is not None:
            return Meaning(intent=Intent.MASS, number=number)
    return None


def sentence(language: Language, say: Say, *, spoken: bool) -> str:
    """The words of a prompt.

    Args:
        language: where the words stand.
        say: what is to be said.
        spoken: spell codes and numbers for the ear; otherwise as they are read on a screen.
    """
    slots = {key: _slot(language, key, value, spoken=spoken) for key, value in say.slots.items()}
    if say.meaning is not None:
        slots["phrase"] = _quoted(language, say.meaning)
    if say.options:
        slots["phrases"] = ". ".join(_quoted(language, option) for option in say.options)
    slots.setdefault("phrase", "")
    slots.setdefault("phrases", "")
    text = _known(language.prompts, say.prompt).format(**slots)
    return text[:1].upper() + text[1:]


def _known(table: Mapping[Key, str], key: Key) -> str:
    """The words for a key; a record may hold a grammar from before there was such a key."""
    if key not in table:
        raise GrammarError(
            f"The grammar has no text for '{key}'; it was written for an older version."
        )
    return table[key]


def _quoted(language: Language, meaning: Meaning) -> str:
    """A phrase inside a prompt; where it leaves a number open, that is put in words."""
    return phrase(language, meaning).replace(NUMBER, _name(language, "number"))


def _slot(language: Language, key: str, value: Slot, *, spoken: bool) -> str:
    if isinstance(value, int):
        return spell_number(language, str(value)) if spoken and value > 9 else str(value)  # noqa: PLR2004 - one digit
    if key in LISTS:
        each = (spell_number(language, one) if spoken else one for one in value.split())
        return ", ".join(each)
    if key in CODES:
        return spell_code(language, value) if spoken else value
    return _name(language, value)


def _name(language: Language, key: str) -> str:
    return language.names.get(key, key)
