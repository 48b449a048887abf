"""Choosing the engine, and small pieces that every way of running a session needs."""

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Literal, Protocol

from assistant import __version__
from assistant.errors import DeviceError
from assistant.grammar.language import Language
from assistant.grammar.wording import NUMBER
from assistant.ports import Decision, Utterance, Verdict

EngineChoice = Literal["auto", "embedded", "vosk"]

_VOSK_ACCEPTS = 0.9
_VOSK_ASKS = 0.6


class SessionJudge(Protocol):
    """What the conductor needs of an acceptance layer."""

    @property
    def name(self) -> str:
        """Engine and weights, as they go on record."""
        ...

    def prepare(self, union: Sequence[str], legal: Sequence[str]) -> None:
        """Set all phrases that can be heard, and those that are legal now."""
        ...

    def judge(self, utterance: Utterance) -> Verdict:
        """Decide about one utterance."""
        ...


class VoskJudge:
    """Decides by Vosk's own confidence: a weak veto, for languages the embedded engine lacks."""

    def __init__(self, folder: Path) -> None:
        """Load the model.

        Raises:
            DeviceError: the folder holds no usable dynamic-graph model.
        """
        from assistant.speech.vosk_engine import VoskRecogniser  # noqa: PLC0415 - loads a library

        self._recogniser = VoskRecogniser(folder)

    @property
    def name(self) -> str:
        """Engine, version and model, as they go on record."""
        return self._recogniser.name

    def prepare(self, union: Sequence[str], legal: Sequence[str]) -> None:
        """Set the phrases; the number loop is not available with this engine."""
        phrases = dict.fromkeys([*union, *legal])
        self._recogniser.prepare([phrase for phrase in phrases if NUMBER not in phrase])

    def judge(self, utterance: Utterance) -> Verdict:
        """Accept, ask back or refuse by the least sure word."""
        found = self._recogniser.hear(utterance)
        sure = found.confidence if found.confidence is not None else 0.0
        decision: Decision = "refuse"
        if found.text and sure >= _VOSK_ACCEPTS:
            decision = "accept"
        elif found.text and sure >= _VOSK_ASKS:
            decision = "ask"
        reason = {"accept": "", "ask": "unclear", "refuse": "no-phrase"}[decision]
        scores = {"confidence": f"{sure:.4f}"}
        return Verdict(decision, found.text, reason, utterance, self.name, scores)


def fingerprint(data: bytes) -> str:
    """SHA-256 of the exact bytes, in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def software() -> str:
    """Name and version, as they go on record."""
    return f"sampling-assistant {__version__}"


def open_judge(
    language: Language, choice: EngineChoice = "auto", vosk_folder: Path | None = None
) -> SessionJudge:
    """Load the recogniser with its acceptance layer.

    Args:
        language: its words must be pronounceable by the engine.
        choice: "auto" takes Vosk where a model is configured or found, else the embedded engine.
        vosk_folder: where to look for the Vosk model first.

    Raises:
        DeviceError: the engine or its model is missing or cannot be used.
        GrammarError: a word cannot be pronounced.
    """
    if choice != "embedded":
        from assistant.speech.vosk_engine import find_model  # noqa: PLC0415 - loads a library

        folder = find_model(language.language, vosk_folder)
        if folder is not None:
            return VoskJudge(folder)
        if choice == "vosk":
            raise DeviceError(
                "No Vosk model was found: name a folder with --model, or set "
                "SAMPLING_ASSISTANT_VOSK_MODEL to one."
            )
    from assistant.speech.numeric import NumberAware  # noqa: PLC0415 - loads a library

    return NumberAware(language.pronunciations, language.digits)
