"""The program as a user starts it, in rooms good and bad: what it makes of room, voice and foot.

Each test starts it anew between the virtual cables and ends it when it has shown what it was asked.
"""

import time
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant.grammar.rendering import phrase
from assistant.procedure.enums import Intent, Prompt, State
from assistant.procedure.events import (
    DeviceBack,
    DeviceLost,
    Heard,
    Meaning,
    NoiseRose,
    SoundChecked,
    TimerRang,
)
from assistant.procedure.model import Session
from assistant.storage import bundled_files
from tests.audio.studio import SPEECH_DBFS, Sitting, one_location, said_in, sitting

if TYPE_CHECKING:
    from tests.audio.conftest import VirtualSound

pytestmark = [pytest.mark.audio, pytest.mark.slow]

WEIGHED = one_location(bundled_files.read_plan("bin"))
"""One insertion of two ports; each vial is weighed."""

QUIET_ROOM_DBFS = -61.0
LOUD_ROOM_DBFS = SPEECH_DBFS - 10.0
"""Ten decibels under the operator; a session is refused under twelve."""


def checked(person: Sitting) -> SoundChecked:
    """The sound check's entry."""
    _, event = person.until(lambda _, e: isinstance(e, SoundChecked), within=20)
    assert isinstance(event, SoundChecked)
    return event


def heard(person: Sitting, intent: Intent, within: float = 15) -> tuple[float, Heard]:
    """The next entry of something accepted with this meaning, and when it was made."""

    def wanted(_entry: object, event: object) -> bool:
        return (
            isinstance(event, Heard)
            and event.decision == "accept"
            and event.meaning is not None
            and event.meaning.intent is intent
        )

    entry, event = person.until(wanted, within)
    assert isinstance(event, Heard)
    return int(entry.mono) / 1e9, event


def press(person: Sitting) -> Heard:
    """Hear the prompt out, step on the foot switch and return what came of it."""
    person.follower.look()
    person.hear_out(said_in(person.follower.entries[-1][0]))
    person.pause(1.0)
    person.program.type()
    _, event = person.until(lambda _, e: isinstance(e, Heard) and e.source == "key", within=15)
    assert isinstance(event, Heard)
    return event


def test_a_good_room_passes_and_the_foot_switch_confirms(
    sound: "VirtualSound", tmp_path: Path
) -> None:
    """The check puts the room's levels on record; the foot switch stands there as such."""
    sound.play_noise(QUIET_ROOM_DBFS)
    with sitting(sound, WEIGHED, tmp_path) as person:
        person.check_sound()
        event = checked(person)
        assert person.program.shows(person.language.sound_check.passed)
        assert not event.overridden
        assert not event.clipped
        assert event.recognised >= 3
        assert float(event.noise_dbfs) == pytest.approx(QUIET_ROOM_DBFS, abs=2)
        assert float(event.speech_dbfs) == pytest.approx(SPEECH_DBFS, abs=4)
        pressed = [press(person) for _ in range(3)]
    assert [e.decision for e in pressed] == ["accept"] * 3
    assert [e.meaning.intent for e in pressed if e.meaning] == [
        Intent.CAUTION_ISOLATED,
        Intent.CAUTION_EARTHED,
        Intent.CAUTION_PROTECTED,
    ]
    assert person.follower.session.state is State.SEATING


def test_a_held_key_is_one_press(sound: "VirtualSound", tmp_path: Path) -> None:
    """Somebody stands on the foot switch: it repeats 33 times a second, and one step is taken."""
    sound.play_noise(QUIET_ROOM_DBFS)
    with sitting(sound, WEIGHED, tmp_path) as person:
        person.check_sound()
        checked(person)
        for _ in range(3):
            press(person)
        person.follower.look()
        person.hear_out(said_in(person.follower.entries[-1][0]))
        person.pause(1.0)
        for _ in range(100):
            person.program.type()
            person.pause(0.03)
        person.pause(1.0)
        person.follower.look()
        keys = [e for _, e in person.follower.entries if isinstance(e, Heard)][3:]
        state = person.follower.session.state
    assert state is State.POSITIONING
    assert [e.decision for e in keys] == ["accept"]


def test_the_sound_check_is_also_a_command(sound: "VirtualSound", tmp_path: Path) -> None:
    """It goes through the same questions, prints what it found, and makes no record."""
    sound.play_noise(QUIET_ROOM_DBFS)
    with sitting(sound, WEIGHED, tmp_path, command="sound-check") as person:
        person.check_sound(until="sound check: ")
        assert person.program.exit_code(within=30) == 0
        assert person.program.shows("sound check: good")
        assert person.program.shows("ms to judge")
        assert not person.program.shows("delay not known")
    assert not (tmp_path / "record").exists()


