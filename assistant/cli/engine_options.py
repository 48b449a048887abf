"""The recogniser that the options of a command ask for."""

from dataclasses import dataclass
from pathlib import Path

from assistant.grammar import Language
from assistant.ports import PhraseEngine
from assistant.session.engine_factory import EngineChoice, open_engine


@dataclass(frozen=True, slots=True, kw_only=True)
class EngineOptions:
    """Options of the commands that recognise speech."""

    engine: EngineChoice
    model: Path | None
    profile: str | None
    profiles: Path | None


def chosen_engine(options: EngineOptions, language: Language) -> tuple[PhraseEngine, str]:
    """Open it; also return the SHA-256 of the voice profile it listens with, "" without one.

    Raises:
        DeviceError: an engine or its model is missing or cannot be used.
        GrammarError: a word cannot be pronounced.
        InputError: there is no such profile, its file is damaged, or it does not fit the engine.
    """
    from assistant.speech.phone_listening import PhonesEngine  # noqa: PLC0415 - loads numpy
    from assistant.speech.voice_profiles import existing_profile  # noqa: PLC0415 - the same

    voice = existing_profile(options.profile, options.profiles) if options.profile else None
    engine = open_engine(language, options.engine, options.model, voice)
    return engine, engine.profile_sha256 if isinstance(engine, PhonesEngine) else ""
