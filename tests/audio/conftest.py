"""A private sound server with two virtual cables, so that the true audio path can be tested.

What is played into the sink `mic_in` comes out of the program's microphone; what the program plays
arrives at the sink `speaker`. Server, sockets and settings live in a temporary folder; the sound of
the machine is not touched. The audio library reads its environment when it is imported, therefore
every scene runs in a process of its own.
"""

import contextlib
import ctypes.util
import importlib.util
import json
import os
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from assistant.speech.pcm import FULL_SCALE, bytes_of, samples_of
from assistant.speech.simulated_room import Colour, NoiseMaker, active_rms
from tests.several_talkers import babble

SCENES = Path(__file__).parent / "scenes"
ROOT = Path(__file__).parents[2]
"""Holds this tree's `assistant` and `tests`."""

REQUIRED = os.environ.get("SAMPLING_ASSISTANT_AUDIO") == "required"

ASOUND = """
pcm.!default { type pulse hint { show on description "virtual" } }
ctl.!default { type pulse }
"""


def missing_parts() -> list[str]:
    """Name what a virtual sound system lacks on this machine."""
    programs = [
        name for name in ("pulseaudio", "pactl", "pacat", "parec") if not shutil.which(name)
    ]
    parts = [f"the program {name}" for name in programs]
    if ctypes.util.find_library("portaudio") is None:
        parts.append("libportaudio2")
    if importlib.util.find_spec("sounddevice") is None:
        parts.append("the package sounddevice")
    return parts


def run_scene(
    scene: str, *words: str, env: dict[str, str] | None = None, timeout: float = 120
) -> Any:  # noqa: ANN401 - whatever the scene tells
    """Play a scene in a process of its own and return the JSON it printed last."""
    result = subprocess.run(
        [sys.executable, "-W", "error", str(SCENES / f"{scene}.py"), *words],
        env={**(env or os.environ), "PYTHONPATH": str(ROOT)},
        capture_output=True,
        timeout=timeout,
        check=False,
    )
    assert not result.returncode, result.stderr.decode()
    return json.loads(result.stdout.decode().splitlines()[-1])


class Noise:
    """The same sound over and over, played into the virtual microphone by a thread."""

    def __init__(self, pcm: bytes, env: dict[str, str]) -> None:
        """Play from now on."""
        self._pcm = pcm
        play = "pacat --playback --device=mic_in --format=s16le --rate=16000 --channels=1"
        self._process = subprocess.Popen(
            play.split(), env=env, stdin=subprocess.PIPE, stderr=subprocess.DEVNULL, bufsize=0
        )
        self._thread = threading.Thread(target=self._feed, daemon=True)
        self._thread.start()

    def _feed(self) -> None:
        """Write until the player is gone, which takes no more than its buffer holds."""
        assert self._process.stdin is not None
        at = 0
        with contextlib.suppress(OSError):
            while True:
                at += self._process.stdin.write(self._pcm[at : at + 4096])
                at %= len(self._pcm)

    def close(self) -> None:
        """Fall silent."""
        assert self._process.stdin is not None
        self._process.kill()
        self._process.wait(10)
        self._thread.join(10)
        self._process.stdin.close()


