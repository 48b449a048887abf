"""`replay`: a record told again in its own time or faster, from a spot, and as far as it holds."""

import re
import sys
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from assistant.cli.replay import LONGEST_WAIT_S
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.ports import Instant
from assistant.session import audio_devices
from assistant.storage.record_reader import RecordReader

Make = Callable[[str], Path]
Run = Callable[..., CompletedProcess[str]]
Refused = Callable[..., None]

FAST = ("--speed", "1e6")


def heard(out: str) -> list[str]:
    """What happened, line by line, without what was answered."""
    return re.findall(r"< (.*)", out)


def test_the_whole_session_is_told(taken: Make, command: Run) -> None:
    """One line an entry, with the prompt that answered it; deviations and remarks as they came."""
    record = taken("deviations")
    done = command("replay", record, *FAST)
    assert done.returncode == 0
    told = heard(done.stdout)
    assert len(told) == len(list(RecordReader(record).lines()))
    assert told[0].startswith("record opened by Mira Oostveld; typed")
    assert '"vessel is isolated" (typed)' in told
    assert "timer: fill-overrun" in told
    assert "speaker lost: unplugged" in told
    assert "remark: seen and judged by the supervisor" in told
    assert "> The record is closed." in done.stdout
    assert "> Noted as deviation " in done.stdout


def moments(record: Path) -> list[float]:
    """The steady clock at each entry, s."""
    return [int(entry.mono) / 1e9 for entry in read(RecordReader(record).lines())]


