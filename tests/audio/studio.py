"""Both ends of the virtual cables: the program as it is started, and a person who works with it.

Everything is real but the person and his room: processes, devices, time, recogniser, record. The
person follows the work by reading the record as it grows, and hears at the loudspeaker's end of the
cable when a prompt is over.
"""

import contextlib
import json
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from assistant.grammar import Language, parse_grammar
from assistant.journal.entry import Entry
from assistant.plan import parse_plan
from assistant.ports import SAMPLE_RATE
from assistant.procedure import Session, begin, step
from assistant.procedure.events import Event, Heard, TimerRang, load
from assistant.rehearsal.operator import Operator
from assistant.rehearsal.script import Script
from assistant.speech.pcm import FULL_SCALE, bytes_of, samples_of
from assistant.speech.simulated_room import active_rms
from assistant.speech.tts import Voice
from assistant.storage import bundled_files
from tests.audio.scenes.listener import Listener

if TYPE_CHECKING:
    from tests.audio.conftest import VirtualSound

VOICES = ("en-us+m3", "en-us+f3")
SPEECH_DBFS = -26.0
"""Level of the person's speech at the microphone."""
STILL = 200
"""Samples smaller than this, of 32768, lie before and behind the words."""
PATIENCE_S = 4.0
"""Without any reaction for this long he says it again; a decision takes a second at most."""
TAIL_S = 0.6
"""From the end of a prompt until he answers: the gate stays shut for 0.35 s of it."""
POLL_S = 0.02


def one_location(plan: bytes) -> bytes:
    """The plan's first location only, with its waits."""
    head, first, *_ = plan.split(b"[[locations]]")
    return head + b"[[locations]]" + first


def joined(pieces: Sequence[bytes], gap_s: float) -> npt.NDArray[np.float64]:
    """Lay pieces of speech behind each other, without the stillness around them but one gap."""
    sounds = [samples_of(piece).astype(np.float64) for piece in pieces]
    if len(sounds) == 1:
        return sounds[0]
    gap = np.zeros(round(gap_s * SAMPLE_RATE))
    loud = [np.flatnonzero(np.abs(sound) > STILL) for sound in sounds]
    trimmed = [s[at[0] : at[-1] + 1] for s, at in zip(sounds, loud, strict=True)]
    return np.concatenate([part for sound in trimmed for part in (sound, gap)][:-1])


class Mouth:
    """Speaks into the virtual microphone, with one voice after the other."""

    def __init__(
        self, env: dict[str, str], voices: Sequence[str] = VOICES, rate: int = 150
    ) -> None:
        """Speak through the sound server of `env`, at so many words a minute."""
        self._env = env
        self._names = tuple(voices)
        self._voices = [Voice(name, rate=rate) for name in voices]
        self.spoken = 0
        """How often he has spoken."""
        self.voice = voices[0]
        """Whose turn it was last."""

    def say(self, words: str, gap_s: float = 0.5) -> None:
        """Say words to their end with the voice whose turn it is.

        Args:
            words: between them " ... " stands for a gap.
            gap_s: length of each gap, in seconds.
        """
        turn = self.spoken % len(self._voices)
        self.spoken += 1
        self.voice = self._names[turn]
        voice = self._voices[turn]
        signal = joined([voice.render(piece) for piece in words.split(" ... ")], gap_s)
        gain = FULL_SCALE * 10 ** (SPEECH_DBFS / 20) / active_rms(signal)
        subprocess.run(
            ["pacat", "--device=mic_in", "--format=s16le", "--rate=16000", "--channels=1"],  # noqa: S607 - as every tool
            input=bytes_of(signal * gain),
            env=self._env,
            timeout=60,
            check=True,
        )


