"""Re-recognises every recorded voice confirmation with this version of the program.

Two engines that share only the dictionary process each clip: the phone model and, independently,
the plain grammar engine, which reports only the closest phrase.
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
    """Storage of a record's utterances."""

    def clip(self, name: str) -> bytes:
        """Return the samples of one utterance."""
        ...


class ClipRecogniser(Protocol):
    """Recognises a recorded utterance again."""

    @property
    def name(self) -> str:
        """Engine, version and model."""
        ...

    def rehear(self, pcm: bytes, phrases: Phrases) -> str | None:
        """Return the closest phrase, "" for none, None if the engine cannot judge.

        Args:
            pcm: sound of the utterance, mono 16-bit at `SAMPLE_RATE`.
            phrases: the legal phrases at that moment.
        """
        ...


class PhonesRecheck:
    """The phone model; also recognises numbers."""

    def __init__(self, language: Language) -> None:
        """Load the model; errors as for `open_phones`."""
        self._engine = open_phones(language)

    @property
    def name(self) -> str:
        """Model and calibration."""
        return self._engine.name

    def rehear(self, pcm: bytes, phrases: Phrases) -> str | None:
        """Return the closest phrase."""
        self._engine.prepare(phrases.union, phrases.legal, phrases.expected)
        return self._engine.judge(Utterance(pcm=pcm)).text


class GrammarRecheck:
    """The plain grammar engine; does not recognise numbers."""

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
        """Return the closest phrase, None while a number is legal."""
        if any(NUMBER in phrase for phrase in phrases.legal):
            return None
        self._recogniser.prepare([each for each in phrases.union if NUMBER not in each])
        return self._recogniser.hear(Utterance(pcm=pcm)).text


@dataclass(frozen=True, slots=True)
class Rechecked:
    """One engine's result for a clip."""

    engine: str
    text: str
    """The closest phrase, "" for none."""


@dataclass(frozen=True, slots=True)
class Confirmation:
    """One recorded voice confirmation, and the results for its clip."""

    entry: Entry
    heard: Heard
    again: tuple[Rechecked, ...]
    """One result per engine that can judge it; none if no clip was kept."""

    @property
    def otherwise(self) -> tuple[Rechecked, ...]:
        """Results that differ from the record."""
        return tuple(each for each in self.again if each.text != self.heard.text)


def both_engines(language: Language) -> tuple[ClipRecogniser, ...]:
    """Return the engines used for re-recognition.

    Raises:
        DeviceError: an engine or its model is missing; says what to do.
        InputError: the record's grammar is not English.
    """
    return PhonesRecheck(language), GrammarRecheck(language)


def rehear(
    told: Iterable[FoldedEntry],
    first: Session,
    language: Language,
    clips: Clips,
    engines: Sequence[ClipRecogniser],
) -> Iterator[Confirmation]:
    """Yield every phrase that was accepted or asked back by voice.

    Args:
        told: the verified entries of the record.
        first: the session before the first entry.
        language: the record's grammar.
        clips: clips of the same record.
        engines: recognise the clips.
    """
    hearing, before = UtteranceInterpreter(language), first
    for each in told:
        event = each.event
        if isinstance(event, Heard) and event.source == "voice" and event.decision != "refuse":
            phrases = hearing.attune(before)
            pcm = clips.clip(event.clip) if event.clip else b""
            heard = [(engine, engine.rehear(pcm, phrases)) for engine in engines if pcm]
            again = tuple(
                Rechecked(engine.name, text) for engine, text in heard if text is not None
            )
            yield Confirmation(each.entry, event, again)
        before = each.outcome.session
