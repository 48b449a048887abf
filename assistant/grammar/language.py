"""A grammar file as a frozen model, checked for completeness when it is read.

Reads text that somebody else fetched; touches no file.
"""

import string
import tomllib
from collections.abc import Iterable, Mapping
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from assistant.errors import GrammarError
from assistant.procedure.enums import POSITIONAL, VIAL, Intent, Prompt
from assistant.procedure.renamed import BY_GRAMMAR_TABLE

PHRASE_SLOTS = {
    **{intent: {"position"} for intent in POSITIONAL},
    **{intent: {"vial"} for intent in VIAL},
    Intent.TAKE_OVER: {"call"},
    Intent.MASS: {"number"},
}
"""The slots a phrase must have for its object."""

PROMPT_SLOTS: dict[Prompt, set[str]] = {
    Prompt.SEAT: {"location", "count"},
    Prompt.POSITION_ENTRY: {"manway", "clock", "out"},
    Prompt.POSITION_MIDDLE: {"manway"},
    Prompt.POSITION_TILT: {"tilt", "clock"},
    Prompt.ENTER: {"depth"},
    Prompt.OPEN: {"position"},
    Prompt.FILL: {"seconds"},
    Prompt.RAISE: {"position"},
    Prompt.SHAKE_OFF: {"seconds"},
    Prompt.EMPTY_DIE: {"position", "vial"},
    Prompt.EMPTY_PORT_DIE: {"position", "port", "vial"},
    Prompt.COUNT: {"count"},
    Prompt.DISPOSE: {"number", "kind"},
    Prompt.SIGN: {"taken", "planned"},
    Prompt.STOPPED: {"taken", "planned"},
    Prompt.NOTED: {"number"},
    Prompt.ASK_BACK: {"phrase"},
    Prompt.READ_BACK: {"phrase"},
    Prompt.ASK_WITNESS: {"phrase"},
    Prompt.CHECK_IN_POWDER: {"location", "position", "ports"},
    Prompt.CHECK_OUTSIDE: {"step"},
    Prompt.CORRECTED: {"phrase"},
    Prompt.WHERE: {"location", "position", "step", "taken", "planned"},
    Prompt.WHERE_OUTSIDE: {"step", "taken", "planned"},
    Prompt.CHOICES: {"phrases"},
    Prompt.NOT_NOW: {"phrase"},
    Prompt.SAY_THIS: {"phrase"},
    Prompt.WRONG_POSITION: {"heard", "expected"},
    Prompt.WRONG_VIAL: {"heard", "expected"},
    Prompt.TAKEN_OVER: {"name"},
    Prompt.HEAD: {"spelt"},
    Prompt.RAISE_AND_OPEN: {"position"},
    Prompt.EMPTY_ALL: {"vials"},
    Prompt.READ_BACK_VIALS: {"vials"},
    Prompt.ASK_WITNESS_VIALS: {"vials"},
    Prompt.SEAT_BRIEF: {"location", "count"},
    Prompt.ENTER_BRIEF: {"depth"},
    Prompt.OPEN_BRIEF: {"position"},
    Prompt.RAISE_AND_OPEN_BRIEF: {"position"},
    Prompt.SHAKE_OFF_BRIEF: {"seconds"},
    Prompt.EMPTY_ALL_BRIEF: {"vials"},
}
"""The slots a prompt may have; prompts not named here have none."""

Words = Annotated[str, Field(min_length=1, max_length=120)]


class SoundCheckWords(BaseModel):
    """What is said during a sound check, before there is a session."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    quiet: Words
    """Asks for silence, so that the room can be measured."""
    repeat: Words
    """Asks for one phrase; leaves {phrase} open."""
    passed: Words
    too_loud: Words
    """Says that the room is too loud."""
    wrong_microphone: Words | None = None
    """Says that the microphone is dead, or far from the operator."""
    nothing_heard: Words | None = None
    """Says that no phrase was heard."""
    spoken_over: Words | None = None
    """Says that somebody spoke while the room was measured."""
    not_understood: Words | None = None
    """Says that too few phrases were understood."""
    go_on: Words | None = None
    """Says that the check begins again, and how to start all the same; leaves {phrase} open."""
    override: Words
    """The phrase by which the operator starts all the same."""


class Language(BaseModel):
    """One grammar file."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    language: Annotated[str, Field(pattern=r"^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$")]
    phrases: dict[Intent, Words]
    prompts: dict[Prompt, Words]
    names: dict[str, Words]
    digits: dict[str, Annotated[tuple[Words, ...], Field(min_length=1)]]
    letters: dict[str, Words]
    sound_check: SoundCheckWords = Field(alias="sound-check")
    near: dict[Intent, tuple[Words, ...]] = {}
    """Other wordings of a phrase, without slots: they are answered with the phrase, and nothing is
    recorded."""
    pronunciations: dict[str, tuple[Words, ...]] = {}
    """Word to its pronunciations, ARPAbet without stress marks."""