class VirtualSound:
    """One private sound server and the way to run scenes on it."""

    def __init__(self, folder: Path) -> None:
        """Lay out the folder; nothing runs yet."""
        self.folder = folder
        for name in ("run/pulse", "cfg", "state"):
            (folder / name).mkdir(parents=True)
        (folder / "run").chmod(0o700)
        (folder / "client.conf").write_text("autospawn = no\nenable-shm = yes\n")
        (folder / "asound.conf").write_text(ASOUND)
        self.env = {
            **os.environ,
            "XDG_RUNTIME_DIR": f"{folder}/run",
            "XDG_CONFIG_HOME": f"{folder}/cfg",
            "PULSE_RUNTIME_PATH": f"{folder}/run/pulse",
            "PULSE_STATE_PATH": f"{folder}/state",
            "PULSE_SERVER": f"unix:{folder}/run/native",
            "PULSE_COOKIE": f"{folder}/cookie",
            "PULSE_CLIENTCONFIG": f"{folder}/client.conf",
            "ALSA_CONFIG_PATH": f"{folder}/asound.conf",
            "PULSE_SINK": "speaker",
            "PULSE_SOURCE": "mic_in.monitor",
        }
        self._noises: list[Noise] = []
        self._server: subprocess.Popen[bytes] | None = None

    def command(self) -> list[str]:
        """Return the command that starts the server in the foreground."""
        socket = f"socket={self.folder}/run/native"
        # Where no client asks for less, a sink that can rewind renders two seconds at a time: what
        # is played then starts up to 1.9 s late, and no real device does that.
        sink = "module-null-sink sink_name={} rate={} channels=1 norewinds=1"
        loads = (
            f"module-native-protocol-unix {socket} auth-anonymous=1",
            sink.format("mic_in", 16000),
            sink.format("speaker", 48000),
        )
        options = ["-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no"]
        options += ["--disallow-exit", "--realtime=no", "--high-priority=no"]
        options += [f"--log-target=file:{self.folder}/pulse.log"]
        return ["pulseaudio", *options, *(part for load in loads for part in ("-L", load))]

    def start(self) -> None:
        """Start the server and wait until it answers."""
        (self.folder / "run" / "native").unlink(missing_ok=True)
        env = {name: value for name, value in self.env.items() if name != "PULSE_SERVER"}
        self._server = subprocess.Popen(
            self.command(), env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for _ in range(100):
            if not self.pactl("info").returncode:
                return
            time.sleep(0.1)
        log = self.folder / "pulse.log"
        pytest.fail(f"the virtual sound server does not answer: {log.read_text()}")

    def pactl(self, *words: str) -> subprocess.CompletedProcess[bytes]:
        """Send the server a command."""
        return subprocess.run(
            ["pactl", *words],  # noqa: S607 - found on the path like every other tool
            env=self.env,
            capture_output=True,
            timeout=10,
            check=False,
        )

    def stop(self) -> None:
        """End the server at once, as if it had crashed."""
        server, self._server = self._server, None
        if server is not None:
            server.send_signal(signal.SIGCONT)
            server.kill()
            server.wait(10)

    def freeze(self) -> None:
        """Let the server hang without ending it."""
        assert self._server is not None
        self._server.send_signal(signal.SIGSTOP)

    def hush(self) -> None:
        """Take the room's noise away, so that the microphone delivers exact zeros."""
        while self._noises:
            self._noises.pop().close()

    def close(self) -> None:
        """End the server and the noise."""
        self.hush()
        self.stop()

    def play_noise(self, dbfs: float = -61.0, colour: Colour = "white") -> None:
        """Let the room around the microphone hum until hushed, faintly if not told otherwise.

        Args:
            dbfs: level, in dB relative to full scale; comes on top of noise that is there already.
            colour: kind of noise.
        """
        noise = NoiseMaker(dbfs, colour, seed=len(self._noises)).take(60 * 16000)
        self._noises.append(Noise(noise.astype("<i2").tobytes(), self.env))

    def play_talk(self, dbfs: float) -> None:
        """Let several people talk around the microphone until hushed, at a level in dBFS."""
        talk = samples_of(babble()).astype(np.float64)
        gain = FULL_SCALE * 10 ** (dbfs / 20) / active_rms(talk)
        self._noises.append(Noise(bytes_of(talk * gain), self.env))

    def echo(self, decibels: int) -> None:
        """Let the microphone hear the loudspeaker, so many decibels softer (a negative number)."""
        self.pactl("load-module", "module-loopback", "source=speaker.monitor", "sink=mic_in")
        listed = self.pactl("list", "short", "sink-inputs").stdout.decode().splitlines()
        number = next(line.split()[0] for line in listed if "module-loopback" in line)
        assert not self.pactl("set-sink-input-volume", number, f"{decibels}dB").returncode

    def run(self, scene: str, *words: str, timeout: float = 120) -> Any:  # noqa: ANN401 - whatever the scene tells
        """Play a scene in a process of its own and return the JSON it printed last."""
        return run_scene(scene, *words, env=self.env, timeout=timeout)

    def open(self, scene: str, *words: str) -> subprocess.Popen[str]:
        """Start a scene that goes on while the test does something to the server."""
        return subprocess.Popen(
            [sys.executable, "-u", "-W", "error", str(SCENES / f"{scene}.py"), *words],
            env=self.env,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )


@pytest.fixture
def sound(tmp_path_factory: pytest.TempPathFactory) -> Iterator[VirtualSound]:
    """A running private sound server; skipped, or failed where it is required, without parts."""
    missing = missing_parts()
    if missing:
        reason = f"no virtual sound: {', '.join(missing)} missing"
        if REQUIRED:
            pytest.fail(reason)
        pytest.skip(reason)
    # A short path: a socket's name has at most 108 bytes.
    server = VirtualSound(tmp_path_factory.mktemp("s"))
    try:
        server.start()
        yield server
    finally:
        server.close()
