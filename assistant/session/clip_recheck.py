"""Every voice confirmation on record, heard again by the second engine."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from assistant.conformance import Told
from assistant.errors import DeviceError
from assistant.grammar.language import Language
from assistant.grammar.rendering import NUMBER, universe
from assistant.journal.entry import Entry
from assistant.procedure.events import Heard
from assistant.procedure.model import Session
from assistant.session.engine_factory import second_folder
from assistant.speech.rehear import Reheard, SecondHearing


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