def test_time_passes_as_it_did_by_the_speed(
    taken: Make, command: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The pauses on record, divided by the speed; a long one is cut short."""
    slept: list[float] = []
    monkeypatch.setattr(time, "sleep", slept.append)
    record = taken("deviations")
    assert command("replay", record, "--speed", "4").returncode == 0
    at = moments(record)
    pauses = [after - before for before, after in pairwise(at)]
    assert max(pauses) < LONGEST_WAIT_S
    assert slept == pytest.approx([pause / 4 for pause in pauses], abs=1e-9)
    slept.clear()
    monkeypatch.setattr("assistant.cli.replay.LONGEST_WAIT_S", 2.0)
    assert command("replay", record, "--speed", "1").returncode == 0
    assert max(slept) == 2.0


def test_it_really_waits(taken: Make, command: Run) -> None:
    """At a speed that lets the session pass in a good second."""
    record = taken("stopped")
    at = moments(record)
    wanted = 1.2
    begun = time.monotonic()
    assert command("replay", record, "--speed", (at[-1] - at[0]) / wanted).returncode == 0
    assert wanted <= time.monotonic() - begun < wanted + 5


def test_a_break_of_the_program_is_no_pause(
    taken: Make, command: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between two starts of the program the steady clock says nothing."""
    slept: list[float] = []
    monkeypatch.setattr(time, "sleep", slept.append)
    record = taken("torn")
    done = command("replay", record)
    assert "record resumed; 8 torn bytes set aside" in heard(done.stdout)
    assert len(slept) == len(heard(done.stdout)) - 2


def test_it_begins_at_an_entry(taken: Make, command: Run, refused: Refused) -> None:
    """Of that number; one below the first is the first, one behind the last is not there."""
    record = taken("whole")
    whole = heard(command("replay", record, *FAST).stdout)
    assert heard(command("replay", record, *FAST, "--from", "41").stdout) == whole[40:]
    assert heard(command("replay", record, *FAST, "--from", "0").stdout) == whole
    refused(command("replay", record, *FAST, "--from", "4711"), 2, "has no entry 4711")


def test_it_begins_at_a_deviation(taken: Make, command: Run, refused: Refused) -> None:
    """Where it was raised, by its number."""
    record = taken("deviations")
    first = [
        heard(command("replay", record, *FAST, "--deviation", number).stdout)[0]
        for number in (1, 2, 3)
    ]
    assert first == [
        "timer: fill-overrun",
        "speaker lost: unplugged",
        '"no samples affected" (typed)',
    ]
    for number in (0, 4, -1):
        done = command("replay", record, *FAST, "--deviation", number)
        refused(done, 2, f"has no deviation {number}")


def test_it_begins_at_a_location(taken: Make, command: Run, refused: Refused) -> None:
    """Where the sampler was sent there; its code as anybody types it."""
    record = taken("whole")
    done = command("replay", record, *FAST, "--location", "n2")
    assert "Location november two." in done.stdout.splitlines()[1]
    assert "charlie two" not in done.stdout
    refused(command("replay", record, *FAST, "--location", "X9"), 2, "no insertion at X9")


def test_two_beginnings_are_one_too_many(taken: Make, command: Run) -> None:
    """The options shut each other out."""
    with pytest.raises(SystemExit) as stopped:
        command("replay", taken("whole"), "--from", "2", "--location", "N2")
    assert stopped.value.code == 2


@pytest.mark.parametrize("speed", ["0", "-2", "nan", "1e-300"])
def test_a_speed_that_is_none(speed: str, taken: Make, command: Run, refused: Refused) -> None:
    """Time does not stand still or run back."""
    refused(command("replay", taken("whole"), "--speed", speed), 2, "give 0.01 or more")


def test_a_broken_record_is_told_as_far_as_it_holds(
    taken: Make, command: Run, refused: Refused
) -> None:
    """Then the first bad entry is named, and the answer is no."""
    path = taken("whole") / "record.jsonl"
    lines = path.read_bytes().splitlines(keepends=True)
    path.write_bytes(b"".join([*lines[:20], *lines[21:]]))
    done = command("replay", path.parent, *FAST)
    refused(done, 1, "Entry 21 ")
    assert len(heard(done.stdout)) == 20


def test_a_clock_that_runs_back_ends_the_telling(
    taken: Make, command: Run, refused: Refused
) -> None:
    """A record whose chain holds, but whose times cannot be, is broken there."""
    path = taken("whole") / "record.jsonl"
    entries = list(read(RecordReader(path.parent).lines()))
    made: list[Entry] = []
    for entry in entries:
        mono = int(entry.mono) - (10**10 if entry.seq == 30 else 0)
        made.append(
            seal(
                made[-1] if made else None,
                at=Instant(entry.utc, mono),
                boot=entry.boot,
                by=entry.by,
                event=entry.event,
                outcome=entry.outcome,
            )
        )
    path.write_bytes(b"".join(line(entry) for entry in made))
    done = command("replay", path.parent, *FAST)
    refused(done, 1, "Entry 30 was written before the one above it")
    assert len(heard(done.stdout)) == 29


def test_an_empty_record_has_nothing_to_tell(taken: Make, command: Run, refused: Refused) -> None:
    """Said so, rather than nothing."""
    path = taken("whole") / "record.jsonl"
    path.write_bytes(b"")
    refused(command("replay", path.parent), 2, "has no entry")


NO_PORTAUDIO = """
import ctypes.util
real = ctypes.util.find_library
ctypes.util.find_library = lambda name: None if "portaudio" in name else real(name)
"""
"""Hides the library, so that the package sounddevice itself finds none."""


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere the package carries the library")
class Ear:
    """A loudspeaker that is listened to."""

    def __init__(self) -> None:
        """Hear nothing yet."""
        self.heard: list[str | bytes] = []

    def play(self, pcm: bytes, done: Callable[[], None]) -> None:
        """Hear sound."""
        self.heard.append(pcm)
        done()

    def say(self, text: str, done: Callable[[], None]) -> None:
        """Hear words."""
        self.heard.append(text)
        done()


def test_aloud_plays_the_clips_and_says_the_prompts(
    taken: Make, command: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The operator's own words, sample for sample, before what answered them."""
    ear = Ear()
    monkeypatch.setattr(audio_devices, "loudspeaker", lambda: ear)
    record = taken("spoken")
    assert command("replay", record, *FAST, "--aloud").returncode == 0
    (clip,) = (path.stem for path in (record / "clips").iterdir())
    played = [each for each in ear.heard if isinstance(each, bytes)]
    assert played == [RecordReader(record).clip(clip)]
    assert "The record is closed." in str(ear.heard[-1])
    after = ear.heard[ear.heard.index(played[0]) + 1]
    assert isinstance(after, str)


def test_aloud_needs_a_loudspeaker(taken: Make, process: Run, refused: Refused) -> None:
    """Without the sound library: exit code 3, what is missing, how to get it."""
    done = process("replay", taken("whole"), "--aloud", before=NO_PORTAUDIO)
    refused(done, 3, "Live sound needs PortAudio", "libportaudio2")
    assert done.stdout == ""
