"""What a user can get wrong or lack: one clear sentence, the right exit code, nothing lost.

Exit codes: 1 the answer is no, 2 bad input, 3 a device, library or model is missing. What needs
another machine is made here: libraries are hidden from the loader, sound devices by an empty
configuration, full and read-only disks by a file system of the test's own in a mount namespace of
its own.
"""

import json
import os
import shutil
import subprocess
import sys
import wave
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any

import pytest

from assistant.storage import bundled_files

Make = Callable[[str], Path]
Run = Callable[..., CompletedProcess[str]]
Refused = Callable[..., None]
Play = Callable[..., dict[str, Any]]

PLAN = bundled_files.read_plan("double-cone").decode()
GRAMMAR = bundled_files.read_grammar("en").decode()

linux_only = pytest.mark.skipif(
    sys.platform != "linux", reason="elsewhere the packages carry these libraries"
)

BAD_PLANS: dict[str, tuple[str | bytes, tuple[str, ...]]] = {
    "malformed": (PLAN.replace("[study]", "[study", 1), ("bad.toml", "line ")),
    "unknown key": (
        PLAN.replace("batch =", 'badge = "7"\nbatch =', 1),
        ("bad.toml", "[study]", "badge"),
    ),
    "impossible sampler": (PLAN.replace('"triplicate"', '"quadruplicate"', 1), ("kind",)),
    "no text": (b"\xff\xfe\x00\x01", ("bad.toml",)),
    "empty": ("", ("bad.toml",)),
}


def written(path: Path, text: str | bytes) -> Path:
    """Write a file."""
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


@pytest.mark.parametrize("name", BAD_PLANS)
def test_a_plan_that_cannot_be_used(
    name: str, tmp_path: Path, command: Run, refused: Refused
) -> None:
    """Every command that takes a plan says the same and leaves nothing behind."""
    text, pieces = BAD_PLANS[name]
    assert text != PLAN
    plan = written(tmp_path / "bad.toml", text)
    out = tmp_path / "out"
    said = set()
    for words in (
        ("check", plan),
        ("draw", plan, "-o", tmp_path / "p.svg"),
        ("labels", plan, "-o", tmp_path / "l.pdf"),
        ("phrases", plan),
        ("rehearse", plan, "--into", out, "--quiet"),
        ("run", plan, "--into", out, "--keyboard", "--silent"),
    ):
        done = command(*words)
        refused(done, 2, *pieces)
        said.add(done.stderr)
    assert len(said) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["bad.toml"]


BAD_GRAMMARS = {
    "a phrase is missing": (GRAMMAR.replace("at-depth =", "# at-depth =", 1), "at-depth"),
    "a word is unknown": (GRAMMAR.replace("sampler at depth", "sampler at zzxqj", 1), "zzxqj"),
    "malformed": (GRAMMAR + "\n[", "bad.toml"),
}


@pytest.mark.parametrize("name", BAD_GRAMMARS)
def test_a_grammar_that_cannot_be_used(
    name: str, tmp_path: Path, command: Run, refused: Refused
) -> None:
    """Said before a session begins, with the word or key."""
    text, piece = BAD_GRAMMARS[name]
    assert text != GRAMMAR
    grammar = written(tmp_path / "bad.toml", text)
    out = tmp_path / "out"
    for words in (
        ("rehearse", "bin", "--into", out, "--quiet"),
        ("run", "bin", "--into", out, "--keyboard", "--silent"),
    ):
        refused(command(*words, "--grammar", grammar), 2, piece)


