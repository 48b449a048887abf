"""`sound-check`: the room, the devices and the operator, before any session."""

from dataclasses import dataclass

from assistant.cli.engine_options import EngineOptions, chosen_engine
from assistant.cli.files import grammar_bytes, plan_bytes
from assistant.cli.output import terminal
from assistant.grammar import Language, parse_grammar
from assistant.plan import parse_plan
from assistant.ports import SAMPLE_RATE
from assistant.procedure.model import begin
from assistant.session.audio_devices import Wanted, open_devices
from assistant.session.sound_check import (
    MAY_MISS,
    WORKABLE_DB,
    Finding,
    SoundCheck,
    explained,
    judging_ms,
    spoken_for_check,
    with_delays,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Options(EngineOptions):
    """Options of `sound-check`."""

    plan: str
    grammar: str
    microphone: str
    speaker: str
    silent: bool


def run(options: Options) -> int:
    """Check the sound and print what was found; 0 when a session would start, else 1.

    Raises:
        PlanError, GrammarError, InputError: the files cannot be read.
        DeviceError: a device, library or model is missing, or the microphone was lost.
    """
    console = terminal()
    session = begin(parse_plan(*plan_bytes(options.plan)))
    language = parse_grammar(*grammar_bytes(options.grammar))
    engine, _ = chosen_engine(options, language)
    wanted = Wanted(
        microphone=options.microphone or "",
        speaker=options.speaker or "",
        silent=options.silent,
    )
    with open_devices(wanted) as devices:
        phrases = spoken_for_check(language, session)
        shown = console.print
        devices.start()
        check = SoundCheck(language, engine, devices.speaker, phrases, shown)
        check.work(devices.queue)
        found = check.result
        event = with_delays(found.event, devices.delays())
        names = devices.microphone_name, devices.speaker.name
    for line in lines(language, found, event.microphone_ms, event.speaker_ms, names):
        console.print(line)
    if check.latest.pcm:
        seconds = len(check.latest.pcm) / 2 / SAMPLE_RATE
        taken = judging_ms(engine, check.latest)
        console.print(f"on this machine a phrase of {seconds:.1f} s takes {taken:.0f} ms to judge")
    return 0 if found.workable else 1


def lines(
    language: Language, found: Finding, microphone_ms: str, speaker_ms: str, names: tuple[str, str]
) -> list[str]:
    """Tell what was found.

    Args:
        language: words of what was wrong.
        found: by the check.
        microphone_ms: delay of the microphone, "" where it is not known.
        speaker_ms: delay of the loudspeaker.
        names: of the microphone and of the loudspeaker.
    """
    event = found.event
    verdict = "good"
    if found.problem is not None:
        overridden = ", overridden" if event.overridden else ""
        verdict = f"not workable{overridden}. {explained(language, found.problem)}"
    least = event.asked - MAY_MISS
    clipped = "clipped: turn the microphone down" if event.clipped else "not clipped"
    return [
        f"microphone: {names[0]}, delay {_milliseconds(microphone_ms)}",
        f"loudspeaker: {names[1]}, delay {_milliseconds(speaker_ms)}",
        f"operator: {event.speech_dbfs} dB of full scale, {clipped}",
        f"room: {event.noise_dbfs} dB of full scale",
        f"signal to noise: {event.snr_db} dB (at least {WORKABLE_DB:g} dB is workable)",
        f"phrases understood: {event.recognised} of {event.asked} (at least {least} are needed)",
        f"a session would ignore sound below {found.least_dbfs:.1f} dB",
        f"and raise its thresholds by {found.stricter:.2f}",
        f"sound check: {verdict}",
    ]


def _milliseconds(told: str) -> str:
    return f"{told} ms as its system reports it" if told else "not known"
