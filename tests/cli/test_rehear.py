"""`verify --re-hear`: what is heard otherwise is listed, and does not disprove a record."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.cli import main
from assistant.grammar.language import parse_grammar
from assistant.ports import EngineFacts, PhraseEngine, Utterance
from assistant.procedure.enums import Intent
from assistant.procedure.events import Heard, Meaning
from assistant.session.live import LiveSession, Setting
from assistant.speech.audio_events import SoundEnded, SoundQueue
from assistant.speech.loudspeaker import TextOnlySpeaker
from assistant.speech.simulated_room import SimulatedRoom
from assistant.speech.tts import Voice
from assistant.storage import bundled_files
from assistant.storage.record_writer import RecordFolder

GRAMMAR = bundled_files.read_grammar("en")
Command = Callable[..., subprocess.CompletedProcess[str]]


class Deaf:
    """An acceptance layer that is never asked."""

    name = "none"
    facts = EngineFacts("none", "1", "", "")

    def prepare(self, union: object, legal: object, expected: object = ()) -> None:
        """Take no notice."""

    def tighten(self, by: float) -> None:
        """Take no notice."""

    def judge(self, utterance: Utterance) -> object:
        """Nothing is spoken live here."""
        raise AssertionError(utterance)


def spoken(words: str) -> bytes:
    """Return words as cut out of a quiet room."""
    room = SimulatedRoom(snr_db=25, seed=5)
    room.say(Voice("en-us+f3", rate=150).render(words), after_s=0.3)
    blocks = [room.next_block()]
    while room.speaking:
        blocks.append(room.next_block())
    return b"".join([*blocks, *(room.next_block() for _ in range(3))])


def record(path: Path, *heard: tuple[str, Intent, str]) -> Path:
    """Put voice confirmations on record: words understood, their meaning, the words in the clip.

    A clip of no words is not kept.
    """
    judge: PhraseEngine = Deaf()  # type: ignore[assignment] # it is never asked to judge
    language = parse_grammar(GRAMMAR, "en")

    def take(live: LiveSession) -> None:
        for text, intent, words in heard:
            clip = folder.save_clip(spoken(words)) if words else ""
            event = Heard(
                source="voice",
                text=text,
                decision="accept",
                meaning=Meaning(intent=intent),
                engine="test",
                clip=clip,
            )
            live.loop.take(event)
        queue.put(SoundEnded())

    queue = SoundQueue()
    with RecordFolder.create(path, bundled_files.read_plan("double-cone"), GRAMMAR) as folder:
        setting = Setting(language, judge, TextOnlySpeaker(), "room", listens=False, on_tick=take)
        LiveSession(folder, setting, queue).run()
    return path


@pytest.mark.model
def test_what_is_heard_otherwise_is_listed(tmp_path: Path, command: Command) -> None:
    """Entry, both phrases and the clip are named; the record is proven all the same."""
    path = record(
        tmp_path / "r",
        ("where are we", Intent.WHERE_ARE_WE, "where are we"),
        ("say again", Intent.SAY_AGAIN, "what can I say"),
        ("where are we", Intent.WHERE_ARE_WE, ""),
    )
    done = command("verify", path, "--re-hear")
    assert done.returncode == 0
    assert done.stdout.startswith("intact: 4 entries")
    told = [line for line in done.stdout.splitlines() if line.startswith("entry 3:")]
    assert len(told) == 2
    assert 'on record "say again", phones-en 1 ' in told[0]
    assert "pocketsphinx" in told[1]
    assert all('hears "what can i say"; clip ' in line for line in told)
    assert "entry 2:" not in done.stdout
    assert done.stdout.count("2 of 3 voice confirmations, 1 alike, 1 otherwise") == 2


@pytest.mark.model
def test_a_record_without_voice_says_so(tmp_path: Path, command: Command) -> None:
    """Nothing was confirmed by voice."""
    done = command("verify", record(tmp_path / "r"), "--re-hear")
    assert done.returncode == 0
    assert "nothing on record was confirmed by voice" in done.stdout


def test_without_a_model_the_proof_still_stands_and_the_reason_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The record is proven first; then one sentence, and the exit code of what is missing."""
    path = record(tmp_path / "r", ("where are we", Intent.WHERE_ARE_WE, "where are we"))
    monkeypatch.setitem(sys.modules, "onnxruntime", None)
    assert main(["verify", str(path), "--re-hear"]) == 3
    told = capsys.readouterr()
    assert told.out.startswith("intact: 2 entries")
    assert "pip install onnxruntime" in told.err
