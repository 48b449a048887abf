"""Every voice confirmation on record, heard again by this version of the program.

Two engines that share nothing but the dictionary hear each clip: the phone model, and as an
independent second the plain grammar engine, which says which phrase comes nearest and nothing else.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

from assistant.conformance import FoldedEntry
from assistant.grammar.language import Language
from assistant.grammar.rendering import NUMBER
from assistant.journal.entry import Entry
from assistant.ports import Utterance
from assistant.procedure.events import Heard
from assistant.procedure.model import Session
from assistant.session.engine_factory import open_phones
from assistant.session.utterance_to_event import Phrases, UtteranceInterpreter
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser


class Clips(Protocol):
    """Where the utterances of a record are kept."""

    def clip(self, name: str) -> bytes:
        """Return the samples of one."""
        ...


class Rehears(Protocol):
    """Hears an utterance again."""

    @property
    def name(self) -> str:
        """Engine, version and model."""
        ...

    def rehear(self, pcm: bytes, phrases: Phrases) -> str | None:
        """Return the phrase that comes nearest, "" for none, None where it cannot judge.

        Args:
            pcm: of the utterance, mono 16-bit at `SAMPLE_RATE`.
            phrases: what could be said at that moment.
        """
        ...


class PhonesAgain:
    """The phone model; numbers too."""

    def __init__(self, language: Language) -> None:
        """Load the model; errors as for `open_phones`."""
        self._engine = open_phones(language)

    @property
    def name(self) -> str:
        """Model and calibration."""
        return self._engine.name

    def rehear(self, pcm: bytes, phrases: Phrases) -> str | None:
        """Return the phrase that comes nearest."""
        self._engine.prepare(phrases.union, phrases.legal, phrases.expected)
        return self._engine.judge(Utterance(pcm=pcm)).text


class GrammarAgain:
    """The plain grammar engine; no numbers."""

    def __init__(self, language: Language) -> None:
        """Load the engine.

        Raises:
            DeviceError: the engine is missing.
        """
        self._recogniser = PocketSphinxRecogniser(language.pronunciations)

    @property
    def name(self) -> str:
        """Engine, version and model."""
        return self._recogniser.name

    def rehear(self, pcm: bytes, phrases: Phrases) -> str | None:
        """Return the phrase that comes nearest, None while a number may be said."""
        if any(NUMBER in phrase for phrase in phrases.legal):
            return None
        self._recogniser.prepare([each for each in phrases.union if NUMBER not in each])
        return self._recogniser.hear(Utterance(pcm=pcm)).text


@dataclass(frozen=True, slots=True)
class Reheard:
    """What one engine makes of a clip."""

    engine: str
    text: str
    """The phrase that comes nearest, "" for none."""


@dataclass(frozen=True, slots=True)
class Confirmation:
    """One voice confirmation on record, and what is heard in its clip."""

    entry: Entry
    heard: Heard
    again: tuple[Reheard, ...]
    """One for each engine that can judge it; none where no clip was kept."""

    @property
    def otherwise(self) -> tuple[Reheard, ...]:
        """Those that hear something else than what is on record."""
        return tuple(each for each in self.again if each.text != self.heard.text)


def both_engines(language: Language) -> tuple[Rehears, ...]:
    """Return the engines that hear again.

    Raises:
        DeviceError: an engine or its model is missing; says what to do.
        InputError: the record's grammar is not English.
    """
    return PhonesAgain(language), GrammarAgain(language)


def rehear(
    told: Iterable[FoldedEntry],
    first: Session,
    language: Language,
    clips: Clips,
    engines: Sequence[Rehears],
) -> Iterator[Confirmation]:
    """Yield every phrase that was taken or asked back by voice.

    Args:
        told: the record's entries, proved.
        first: the session before the first of them.
        language: the record's grammar.
        clips: of the same record.
        engines: hear again.
    """
    hearing, before = UtteranceInterpreter(language), first
    for each in told:
        event = each.event
        if isinstance(event, Heard) and event.source == "voice" and event.decision != "refuse":
            phrases = hearing.attune(before)
            pcm = clips.clip(event.clip) if event.clip else b""
            heard = [(engine, engine.rehear(pcm, phrases)) for engine in engines if pcm]
            again = tuple(Reheard(engine.name, text) for engine, text in heard if text is not None)
            yield Confirmation(each.entry, event, again)
        before = each.outcome.session
