"""`enrol`: a person says every phrase once; his profile sharpens the hearing for him."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from assistant.cli.files import grammar_bytes, plan_bytes
from assistant.cli.output import terminal
from assistant.errors import InputError
from assistant.grammar import Language, parse_grammar
from assistant.grammar.rendering import NUMBER, universe
from assistant.plan import parse_plan
from assistant.procedure.enums import VIAL
from assistant.procedure.model import begin
from assistant.session.audio_devices import Wanted, open_devices
from assistant.session.audio_pump import attend
from assistant.speech.enrolment import Enrolment, Saying, said_in
from assistant.speech.files import read_sound
from assistant.speech.phone_decoder import (
    Pronunciations,
    VoiceProfile,
    fit_profile,
    load_model,
)
from assistant.speech.pocketsphinx_engine import model_folder
from assistant.speech.voice_profiles import save_profile


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `enrol`."""

    name: str
    plan: str
    grammar: str
    microphone: str
    speaker: str
    silent: bool
    audio: Path | None
    profiles: Path | None


def run(options: Options) -> int:
    """Make a profile and say where it is.

    Raises:
        PlanError, GrammarError, InputError: a file or name cannot be used.
        DeviceError: a device or library is missing, or the microphone was lost.
    """
    console = terminal()
    language = parse_grammar(*grammar_bytes(options.grammar))
    meant = universe(language, begin(parse_plan(*plan_bytes(options.plan))))
    # A vial's number differs in digits only and its result is read back in any case.
    phrases = [
        text for text, meaning in meant.items() if NUMBER not in text and meaning.intent not in VIAL
    ]
    if options.audio is not None:
        sayings = tuple(_recorded(options.audio, phrases))
    else:
        console.print(f"Repeat each of {len(phrases)} phrases as you will say it at work.")
        sayings = _asked(options, phrases, console)
    profile = _profile(options.name, language, sayings)
    path = save_profile(profile, options.profiles)
    said = {each.phrase for each in sayings}
    missing = [text for text in phrases if text not in said]
    console.print(f"heard {len(said)} of {len(phrases)} phrases, {profile.phones} clear sounds")
    if missing:
        console.print(f"not heard: {', '.join(missing)}")
    console.print(f"profile {path}")
    console.print(f"SHA-256 {profile.digest}")
    return 0


def _profile(name: str, language: Language, sayings: Sequence[Saying]) -> VoiceProfile:
    """Fit a profile to how a person says the phrases.

    Raises:
        DeviceError: the phone model is missing.
        InputError: too little was clear speech.
    """
    model = load_model()
    words = Pronunciations(model_folder(), language.pronunciations)
    heard = [(words.phrase(each.phrase), model.run(each.pcm)) for each in sayings]
    return fit_profile(name, model.sha256, heard)


def _recorded(folder: Path, phrases: Sequence[str]) -> Iterator[Saying]:
    """Read files named by their phrases, with hyphens between the words.

    Raises:
        InputError: no folder, a name that is no phrase, or a file without speech.
    """
    if not folder.is_dir():
        raise InputError(f"There is no folder {folder}; name one with a sound file per phrase.")
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() not in {".wav", ".flac"}:
            continue
        phrase = path.stem.lower().replace("-", " ")
        if phrase not in phrases:
            raise InputError(f'{path}: "{phrase}" is no phrase of this plan; rename the file.')
        pcm = said_in(read_sound(path))
        if not pcm:
            raise InputError(f"{path}: nothing is said in it; record it again.")
        yield Saying(phrase, pcm)


def _asked(options: Options, phrases: Sequence[str], console: Console) -> tuple[Saying, ...]:
    """Ask for the phrases over microphone and loudspeaker.

    Raises:
        DeviceError: a device is missing, or the sound ended.
    """
    wanted = Wanted(
        microphone=options.microphone or "",
        speaker=options.speaker or "",
        silent=options.silent,
    )
    with open_devices(wanted) as devices:
        devices.start()
        asking = Enrolment(phrases, devices.speaker, shown=console.print)
        attend(devices.queue, "enrolment", over=lambda: asking.over, tick=asking.tick)
    return tuple(asking.sayings)
