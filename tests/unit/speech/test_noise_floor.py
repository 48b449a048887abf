"""The excess over the noise floor: small in any steady noise, large in speech."""

import numpy as np
import pytest

from assistant.speech.noise_floor import FRAMES_PER_BLOCK, NoiseFloor
from assistant.speech.pcm import BLOCK_BYTES
from assistant.speech.simulated_room import Colour, SimulatedRoom
from assistant.speech.tts import Voice

COLOURS: tuple[Colour, ...] = ("white", "pink", "hum")


@pytest.mark.parametrize("colour", COLOURS)
@pytest.mark.parametrize("noise_dbfs", [-80.0, -50.0, -30.0])
def test_steady_noise_hardly_exceeds_its_own_floor(colour: Colour, noise_dbfs: float) -> None:
    """Over 20 s of noise of any colour and level, the excess stays under 2.6 dB."""
    room = SimulatedRoom(snr_db=-26.0 - noise_dbfs, colour=colour, seed=5)
    floor = NoiseFloor()
    excess = [value for _ in range(400) for value in floor.feed(room.next_block()).frames]
    settled = np.array(excess[100:])
    assert settled.max() < 2.6
    assert 0.8 < settled.mean() < 1.6


@pytest.mark.parametrize("colour", COLOURS)
def test_speech_ten_decibels_over_noise_stands_out(colour: Colour) -> None:
    """The median excess of a phrase is over 4 dB, more than twice what noise reaches."""
    room = SimulatedRoom(snr_db=10, colour=colour, seed=5)
    floor = NoiseFloor()
    for _ in range(80):
        floor.feed(room.next_block())
    room.say(Voice().render("bottom set filled"))
    excess: list[float] = []
    while room.speaking:
        excess += floor.feed(room.next_block()).frames
    assert np.median(excess) > 4.0


def test_levels_are_reported_in_decibels_of_full_scale() -> None:
    """The level is that of the block, the floor that of the quiet blocks among the last 3 s."""
    room = SimulatedRoom(snr_db=30, speech_dbfs=-20, colour="white", seed=1)
    floor = NoiseFloor()
    for _ in range(60):
        summary = floor.feed(room.next_block())
    assert summary.level_dbfs == pytest.approx(-50, abs=0.7)
    assert summary.floor_dbfs == pytest.approx(-50, abs=0.7)
    assert len(summary.frames) == FRAMES_PER_BLOCK
    assert floor.seconds == pytest.approx(3.0)


def test_the_floor_follows_the_room() -> None:
    """When a fan starts the excess leaps, and is back to rest within 3 s; so when it stops."""
    quiet = SimulatedRoom(snr_db=50, colour="pink", seed=1)
    loud = SimulatedRoom(snr_db=20, colour="pink", seed=2)
    floor = NoiseFloor()
    for _ in range(60):
        floor.feed(quiet.next_block())
    assert max(floor.feed(loud.next_block()).frames) > 10
    for _ in range(60):
        floor.feed(loud.next_block())
    assert max(floor.feed(loud.next_block()).frames) < 2.6
    for _ in range(60):
        floor.feed(quiet.next_block())
    assert max(floor.feed(quiet.next_block()).frames) < 2.6


def test_digital_silence_is_borne() -> None:
    """Exact zeros have no logarithm; they have no excess either."""
    floor = NoiseFloor()
    for _ in range(20):
        summary = floor.feed(bytes(BLOCK_BYTES))
    assert set(summary.frames) == {0.0}
    assert summary.level_dbfs == pytest.approx(-120)
