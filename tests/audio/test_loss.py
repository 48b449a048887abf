"""What the program notices when the microphone dies, falls silent, hangs or comes back."""

import json
import queue
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from tests.audio.conftest import VirtualSound

pytestmark = [pytest.mark.audio, pytest.mark.slow]


class Watched:
    """The scene that watches a microphone, read line by line with a time limit."""

    def __init__(self, scene: "subprocess.Popen[str]") -> None:
        """Read the scene's lines in a thread."""
        self._scene = scene
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        assert self._scene.stdout is not None
        for line in self._scene.stdout:
            self._lines.put(line)

    def next(self, kind: str, within: float) -> tuple[float, str]:
        """Return time and detail of the next line, which must be of this kind."""
        at, found, detail = json.loads(self._lines.get(timeout=within))
        assert found == kind, (found, detail)
        return at, detail

    def end(self) -> None:
        """Kill the scene and close its pipes."""
        self._scene.kill()
        self._scene.wait(10)
        self._thread.join(10)
        for pipe in (self._scene.stdin, self._scene.stdout):
            assert pipe is not None
            pipe.close()

    def say(self, line: str) -> None:
        """Let the scene speak."""
        assert self._scene.stdin is not None
        self._scene.stdin.write(line + "\n")
        self._scene.stdin.flush()

    def until(self, kinds: set[str], within: float) -> dict[str, str]:
        """Read lines until one of each kind has come, in any order; return their details."""
        found: dict[str, str] = {}
        while kinds - found.keys():
            _at, kind, detail = json.loads(self._lines.get(timeout=within))
            found[kind] = detail
        return found

    def close(self) -> float:
        """End the scene; return how long closing took, in seconds."""
        assert self._scene.stdin is not None
        self._scene.stdin.close()
        while True:
            _at, kind, detail = json.loads(self._lines.get(timeout=10))
            if kind == "closed":
                return float(detail)


@contextmanager
def watched(sound: "VirtualSound", name: str = "watch") -> Iterator[Watched]:
    """Run the scene, and end it whatever happens."""
    scene = Watched(sound.open(name))
    try:
        yield scene
    finally:
        scene.end()


def test_a_dead_sound_server_is_reported_and_its_return_too(sound: "VirtualSound") -> None:
    """The server dies and is started again: lost within 2 s, back, and sound flows again."""
    sound.play_noise()
    with watched(sound) as scene:
        began, _ = scene.next("sound", within=15)
        sound.stop()
        lost, reason = scene.next("lost", within=5)
        assert "is lost" in reason
        assert lost > began
        sound.start()
        sound.play_noise()
        _, name = scene.next("back", within=30)
        assert name == "default, ALSA"
        scene.next("sound", within=5)
        assert scene.close() < 4


def test_a_muted_microphone_is_reported_and_its_return_too(sound: "VirtualSound") -> None:
    """Exact zeros for a second are no silence of a room; when noise returns, so does hearing."""
    sound.play_noise()
    with watched(sound) as scene:
        scene.next("sound", within=15)
        sound.hush()
        _, reason = scene.next("lost", within=6)
        assert "digital silence" in reason
        sound.play_noise()
        scene.next("back", within=30)
        assert scene.close() < 4


def test_a_hanging_sound_server_is_reported_and_closing_returns(sound: "VirtualSound") -> None:
    """A frozen server sends nothing and answers nothing; neither may stop the program."""
    sound.play_noise()
    with watched(sound) as scene:
        scene.next("sound", within=15)
        sound.freeze()
        _, reason = scene.next("lost", within=6)
        assert "sound stopped arriving" in reason
        assert scene.close() < 12


LONG = (
    "Lower the sampler to the depth on the screen, turn the die upward, and keep the shaft still."
)


def test_a_sentence_that_a_dead_server_cuts_is_done_and_later_ones_are_spoken(
    sound: "VirtualSound",
) -> None:
    """The loudspeaker dies in a sentence: it is done, its loss is told, and the session goes on.

    While it is gone sentences are done at once; when the server is back they sound again, which
    shows in the time they take.
    """
    sound.play_noise()
    with watched(sound, "talk") as scene:
        scene.next("sound", within=15)
        scene.say("Ready.")
        scene.next("done", within=10)
        scene.say(LONG)
        time.sleep(1)
        sound.stop()
        cut = scene.until({"done", "silent", "lost"}, within=10)
        assert int(cut["done"]) < 3000
        assert "prompts appear as text" in cut["silent"]
        scene.say("Nobody hears this sentence.")
        assert int(scene.until({"done"}, within=15)["done"]) < 1000
        sound.start()
        sound.play_noise()
        scene.until({"back"}, within=30)
        scene.say(LONG)
        assert int(scene.until({"done"}, within=15)["done"]) > 3500
        assert scene.close() < 6