def parse_grammar(raw: bytes, name: str) -> Language:
    """Read a grammar for use; nothing may be missing.

    Args:
        raw: the bytes of the file (TOML, UTF-8).
        name: what to call the file in an error.

    Raises:
        GrammarError: not TOML, a phrase or prompt missing, unknown, or with the wrong slots.
    """
    language = recall_grammar(raw, name)
    _complete(language, name)
    return language


def recall_grammar(raw: bytes, name: str) -> Language:
    """Read a recorded grammar; entries added later may be missing.

    Args:
        raw: as for `parse_grammar`.
        name: as for `parse_grammar`.

    Raises:
        GrammarError: not TOML, a phrase or prompt unknown, or with the wrong slots.
    """
    try:
        table = tomllib.loads(raw.decode("utf-8-sig").replace("\r\n", "\n"))
        present = {key: _present(key, entries) for key, entries in table.items()}
        language = Language.model_validate(present)
    except UnicodeDecodeError as fault:
        raise GrammarError(f"{name}: not UTF-8 text at byte {fault.start}.") from None
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise GrammarError(f"{name}: '{where}': {first['msg'].lower()}.") from None
    except (ValueError, RecursionError) as fault:
        # ValueError covers tomllib's own error and integers of thousands of digits.
        raise GrammarError(f"{name}: not valid TOML: {fault}.") from None
    _sound(language, name)
    return language


def _present(table: str, entries: object) -> object:
    """Return a table of a grammar with the present names of its keys."""
    renamed = BY_GRAMMAR_TABLE.get(table)
    if renamed is None or not isinstance(entries, dict):
        return entries
    return {renamed.get(key, key): entry for key, entry in entries.items()}


def _complete(language: Language, name: str) -> None:
    _lacks_none(name, "phrases", list(Intent), language.phrases)
    _lacks_none(name, "prompts", list(Prompt), language.prompts)
    check = language.sound_check.model_dump(exclude_none=True)
    _lacks_none(name, "sound-check", SoundCheckWords.model_fields, check)


def _lacks_none(name: str, table: str, wanted: Iterable[str], found: Mapping[Any, object]) -> None:
    missing = [str(key) for key in wanted if key not in found]
    if missing:
        raise GrammarError(f"{name}: [{table}] lacks '{missing[0]}'; add it.")


def _sound(language: Language, name: str) -> None:
    """What is there is well formed; the alphabets, which no version adds to, are whole."""
    _lacks_none(name, "digits", "0123456789.", language.digits)
    _lacks_none(name, "letters", string.ascii_uppercase, language.letters)
    for key in ("repeat", "go_on"):
        if (words := getattr(language.sound_check, key)) is not None:
            _slots(f"{name}: [sound-check] {key}", words, {"phrase"})
    for intent, phrase in language.phrases.items():
        _slots(f"{name}: [phrases] {intent.value}", phrase, PHRASE_SLOTS.get(intent, set()))
    for prompt, words in language.prompts.items():
        allowed = PROMPT_SLOTS.get(prompt, set())
        _slots(f"{name}: [prompts] {prompt.value}", words, allowed)
    _digits(language, name)
    _near(language, name)
    spoken = [phrase.casefold() for phrase in language.phrases.values()]
    twice = next((phrase for phrase in spoken if spoken.count(phrase) > 1), None)
    if twice is not None:
        raise GrammarError(f"{name}: the phrase '{twice}' stands for two meanings; change one.")


def _near(language: Language, name: str) -> None:
    """Another wording belongs to one phrase, and is none itself."""
    known = {phrase.casefold() for phrase in language.phrases.values()}
    for intent, wordings in language.near.items():
        for words in wordings:
            _slots(f"{name}: [near] {intent.value}", words, set())
            if words.casefold() in known:
                raise GrammarError(f"{name}: [near] '{words}' has a meaning already; take it out.")
            known.add(words.casefold())


def _digits(language: Language, name: str) -> None:
    """Each digit is one lower-case word, and no word stands for two."""
    known: dict[str, str] = {}
    for key, words in language.digits.items():
        for word in words:
            if word != word.lower() or len(word.split()) != 1:
                raise GrammarError(
                    f"{name}: [digits] '{key}': '{word}' must be one word in lower case."
                )
            if word in known:
                both = f"{known[word]} and {key}"
                raise GrammarError(f"{name}: [digits] '{word}' stands for both {both}; change one.")
            known[word] = key


def _slots(where: str, text: str, wanted: set[str]) -> None:
    try:
        parts = [part for part in string.Formatter().parse(text) if part[1] is not None]
    except ValueError as fault:
        raise GrammarError(f"{where}: {fault}.") from None
    if any(spec or conversion for _, _, spec, conversion in parts):
        raise GrammarError(f"{where}: a slot is a name in braces and nothing else.")
    found = {slot for _, slot, _, _ in parts}
    if found != wanted:
        need = ", ".join(sorted(wanted)) or "none"
        have = ", ".join(sorted(map(str, found))) or "none"
        raise GrammarError(f"{where}: has the slots {have}; it needs {need}.")