def recording(path: Path, *, rate: int = 16_000, width: int = 2, frames: int = 1600) -> Path:
    """A recording of silence."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(width)
        file.setframerate(rate)
        file.writeframes(bytes(width * frames))
    return path


@pytest.mark.parametrize(
    ("made", "piece"),
    [
        ({"width": 1}, "with 16 bits at 16000 Hz is needed; convert it"),
        ({"width": 3}, "with 16 bits at 16000 Hz is needed; convert it"),
        ({"rate": 8000}, "at 8000 Hz, but"),
        ({"frames": 0}, "contains no sound"),
        (None, "no such file"),
    ],
)
def test_a_recording_that_cannot_be_heard(
    made: dict[str, int] | None, piece: str, tmp_path: Path, command: Run
) -> None:
    """Not of 16 bits, of another rate, empty, not there: which, and how to convert it."""
    sound = tmp_path / "take.wav"
    if made is not None:
        recording(sound, **made)
    done = command("run", "bin", "--into", tmp_path / "out", "--audio", sound)
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert str(sound) in line
    assert piece in line
    assert not (tmp_path / "out").exists()


def test_a_recording_that_is_none(tmp_path: Path, command: Run, refused: Refused) -> None:
    """A text with the name of a recording."""
    sound = written(tmp_path / "take.wav", "not sound")
    done = command("run", "bin", "--into", tmp_path / "out", "--audio", sound)
    refused(done, 2, str(sound))


def test_a_folder_that_holds_a_record(taken: Make, command: Run, refused: Refused) -> None:
    """Is never begun anew; it still proves itself."""
    record = taken("open")
    for words in (("rehearse", "bin", "--quiet"), ("run", "bin", "--keyboard", "--silent")):
        refused(command(*words, "--into", record), 2, str(record), "already holds a record")
    assert command("verify", record).returncode == 0


def test_going_on_with_another_plan(taken: Make, command: Run, refused: Refused) -> None:
    """Or with nothing, or with a plan where none was named: said, and the record stays."""
    record = taken("open")
    words = ("run", "--keyboard", "--silent", "--into")
    refused(command(*words, record, "bin", "--resume"), 2, "follows another plan than bin")
    refused(command(*words, record / "none", "--resume"), 2, "no record in")
    refused(command(*words, record), 2, "Name the plan to follow, or --resume")
    assert command("verify", record).returncode == 0


@pytest.mark.slow
def test_a_way_through_a_file(taken: Make, tmp_path: Path, command: Run, refused: Refused) -> None:
    """A folder that cannot be made, whoever asks: also for root, whom no permission stops."""
    file = written(tmp_path / "file", "mine")
    below = file / "out"
    for words in (
        ("rehearse", "bin", "--quiet", "--into", below),
        ("run", "bin", "--keyboard", "--silent", "--into", below),
        ("draw", "bin", "-o", below / "p.svg"),
        ("labels", "bin", "-o", below / "l.pdf"),
        ("new-plan", "--defaults", "-o", below / "p.toml"),
        ("assays", taken("whole"), "-o", below / "a.csv"),
    ):
        refused(command(*words), 2, str(below))
    assert file.read_text("utf-8") == "mine"


def test_options_that_name_nothing(tmp_path: Path, command: Run, refused: Refused) -> None:
    """Files that are not there, forms that are not known."""
    nowhere = tmp_path / "nowhere"
    refused(command("check", nowhere), 2, f"There is no plan {nowhere}")
    refused(command("check", tmp_path), 2, str(tmp_path), "is no file")
    refused(command("draw", "bin", "-o", tmp_path / "p.gif"), 2, "p.gif", ".svg or .png or .pdf")
    refused(command("labels", "bin", "-o", tmp_path / "l.csv"), 2, "l.csv", ".pdf")
    refused(command("check", "double-con"), 2, "did you mean double-cone?", "v-blender")
    refused(command("check", "x" * 300), 2, "There is no plan xxx")
    refused(command("check", "a\0b"), 2, "There is no plan")
    refused(command("check", "qqq"), 2, "neither a file nor shipped: shipped are bin")
    refused(command("rehearse", "bin", "--script", "splil"), 2, "did you mean spill?")
    refused(command("rehearse", "bin", "--script", nowhere), 2, f"There is no script {nowhere}")
    made = written(tmp_path / "made.toml", "mine")
    refused(command("new-plan", "--defaults", "-o", made), 2, "made.toml exists")
    refused(command("new-plan", "--answer", "drum", "-o", tmp_path / "n.toml"), 2, "KEY=VALUE")
    assert made.read_text("utf-8") == "mine"


def test_the_operator_is_one_of_the_plan(tmp_path: Path, command: Run, refused: Refused) -> None:
    """Nobody else can be answerable."""
    words = ("run", "bin", "--keyboard", "--silent", "--into", tmp_path / "out")
    refused(command(*words, "--operator", "Nobody"), 2, "names no operator 'Nobody'")


VOSK = ("run", "bin", "--engine", "vosk", "--keyboard", "--silent")


def test_a_vosk_model_that_cannot_be_used(tmp_path: Path, command: Run, refused: Refused) -> None:
    """Missing, or with a static graph, which would ignore the phrases: exit code 3."""
    out = ("--into", tmp_path / "out")
    refused(command(*VOSK, *out, "--model", tmp_path / "none"), 3, str(tmp_path / "none"))
    static = tmp_path / "static"
    for name in ("am/final.mdl", "conf/mfcc.conf", "graph/HCLG.fst"):
        (static / name).parent.mkdir(parents=True, exist_ok=True)
        (static / name).touch()
    out = ("--into", tmp_path / "other")
    refused(command(*VOSK, *out, "--model", static), 3, str(static), "static graph")
    assert list(tmp_path.iterdir()) == [static]


def test_no_vosk_model_at_all(tmp_path: Path, process: Run, refused: Refused) -> None:
    """Asked for and not found anywhere: how to name one."""
    env = {
        name: value
        for name, value in os.environ.items()
        if name not in ("SAMPLING_ASSISTANT_VOSK_MODEL", "VOSK_MODEL_PATH")
    }
    env["HOME"] = env["XDG_DATA_HOME"] = env["XDG_CACHE_HOME"] = str(tmp_path)
    done = process(*VOSK, "--into", tmp_path / "out", env=env)
    refused(done, 3, "No Vosk model was found", "--model")


NO_PORTAUDIO = """
import ctypes.util
real = ctypes.util.find_library
ctypes.util.find_library = lambda name: None if "portaudio" in name else real(name)
"""
NO_ESPEAK = """
import sys
from assistant.speech import tts_espeak
tts_espeak.SYSTEM_LIBRARIES = ()
sys.modules["espeakng_loader"] = None
"""


@linux_only
def test_no_portaudio(tmp_path: Path, process: Run, refused: Refused) -> None:
    """What to install, for a session and for a rehearsal aloud; without sound it still works."""
    for words in (("run", "bin", "--into", tmp_path / "a"), ("rehearse", "bin", "--aloud")):
        refused(process(*words, before=NO_PORTAUDIO), 3, "needs PortAudio", "libportaudio2")
    quiet = ("--keyboard", "--silent", "--into", tmp_path / "b")
    assert process("run", "bin", *quiet, before=NO_PORTAUDIO).returncode == 1


@linux_only
def test_no_espeak(tmp_path: Path, process: Run, refused: Refused) -> None:
    """The simulated operator needs a voice: both ways to get one."""
    done = process("rehearse", "bin", "--into", tmp_path / "out", "--quiet", before=NO_ESPEAK)
    refused(done, 3, "eSpeak NG", "libespeak-ng1", "espeakng-loader")


NO_DEVICES = """
import sounddevice
sounddevice.query_devices = sounddevice.DeviceList
"""


def test_no_microphone_and_no_loudspeaker(tmp_path: Path, process: Run, refused: Refused) -> None:
    """A machine without devices: each is named, with what to do; exit code 3."""
    if process("--version", before=NO_DEVICES).returncode:
        pytest.skip("no PortAudio on this machine; the test above shows what happens then")
    into = ("--into", tmp_path / "out")
    done = process("run", "bin", *into, before=NO_DEVICES)
    refused(done, 3, "There is no microphone; connect one")
    into = ("--into", tmp_path / "other")
    done = process("run", "bin", "--keyboard", *into, before=NO_DEVICES)
    refused(done, 3, "There is no loudspeaker; connect one")
    assert list(tmp_path.iterdir()) == [], "no record was begun that would bar the next attempt"


SCENE = Path(__file__).parent / "scenes" / "small_disk.py"


@pytest.fixture
def on_a_small_disk(tmp_path: Path) -> Play:
    """Return a function that plays a scene on a file system of its own, which only it sees."""
    space = ("unshare", "--mount", "--map-root-user")
    if sys.platform != "linux" or not shutil.which("unshare"):
        pytest.skip("no mount namespaces on this system")
    probe = [*space, "mount", "-t", "tmpfs", "-o", "size=64k", "none", str(tmp_path)]
    if subprocess.run(probe, capture_output=True, check=False).returncode:
        pytest.skip("this system lets nobody mount anything")

    def play(scene: str, record: Path) -> dict[str, Any]:
        disk = tmp_path / "disk"
        disk.mkdir()
        done = subprocess.run(
            [*space, sys.executable, "-W", "error", str(SCENE), scene, str(disk), str(record)],
            capture_output=True,
            text=True,
            check=False,
            timeout=500,
        )
        assert not done.returncode, done.stderr
        told: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
        return told

    return play


@pytest.mark.slow
def test_a_full_disk_holds_the_session_until_there_is_room(
    taken: Make, on_a_small_disk: Play
) -> None:
    """Said at once; nothing moves; with room again the session goes on and notes what happened."""
    told = on_a_small_disk("session", taken("open"))
    assert "HOLD: Cannot store an entry in " in told["out"]
    assert told["held"], "nothing was put on record while the disk was full"
    assert "record could not be written for " in told["out"]
    assert told["code"] == 1, "the record is still open"
    assert told["entries"] > told["before"] + 1
    assert told["verified"] == 0
    assert told["kept"], "what was on record before stands unchanged"
    assert "Traceback" not in told["err"]


@pytest.mark.slow
def test_a_full_disk_stops_what_writes_whole_files(taken: Make, on_a_small_disk: Play) -> None:
    """Exports, reports, keys and signatures: one sentence each, no piece left."""
    told = on_a_small_disk("files", taken("whole"))
    for name, ended in told["commands"].items():
        assert ended["code"] == 2, name
        assert ended["err"].startswith("sampling-assistant: "), name
        assert ended["err"].count("\n") == 1, name
        assert "the disk is full" in ended["err"], name
    assert told["left"] == told["there"]
    assert told["old"] == "old export"


@pytest.mark.slow
def test_a_read_only_disk_is_told(taken: Make, on_a_small_disk: Play) -> None:
    """For whoever would write there, root included; reading and proving go on."""
    told = on_a_small_disk("read-only", taken("whole"))
    for name, ended in told["commands"].items():
        assert ended["code"] == 2, name
        assert ended["err"].startswith("sampling-assistant: "), name
        assert ended["err"].count("\n") == 1, name
        assert "read-only" in ended["err"], name
    assert told["verified"] == 0
