"""The whole session through the sound system: microphone, recogniser, procedure, loudspeaker.

A synthetic operator sits at the other end of the virtual cables. He follows the work by reading the
record as it grows, and answers with two voices in turn.
"""

import os
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant.grammar import Language, parse_grammar
from assistant.journal.chain import read
from assistant.plan import Plan, parse_plan
from assistant.procedure import Session, begin, step
from assistant.procedure.events import TimerRang, load
from assistant.procedure.model import Status
from assistant.rehearsal.operator import Operator
from assistant.rehearsal.script import Script
from assistant.speech.voice import Voice
from assistant.storage import shipped

if TYPE_CHECKING:
    from tests.audio.conftest import VirtualSound

VOICES = ("en-us+m3", "en-us+f3")
PATIENCE_S = 6.0
SLACK_S = 1.3
"""From the estimated end of a prompt until he answers: the device is late, the gate has a tail."""
FULL = os.environ.get("SAMPLING_ASSISTANT_SESSION") == "full"


def short_plan(raw: bytes) -> bytes:
    """The plan's first location only, with its waits."""
    head, *locations = raw.split(b"[[locations]]")
    return head + b"[[locations]]" + locations[0]


class Follower:
    """Reads the record as it grows and folds it."""

    def __init__(self, folder: Path, plan: Plan) -> None:
        """Begin before the first entry."""
        self._path = folder / "record.jsonl"
        self._seen = 0
        self.session: Session = begin(plan)
        self.said = ""
        self.advanced = False

    def look(self) -> bool:
        """Take new entries in; whether there were any that the operator reacts to."""
        if not self._path.exists():
            return False
        lines = self._path.read_bytes().split(b"\n")[:-1]
        fresh = list(read(lines))[self._seen :]
        self._seen += len(fresh)
        self.said, self.advanced = "", False
        for entry in fresh:
            event = load(entry.event)
            outcome = step(self.session, event)
            self.session = outcome.session
            self.advanced |= outcome.advanced and not isinstance(event, TimerRang)
            effects = entry.outcome["effects"]
            assert isinstance(effects, list)
            words = [str(e["text"]) for e in effects if isinstance(e, dict) and "text" in e]
            self.said = " ".join((self.said, *words)).strip()
        return bool(fresh)


class Talker:
    """Answers into the virtual microphone, with one voice after the other."""

    def __init__(self, env: dict[str, str], language: Language) -> None:
        """Play through the sound server of `env`."""
        self._env = env
        self._voices = [Voice(name, rate=150) for name in VOICES]
        self._ear_voice = Voice()
        self._operator = Operator(language, Script(title="by the book"), seed=1)
        self._spoken = 0

    def hear_out(self, said: str) -> None:
        """Wait until a prompt has been spoken, and for the gate's tail."""
        time.sleep(len(self._ear_voice.render(said)) / 32_000 + SLACK_S)

    def arrived(self, session: Session) -> None:
        """See a new state."""
        self._operator.arrived(session)

    def answer(self, session: Session) -> bool:
        """Say what is to be said now, if anything is."""
        deed = self._operator.next(session)
        if deed is None:
            return False
        self.speak(deed.words if deed.do != "key" else "say again")
        return True

    def speak(self, words: str) -> None:
        """Say words with the voice whose turn it is."""
        pcm = self._voices[self._spoken % 2].render(words)
        self._spoken += 1
        subprocess.run(
            ["pacat", "--device=mic_in", "--format=s16le", "--rate=16000", "--channels=1"],  # noqa: S607 - as every tool
            input=pcm,
            env=self._env,
            timeout=30,
            check=True,
        )


class Screen:
    """What the program prints, line by line, as it prints it."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        """Read in a thread of its own until the program ends."""
        self.lines: list[str] = []
        self._process = process
        threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self.lines.append(line)


def check_sound(screen: Screen, talker: Talker, language: Language) -> None:
    """Say what the sound check asks for, until the record is opened."""
    before, _, after = language.sound_check.repeat.partition("{phrase}")
    done = 0
    while not any("record opened" in line for line in screen.lines):
        for line in screen.lines[done:]:
            if line.startswith(before):
                talker.hear_out(line)
                talker.speak(line.strip().removeprefix(before).removesuffix(after))
        done = len(screen.lines)
        time.sleep(0.05)


def work_through(process: subprocess.Popen[str], follower: Follower, talker: Talker) -> None:
    """Answer every prompt until the program has ended."""
    spoke_at = time.monotonic()
    while process.poll() is None:
        if follower.look():
            if follower.advanced:
                talker.arrived(follower.session)
            if follower.said:
                talker.hear_out(follower.said)
                spoke_at = 0.0
            continue
        if time.monotonic() - spoke_at > PATIENCE_S and talker.answer(follower.session):
            spoke_at = time.monotonic()
        time.sleep(0.05)


@pytest.mark.audio
@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_a_session_runs_through_the_sound_system(sound: "VirtualSound", tmp_path: Path) -> None:
    """Two voices work a plan through over microphone and loudspeaker; the record is proved."""
    sound.play_noise(3600 if FULL else 600)
    raw = shipped.read_plan("double-cone")
    plan_file = tmp_path / "plan.toml"
    plan_file.write_bytes(raw if FULL else short_plan(raw))
    plan = parse_plan(plan_file.read_bytes(), "plan")
    language = parse_grammar(shipped.read_grammar("en"), "grammar")
    record = tmp_path / "record"
    command = [sys.executable, "-m", "assistant"]
    with subprocess.Popen(
        [
            *command[:1],
            "-u",
            *command[1:],
            "run",
            str(plan_file),
            "--into",
            str(record),
            "--plain",
            "--engine",
            "embedded",
        ],
        env=sound.env,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        screen = Screen(process)
        follower, talker = Follower(record, plan), Talker(sound.env, language)
        check_sound(screen, talker, language)
        work_through(process, follower, talker)
    assert process.returncode == 0, screen.lines
    statuses = [sample.status for sample in follower.session.progress.samples]
    assert statuses == [Status.FULL] * len(statuses)
    proof = subprocess.run([*command, "verify", str(record)], capture_output=True, check=False)
    assert proof.returncode == 0, proof.stderr