def test_too_loud_a_room_is_checked_again(sound: "VirtualSound", tmp_path: Path) -> None:
    """The program says so and checks again by itself; when the noise has ended, it begins."""
    sound.play_noise(LOUD_ROOM_DBFS, "pink")
    with sitting(sound, WEIGHED, tmp_path) as person:
        words = person.language.sound_check
        person.check_sound(until=words.too_loud)
        assert not (tmp_path / "record" / "record.jsonl").read_bytes()
        sound.hush()
        sound.play_noise(QUIET_ROOM_DBFS)
        person.check_sound()
        event = checked(person)
    assert not event.overridden
    assert sum(line.startswith(words.quiet) for line in person.program.screen) > 1


def test_too_loud_a_room_is_overridden_aloud(sound: "VirtualSound", tmp_path: Path) -> None:
    """The override is heard in spite of the noise, and is on record, also as a deviation."""
    sound.play_noise(LOUD_ROOM_DBFS, "pink")
    with sitting(sound, WEIGHED, tmp_path) as person:
        words = person.language.sound_check
        person.check_sound(until=words.too_loud)
        person.hear_out(next(s for s in person.program.screen if words.override in s))
        while person.program.running and not person.program.shows("record opened"):
            person.mouth.say(words.override)
            person.pause(1.5)
        event = checked(person)
    assert event.overridden
    assert 4 < float(event.snr_db) < 12
    assert [d.kind.value for d in person.follower.session.deviations] == ["override"]


def test_a_mass_is_spoken_read_back_corrected_and_affirmed(
    sound: "VirtualSound", tmp_path: Path
) -> None:
    """Digits are on record only after they were read back and affirmed, here at the second go.

    They are read off the balance with a hesitation of half a second in the middle.
    """
    sound.play_noise(QUIET_ROOM_DBFS)
    with sitting(sound, WEIGHED, tmp_path) as person:
        person.check_sound()
        step_to_the_balance(person)
        correction = phrase(person.language, Meaning(intent=Intent.CORRECTION))
        affirm = phrase(person.language, Meaning(intent=Intent.AFFIRM))
        say_mass(person, "540.3")
        person.insist(correction, lambda s: s.state is State.WEIGHING)
        for _ in range(5):
            if say_mass(person, "571.2") == "571.2":
                break
            person.insist(correction, lambda s: s.state is State.WEIGHING)
        assert not weighed(person.follower.session)
        person.insist(affirm, weighed)
        masses = [sample.mass_mg for sample in person.follower.session.progress.samples]
    assert [Decimal(mass) for mass in masses if mass] == [Decimal("571.2")]
    heard_by = [e for _, e in person.follower.entries if isinstance(e, Heard) and e.meaning]
    assert {e.source for e in heard_by if e.meaning and e.meaning.number} == {"voice"}


def weighed(session: Session) -> bool:
    """Whether any vial has its mass."""
    return any(sample.mass_mg for sample in session.progress.samples)


def step_to_the_balance(person: Sitting) -> None:
    """Confirm everything up to the first vial on the balance with the foot switch."""
    person.until(lambda _, e: isinstance(e, SoundChecked), within=20)
    while person.follower.session.state is not State.WEIGHING:
        session = person.follower.session
        if session.state in {State.FILLING, State.SHAKING_OFF} and not session.progress.waited:
            person.until(lambda _, e: isinstance(e, TimerRang), within=20)
        else:
            press(person)
    person.hear_out(said_in(person.follower.entries[-1][0]))


def say_mass(person: Sitting, number: str) -> str:
    """Say a mass digit by digit until it is read back; return what the program took it for."""
    words = phrase(person.language, Meaning(intent=Intent.MASS, number=number)).split()
    person.insist(
        f"{' '.join(words[:2])} ... {' '.join(words[2:])}", lambda s: s.state is State.READING_BACK
    )
    pending = person.follower.session.progress.pending
    assert pending is not None
    return pending.number or ""


def test_a_phrase_stops_the_prompt_with_a_headset(sound: "VirtualSound", tmp_path: Path) -> None:
    """Into a long list of choices "stand by" is said: the list stops where it is."""
    sound.play_noise(QUIET_ROOM_DBFS)
    with sitting(sound, WEIGHED, tmp_path, "--headset") as person:
        ends = ask_for_the_choices(person)
        person.mouth.say(phrase(person.language, Meaning(intent=Intent.STAND_BY)))
        accepted, _ = heard(person, Intent.STAND_BY)
        assert ends - accepted > 4
        person.pause(ends + 1 - time.monotonic())
        loud_for = person.listener.last_loud - accepted
    assert loud_for < person.seconds(person.language.prompts[Prompt.STANDING_BY]) + 0.5


