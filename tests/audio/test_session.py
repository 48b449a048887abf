"""Whole sessions through the sound system: microphone, recogniser, procedure, loudspeaker.

A synthetic operator sits at the other end of the virtual cables and answers with two voices in
turn. All ten locations are worked through as with a headset, where he need not wait for a prompt to
end; the first location also as with a loudspeaker, where the gate is shut during prompts. All waits
are those of the shipped plan. With `SAMPLING_ASSISTANT_SESSION=full` the loudspeaker gets the whole
plan too, which takes half an hour.
"""

import os
import statistics
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant.procedure.events import DeviceLost, Heard
from assistant.procedure.model import Status
from assistant.storage import bundled_files
from tests.audio.studio import VOICES, Sitting, one_location, said_in, sitting

if TYPE_CHECKING:
    from tests.audio.conftest import VirtualSound

FULL = os.environ.get("SAMPLING_ASSISTANT_SESSION") == "full"

pytestmark = [pytest.mark.audio, pytest.mark.slow]


def work_through(person: Sitting, record: Path) -> None:
    """Work to the end; all samples are on record, by voice, and the record is proved."""
    person.check_sound()
    before = person.mouth.spoken
    person.work()
    assert person.program.exit_code(within=60) == 0, person.program.screen[-40:]
    statuses = [sample.status for sample in person.follower.session.progress.samples]
    assert statuses == [Status.FULL] * len(statuses)
    assert not [e for _, e in person.follower.entries if isinstance(e, DeviceLost)]
    heard = [e for _, e in person.follower.entries if isinstance(e, Heard)]
    done = [e for e in heard if e.decision == "accept"]
    assert sum(e.source == "voice" for e in heard) <= person.mouth.spoken - before
    assert person.by_hand <= len(done) / 20
    assert sum(e.source != "voice" for e in done) == person.by_hand
    assert min(person.accepted[voice] for voice in VOICES) > len(done) / 4
    proof = subprocess.run(
        [sys.executable, "-m", "assistant", "verify", str(record)], capture_output=True, check=False
    )
    assert proof.returncode == 0, proof.stderr


@pytest.mark.timeout(3600)
def test_thirty_samples_are_taken_with_a_headset(sound: "VirtualSound", tmp_path: Path) -> None:
    """Two voices work ten locations of three positions through, answering into the prompts."""
    sound.play_noise()
    with sitting(sound, bundled_files.read_plan("double-cone"), tmp_path, "--headset") as person:
        work_through(person, tmp_path / "record")
        assert len(person.follower.session.progress.samples) == 30


@pytest.mark.timeout(7200)
def test_a_location_is_sampled_with_a_loudspeaker(sound: "VirtualSound", tmp_path: Path) -> None:
    """Two voices work a location through, waiting for the end of each prompt and of the gate.

    The microphone hears the loudspeaker too, which must leave no trace in the record. What is said
    because of an entry sounds soon after it: usually it takes 60 ms; the limit for the median
    leaves room for a loaded machine.
    """
    sound.play_noise()
    sound.echo(-20)
    plan = bundled_files.read_plan("double-cone")
    with sitting(sound, plan if FULL else one_location(plan), tmp_path) as person:
        work_through(person, tmp_path / "record")
        delays = delays_of(person)
    assert len(delays) > 20
    assert statistics.median(delays) < 0.2


def delays_of(person: Sitting) -> list[float]:
    """From each entry until its words are heard at the loudspeaker, where it was silent before."""
    delays = []
    for entry, _event in person.follower.entries:
        at = int(entry.mono) / 1e9
        if said_in(entry) and not person.listener.loud_times(at - 0.1, at):
            delays.append(min(person.listener.loud_times(at)) - at)
    return delays
