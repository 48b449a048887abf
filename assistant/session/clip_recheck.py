"""Every voice confirmation on record, heard again by the second engine alone.

The engine scores every phrase that could have been understood: how much likelier the words are with
this sound than with silence. Without the silence, everyday words would win over the words of the
trade (34 of 40 rehearsed confirmations alike, 39 of 40 with it).
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Protocol

import numpy as np

from assistant.conformance import Told
from assistant.errors import DeviceError
from assistant.grammar.language import Language
from assistant.grammar.rendering import NUMBER, universe
from assistant.journal.entry import Entry
from assistant.procedure.events import Heard
from assistant.procedure.model import Session
from assistant.session.engine_factory import second_folder
from assistant.speech.utterance_verification import SecondOpinion
from assistant.speech.utterance_verification.trimming import dithered, samples_of, trimmed

_FRAME: Final = 160
_LONGEST_FRAMES: Final = 800
_SILENCE_FRAMES: Final = 100


@dataclass(frozen=True, slots=True)
class Reheard:
    """What the second engine makes of a clip."""

    best: str
    """The phrase it finds likeliest."""
    ahead: float
    """How far that is ahead of the phrase on record, in natural logarithms of likelihood; 0 where
    both are the same."""


class SecondHearing(SecondOpinion):
    """The second engine as a recogniser of its own."""

    def __init__(self, folder: Path) -> None:
        """Load the model; arguments and errors as for `SecondOpinion`."""
        super().__init__(folder)
        self._usual: dict[str, float] = {}
        self._silence = self._encode(dithered(np.zeros(_SILENCE_FRAMES * _FRAME, dtype=np.int16)))

    def rehear(self, pcm: bytes, recorded: str, phrases: Sequence[str]) -> Reheard:
        """Hear one utterance again.

        Args:
            pcm: of the utterance, mono 16-bit at `SAMPLE_RATE`.
            recorded: the phrase that was understood.
            phrases: all that could have been understood; `recorded` need not be among them.
        """
        samples = dithered(trimmed(samples_of(pcm)))
        encoded = self._encode(samples)
        frames = min(samples.size // _FRAME + 1, _LONGEST_FRAMES)
        scores = {
            phrase: self._likelihood(encoded, phrase, frames) - self._in_silence(phrase)
            for phrase in dict.fromkeys((recorded, *phrases))
        }
        best = max(scores, key=scores.__getitem__)
        return Reheard(best, scores[best] - scores[recorded])

    def _likelihood(self, encoded: Any, phrase: str, frames: int) -> float:  # noqa: ANN401 - the engine has no types
        return sum(self._forced(encoded, self._text_tokens(phrase), frames))

    def _in_silence(self, phrase: str) -> float:
        """Return how likely the engine finds a phrase anyhow."""
        kept = self._usual.get(phrase)
        if kept is None:
            kept = self._usual[phrase] = self._likelihood(self._silence, phrase, _SILENCE_FRAMES)
        return kept


class Clips(Protocol):
    """Where the utterances of a record are kept."""

    def clip(self, name: str) -> bytes:
        """Return the samples of one."""
        ...


class Rehears(Protocol):
    """Hears an utterance again."""

    def rehear(self, pcm: bytes, recorded: str, phrases: list[str]) -> Reheard:
        """Return what it makes of it."""
        ...


@dataclass(frozen=True, slots=True)
class Confirmation:
    """One voice confirmation on record, and what the second engine hears in its clip."""

    entry: Entry
    heard: Heard
    again: Reheard | None
    """None for a spoken number, which was read back, and where no clip was kept."""

    @property
    def agreed(self) -> bool:
        """Whether both engines hear the same."""
        return self.again is not None and self.again.best == self.heard.text


def open_second_hearing(named: str = "") -> SecondHearing:
    """Load the second engine; whoever asks for it may leave the model to be found.

    Args:
        named: as for `second_folder`; where nothing is named, the packaged model is taken.

    Raises:
        DeviceError: its packages or its model are missing; says what to do.
    """
    from assistant.speech.utterance_verification import default_folder  # noqa: PLC0415 - loads a library

    folder: Path | None = second_folder(named) or default_folder()
    if folder is None:
        raise DeviceError(
            "Nothing was heard again, for there is no model: install the extra "
            '"second-opinion" and name the folder of a converted Whisper model with '
            "--second-opinion."
        )
    return SecondHearing(folder)


def rehear(
    told: Iterable[Told], first: Session, language: Language, clips: Clips, engine: Rehears
) -> Iterator[Confirmation]:
    """Yield every phrase that was taken or asked back by voice.

    Args:
        told: the record's entries, proved.
        first: the session before the first of them.
        language: the record's grammar.
        clips: of the same record.
        engine: hears again.
    """
    before = first
    for each in told:
        event = each.event
        if isinstance(event, Heard) and event.source == "voice" and event.decision != "refuse":
            known = universe(language, before)
            again = None
            if event.clip and event.text in known:
                phrases = [phrase for phrase in known if NUMBER not in phrase]
                again = engine.rehear(clips.clip(event.clip), event.text, phrases)
            yield Confirmation(each.entry, event, again)
        before = each.outcome.session