def test_a_phrase_does_not_stop_the_prompt_at_a_loudspeaker(
    sound: "VirtualSound", tmp_path: Path
) -> None:
    """The gate is shut: what is said into the same list is not heard, and the list goes on."""
    sound.play_noise(QUIET_ROOM_DBFS)
    with sitting(sound, WEIGHED, tmp_path) as person:
        ends = ask_for_the_choices(person)
        person.mouth.say(phrase(person.language, Meaning(intent=Intent.WHERE_ARE_WE)))
        assert ends - time.monotonic() > 4
        person.pause(ends + 1 - time.monotonic())
        assert person.listener.last_loud == pytest.approx(ends, abs=0.7)
        person.follower.look()
        last = person.follower.entries[-1][1]
    assert isinstance(last, Heard)
    assert last.source == "text"


def test_stop_sampling_gets_through_the_programs_own_voice(
    sound: "VirtualSound", tmp_path: Path
) -> None:
    """The microphone hears the loudspeaker, and into a prompt the operator calls for a stop.

    He may have to call again, into the same prompt spoken again.
    """
    sound.play_noise(QUIET_ROOM_DBFS)
    sound.echo(-20)
    with sitting(sound, WEIGHED, tmp_path) as person:
        person.check_sound()
        checked(person)
        for _ in range(4):
            press(person)
        call = phrase(person.language, Meaning(intent=Intent.STOP_SAMPLING))
        again = phrase(person.language, Meaning(intent=Intent.SAY_AGAIN))
        for _ in range(5):
            prompt, _event = person.follower.entries[-1]
            person.pause(0.3)
            person.mouth.say(call)
            person.hear_out("")
            person.follower.look()
            if person.follower.session.state is State.STOPPING:
                break
            person.program.type(again)
            heard(person, Intent.SAY_AGAIN)
        stop, event = person.follower.entries[-1]
        ends = int(prompt.mono) / 1e9 + person.seconds(said_in(prompt))
    assert person.follower.session.state is State.STOPPING
    assert isinstance(event, Heard)
    assert event.source == "voice"
    assert int(stop.mono) / 1e9 < ends


def ask_for_the_choices(person: Sitting) -> float:
    """Type the question, wait until the list is being spoken, and return when it will end."""
    person.check_sound()
    checked(person)
    person.hear_out(said_in(person.follower.entries[0][0]))
    person.program.type(phrase(person.language, Meaning(intent=Intent.WHAT_CAN_I_SAY)))
    began, _ = heard(person, Intent.WHAT_CAN_I_SAY)
    person.pause(0.5)
    return began + person.seconds(said_in(person.follower.entries[-1][0]))


def test_a_noisier_room_is_announced_and_put_on_record(
    sound: "VirtualSound", tmp_path: Path
) -> None:
    """A fan starts in the middle of the work: after a while the program says so, once."""
    sound.play_noise(QUIET_ROOM_DBFS)
    with sitting(sound, WEIGHED, tmp_path) as person:
        person.check_sound()
        checked(person)
        person.hear_out(person.language.sound_check.passed)
        press(person)
        sound.play_noise(QUIET_ROOM_DBFS + 14, "hum")
        entry, event = person.until(lambda _, e: isinstance(e, NoiseRose), within=120)
        assert isinstance(event, NoiseRose)
        person.hear_out(said_in(entry))
        spoken = person.listener.loud_times(int(entry.mono) / 1e9)
    assert float(event.rise_db) == pytest.approx(14, abs=4)
    assert said_in(entry) == person.language.prompts[Prompt.NOISE_ROSE]
    assert spoken
    kinds = [d.kind.value for d in person.follower.session.deviations]
    assert kinds == ["noise-rise"]


def test_a_microphone_that_is_lost_leaves_the_key_and_comes_back(
    sound: "VirtualSound", tmp_path: Path
) -> None:
    """Loss and return are announced and on record; between them the foot switch goes on."""
    sound.play_noise(QUIET_ROOM_DBFS)
    with sitting(sound, WEIGHED, tmp_path) as person:
        person.check_sound()
        checked(person)
        sound.hush()
        lost, _ = person.until(lambda _, e: isinstance(e, DeviceLost), within=20)
        assert said_in(lost) == person.language.prompts[Prompt.MICROPHONE_LOST]
        assert press(person).decision == "accept"
        sound.play_noise(QUIET_ROOM_DBFS)
        back, event = person.until(lambda _, e: isinstance(e, DeviceBack), within=40)
        assert isinstance(event, DeviceBack)
        assert event.device == "microphone"
        person.hear_out(said_in(back))
        earthed = phrase(person.language, Meaning(intent=Intent.CAUTION_EARTHED))
        person.insist(earthed, lambda session: session.progress.caution == 2)
        assert person.listener.loud_times(int(lost.mono) / 1e9)
    kinds = [d.kind.value for d in person.follower.session.deviations]
    assert kinds == ["device-lost"]
