"""Choosing the recogniser of a session."""

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from assistant.errors import DeviceError, InputError
from assistant.grammar.language import Language
from assistant.ports import PhraseEngine

if TYPE_CHECKING:
    from assistant.speech.phone_listening import PhonesEngine
    from assistant.speech.vosk_engine import VoskEngine

EngineChoice = Literal["phones", "embedded", "vosk"]


def open_engine(
    language: Language,
    choice: EngineChoice = "phones",
    vosk_folder: Path | None = None,
    voice: Path | None = None,
) -> PhraseEngine:
    """Load the requested recogniser; there is no fallback to another.

    Args:
        language: its words must be pronounceable by the engine.
        choice: "phones" is the phone model that comes with the program, "embedded" the grammar
            engine pocketsphinx, "vosk" Vosk with a model of the user's.
        vosk_folder: first folder to search for the Vosk model.
        voice: voice profile of the speaker, for the phone model only.

    Raises:
        DeviceError: an engine or its model is missing or cannot be used.
        GrammarError: a word cannot be pronounced.
        InputError: the language or the profile does not fit the engine.
    """
    if choice == "phones":
        return open_phones(language, voice)
    if voice is not None:
        raise InputError(
            f"The voice profile {voice} belongs to the phone model: choose --engine phones, or "
            "leave --profile out."
        )
    if choice == "vosk":
        return _vosk(language, vosk_folder)
    _refuse_foreign(language, "The embedded engine")
    from assistant.speech.embedded_engine import EmbeddedEngine  # noqa: PLC0415 - loads a library

    return EmbeddedEngine(language.pronunciations, language.digits)


def open_phones(language: Language, voice: Path | None = None) -> "PhonesEngine":
    """Load the phone model; arguments and errors as for `open_engine`."""
    _refuse_foreign(language, "The phone model")
    from assistant.speech.phone_decoder import (  # noqa: PLC0415 - loads libraries
        Pronunciations,
        load_model,
        read_profile,
    )
    from assistant.speech.phone_listening import PhonesEngine  # noqa: PLC0415 - the same
    from assistant.speech.pocketsphinx_engine import model_folder  # noqa: PLC0415 - the same

    model = load_model()
    words = Pronunciations(model_folder(), language.pronunciations)
    profile = read_profile(voice, model.sha256) if voice is not None else None
    return PhonesEngine(model, words, language.digits, profile)


def _refuse_foreign(language: Language, engine: str) -> None:
    if language.language.split("-")[0] != "en":
        raise InputError(
            f'{engine} hears English only, and the grammar is in "{language.language}": choose '
            "--engine vosk and name the folder of a Vosk model of that language with --model."
        )


def _vosk(language: Language, wanted: Path | None) -> "VoskEngine":
    from assistant.speech.vosk_engine import VoskEngine, find_model  # noqa: PLC0415 - the same

    folder = find_model(language.language, wanted)
    if folder is None:
        raise DeviceError(
            "No Vosk model was found: name a folder with --model, or set "
            "SAMPLING_ASSISTANT_VOSK_MODEL to one."
        )
    return VoskEngine(folder)