class Program:
    """The program as a user starts it, with its screen and its keyboard."""

    def __init__(self, env: dict[str, str], *words: str) -> None:
        """Start it with these words on its command line."""
        self.screen: list[str] = []
        """What it has printed, line by line."""
        self._process = subprocess.Popen(
            [sys.executable, "-u", "-m", "assistant", *words],
            env={**env, "COLUMNS": "200"},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            self.screen.append(line.rstrip())

    @property
    def running(self) -> bool:
        """Whether it has not ended."""
        return self._process.poll() is None

    def type(self, words: str = "") -> None:
        """Type a line; an empty one is the foot switch."""
        assert self._process.stdin is not None
        self._process.stdin.write(words + "\n")
        self._process.stdin.flush()

    def shows(self, words: str) -> bool:
        """Whether these words have been on the screen."""
        return any(words in line for line in self.screen)

    @property
    def peak_memory_mb(self) -> float:
        """Return the most memory it has held so far, in megabytes (1024 x 1024 bytes)."""
        status = Path(f"/proc/{self._process.pid}/status").read_text()
        line = next(row for row in status.splitlines() if row.startswith("VmHWM"))
        return int(line.split()[1]) / 1024

    def exit_code(self, within: float) -> int:
        """Wait until it has ended by itself."""
        code = self._process.wait(within)
        self._reader.join(10)
        return code

    def close(self) -> None:
        """End it if it still runs."""
        self._process.kill()
        self._process.wait(10)
        self._reader.join(10)
        for pipe in (self._process.stdin, self._process.stdout):
            assert pipe is not None
            with contextlib.suppress(BrokenPipeError):
                pipe.close()


class Follower:
    """Reads the record as it grows and folds it."""

    def __init__(self, plan: Path, record: Path) -> None:
        """Begin before the first entry."""
        self._path = record / "record.jsonl"
        self._size = 0
        self.session: Session = begin(parse_plan(plan.read_bytes(), str(plan)))
        self.entries: list[tuple[Entry, Event]] = []
        """Everything so far."""
        self.said = ""
        """What the program said because of the entries seen last."""
        self.advanced = False
        """Whether the work went on by them."""

    def look(self) -> list[tuple[Entry, Event]]:
        """Take entries in that were not there before."""
        fresh: list[tuple[Entry, Event]] = []
        if self._path.exists() and self._path.stat().st_size != self._size:
            data = self._path.read_bytes()
            self._size = data.rfind(b"\n") + 1
            lines = data[: self._size].splitlines()[len(self.entries) :]
            entries = [Entry.model_validate(json.loads(line)) for line in lines]
            fresh = [(entry, load(entry.event)) for entry in entries]
        self.said, self.advanced = "", False
        for entry, event in fresh:
            outcome = step(self.session, event)
            self.session = outcome.session
            self.advanced |= outcome.advanced and not isinstance(event, TimerRang)
            self.said = f"{self.said} {said_in(entry)}".strip()
        self.entries += fresh
        return fresh


def said_in(entry: Entry) -> str:
    """What the program spoke because of an entry."""
    effects = entry.outcome["effects"]
    assert isinstance(effects, list)
    return " ".join(str(e["text"]) for e in effects if isinstance(e, dict) and "text" in e)


class Sitting:
    """A person before the program."""

    def __init__(
        self, sound: "VirtualSound", plan: Path, record: Path, *options: str, command: str = "run"
    ) -> None:
        """Start the program on a plan.

        Args:
            sound: carries both ways.
            plan: file of the plan.
            record: folder that the record is to be in.
            options: more of the command line; with "--headset" nobody waits for prompts to end.
            command: what it is to do.
        """
        self.language: Language = parse_grammar(bundled_files.read_grammar("en"), "grammar")
        self.operator = Operator(self.language, Script(title="by the book"), seed=1)
        self._headset = "--headset" in options
        self._ear_voice = Voice()
        self.mouth = Mouth(sound.env)
        self.listener = Listener(sound.env)
        words = (str(plan), *options)
        if command == "run":
            words = (*words, "--into", str(record), "--plain")
        self.program = Program(sound.env, command, *words)
        self.follower = Follower(plan, record)
        self.accepted: Counter[str] = Counter()
        """How often each voice was understood."""
        self._awaited = 0
        self.by_hand = 0
        """How often the key or the keyboard had to help."""

    def close(self) -> None:
        """End the program and stop listening."""
        self.program.close()
        self.listener.close()

    def told(self, why: str) -> str:
        """What went wrong, with what is on the screen."""
        return "\n".join((why, *self.program.screen[-40:]))

    def seconds(self, said: str) -> float:
        """How long the program's voice takes for a sentence."""
        return len(self._ear_voice.render(said)) / 32_000

    def hear_out(self, said: str) -> None:
        """Wait until a sentence has sounded, and until the gate has opened after it."""
        end = time.monotonic() + self.seconds(said)
        while time.monotonic() < max(end, self.listener.last_loud) + TAIL_S:
            time.sleep(POLL_S)

    @staticmethod
    def pause(seconds: float) -> None:
        """Do nothing for so long."""
        time.sleep(seconds)

    def until(self, wanted: Callable[[Entry, Event], bool], within: float) -> tuple[Entry, Event]:
        """Wait for an entry behind the one awaited before; fails after so many seconds."""
        deadline = time.monotonic() + within
        while self.program.running and time.monotonic() < deadline:
            self._look()
            while self._awaited < len(self.follower.entries):
                self._awaited += 1
                if wanted(*self.follower.entries[self._awaited - 1]):
                    return self.follower.entries[self._awaited - 1]
            time.sleep(POLL_S)
        raise AssertionError(self.told("the awaited entry did not come"))

    def insist(self, words: str, wanted: Callable[[Session], bool], tries: int = 8) -> None:
        """Say words, again if need be, until the session is as wanted; hears prompts out."""
        for _ in range(tries):
            self.mouth.say(words)
            deadline = time.monotonic() + PATIENCE_S
            while time.monotonic() < deadline and not self._look():
                time.sleep(POLL_S)
            self.hear_out(self.follower.said)
            self._look()
            if wanted(self.follower.session):
                return
        raise AssertionError(self.told(f'"{words}" was in vain'))

    def check_sound(self, *, until: str = "record opened") -> None:
        """Say what the sound check asks for, until something is on the screen."""
        before, _, after = self.language.sound_check.repeat.partition("{phrase}")
        answered = 0
        while not self.program.shows(until):
            if not self.program.running:
                raise AssertionError(self.told("the program ended during the sound check"))
            asked = [line for line in self.program.screen if line.startswith(before)]
            if len(asked) > answered:
                answered = len(asked)
                self.hear_out(asked[-1])
                self.mouth.say(asked[-1].removeprefix(before).removesuffix(after))
            time.sleep(POLL_S)

    def work(self, *, until: Callable[[Session], bool] = lambda _session: False) -> None:
        """Answer every prompt until the program has ended, or until the work stands there."""
        spoke_at = 0.0
        while self.program.running and not until(self.follower.session):
            if self._look():
                if self.follower.said and not self._headset:
                    self.hear_out(self.follower.said)
                spoke_at = 0.0
            elif time.monotonic() - spoke_at > PATIENCE_S and self.answer():
                spoke_at = time.monotonic()
            time.sleep(POLL_S)
        self._look()

    def answer(self) -> bool:
        """Do what is to be done now, if anything is."""
        deed = self.operator.next(self.follower.session)
        if deed is None:
            return False
        if deed.do in {"key", "type"}:
            self.by_hand += 1
            self.program.type(deed.words)
        else:
            self.mouth.say(deed.words)
        return True

    def _look(self) -> list[tuple[Entry, Event]]:
        fresh = self.follower.look()
        if self.follower.advanced:
            self.operator.arrived(self.follower.session)
        for _entry, event in fresh:
            if isinstance(event, Heard) and event.decision == "accept" and event.source == "voice":
                self.accepted[self.mouth.voice] += 1
        return fresh


@contextlib.contextmanager
def sitting(
    sound: "VirtualSound", plan: bytes, folder: Path, *options: str, command: str = "run"
) -> Iterator[Sitting]:
    """Start the program on a plan kept in `folder` with the record; it is ended in any case."""
    plan_file = folder / "plan.toml"
    plan_file.write_bytes(plan)
    person = Sitting(sound, plan_file, folder / "record", *options, command=command)
    try:
        yield person
    finally:
        person.close()
