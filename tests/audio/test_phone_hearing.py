"""The phone model live: talk all around, talk into a phrase, a taken-back phrase, an own profile.

Nothing is taken that the operator did not mean, and the end of speech is found although the room
does not fall silent.
"""

import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import soundfile

from assistant.grammar.rendering import phrase
from assistant.ports import SAMPLE_RATE
from assistant.procedure.enums import Intent, Prompt, State
from assistant.procedure.events import Heard, Meaning, SoundChecked
from assistant.speech.phone_decoder import load_model, read_profile
from assistant.speech.phone_decoder.phone_engine import LONGEST
from assistant.storage import bundled_files
from tests.audio.studio import (
    POLL_S,
    SPEECH_DBFS,
    VOICES,
    Mouth,
    Program,
    Sitting,
    one_location,
    sitting,
)

if TYPE_CHECKING:
    from tests.audio.conftest import VirtualSound

pytestmark = [pytest.mark.audio, pytest.mark.slow]

PLAN = one_location(bundled_files.read_plan("bin"))
QUIET_ROOM_DBFS = -61.0
TALK_DBFS = SPEECH_DBFS - 15.0
BESIDE_S = 0.06
"""Between a phrase and the words beside it."""
DECIDED_WITHIN_S = 2.0
"""What has no decision so long after its end is passed over in silence."""
GATE_S = 0.5
"""Nothing is heard for 0.35 s after a prompt."""
MOST_MEMORY_MB = 160
CAUTIONS = (Intent.CAUTION_ISOLATED, Intent.CAUTION_EARTHED, Intent.CAUTION_PROTECTED)


def spoken(person: Sitting) -> list[Heard]:
    """Everything heard by the microphone so far, whatever was decided."""
    person.follower.look()
    return [e for _, e in person.follower.entries if isinstance(e, Heard) and e.source == "voice"]


def meanings(heard: Sequence[Heard]) -> list[Intent]:
    """What was meant by it."""
    return [e.meaning.intent for e in heard if e.meaning]


def test_speech_begins_and_ends_among_talkers(sound: "VirtualSound", tmp_path: Path) -> None:
    """Four people talk 15 dB below the operator: no utterance runs on into their talk."""
    sound.play_noise(QUIET_ROOM_DBFS)
    with sitting(sound, PLAN, tmp_path) as person:
        person.check_sound()
        person.until(lambda _, e: isinstance(e, SoundChecked), within=20)
        sound.play_talk(TALK_DBFS)
        person.work(until=lambda session: session.state is State.POSITIONING)
        heard = spoken(person)
        memory = person.program.peak_memory_mb
    taken = [e for e in heard if e.decision == "accept"]
    assert meanings(taken) == [*CAUTIONS, Intent.DIES_SEATED]
    assert person.by_hand == 0
    clips = [next(tmp_path.rglob(f"{e.clip}.flac")) for e in taken]
    assert max(soundfile.info(str(clip)).duration for clip in clips) < LONGEST / SAMPLE_RATE - 0.5
    assert "too-long" not in {e.reason for e in heard}
    assert memory < MOST_MEMORY_MB


def test_words_beside_a_phrase_keep_it_from_counting(sound: "VirtualSound", tmp_path: Path) -> None:
    """With "okay" before it it is asked back; with "no" behind or "not" before it it is refused."""
    sound.play_noise(QUIET_ROOM_DBFS)
    with sitting(sound, PLAN, tmp_path) as person:
        person.check_sound()
        person.until(lambda _, e: isinstance(e, SoundChecked), within=20)
        person.hear_out(person.language.prompts[Prompt.CAUTION_ISOLATED])
        words = [phrase(person.language, Meaning(intent=intent)) for intent in CAUTIONS]
        told = [beside(person, said) for said in (f"{words[0]} ... no", f"not ... {words[0]}")]
        assert {e.decision for heard in told for e in heard} <= {"refuse"}
        asked = beside(person, f"okay ... {words[0]}")
        assert [(e.decision, e.text) for e in asked] == [("ask", words[0])]
        affirm = phrase(person.language, Meaning(intent=Intent.AFFIRM))
        person.insist(affirm, lambda session: session.progress.caution == 1)
        person.insist(words[1], lambda session: session.progress.caution == 2)
        taken = [e for e in spoken(person) if e.decision == "accept"]
    assert meanings(taken) == [Intent.AFFIRM, Intent.CAUTION_EARTHED]


def beside(person: Sitting, words: str) -> list[Heard]:
    """Say words with next to no gap between them and return what was made of them."""
    before = len(spoken(person))
    person.mouth.say(words, gap_s=BESIDE_S)
    person.pause(DECIDED_WITHIN_S)
    heard = spoken(person)[before:]
    person.hear_out(person.follower.said)
    return heard


def test_a_voice_is_enrolled_over_the_sound_card(sound: "VirtualSound", tmp_path: Path) -> None:
    """Every phrase is shown, said by one voice and heard; the profile is bound to the model."""
    sound.play_noise(QUIET_ROOM_DBFS)
    mouth = Mouth(sound.env, (VOICES[1],), rate=200)
    words = ("enrol", "Ann", "bin", "--silent", "--profiles", str(tmp_path))
    program = Program(sound.env, *words)
    try:
        said = 0
        while program.running:
            asked = [line for line in program.screen if line.endswith(".") and "Repeat" not in line]
            if len(asked) > said:
                said = len(asked)
                time.sleep(GATE_S)
                mouth.say(asked[-1].removesuffix("."))
            time.sleep(POLL_S)
        assert program.exit_code(within=10) == 0, program.screen
        line = next(line for line in program.screen if line.startswith("heard "))
    finally:
        program.close()
    heard, wanted = int(line.split()[1]), int(line.split()[3])
    assert wanted > 40
    assert heard >= wanted - 2
    profile = read_profile(tmp_path / "ann.voice.json", load_model().sha256)
    assert profile.phones > 300
    assert program.shows(f"SHA-256 {profile.digest}")
