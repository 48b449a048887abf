"""The room inside the program: levels, mixing and repeatability."""

import math

import numpy as np
import pytest

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE
from assistant.speech.pcm import FULL_SCALE, bytes_of, level_dbfs, samples_of
from assistant.speech.simulated_room import Colour, NoiseMaker, SimulatedRoom, active_rms


def sine(seconds: float, amplitude: float = 5000.0) -> bytes:
    """Return a tone of 500 Hz."""
    time = np.arange(round(seconds * SAMPLE_RATE)) / SAMPLE_RATE
    return bytes_of(amplitude * np.sin(2 * np.pi * 500 * time))


def take(room: SimulatedRoom, blocks: int) -> bytes:
    """Return the next blocks as one."""
    return b"".join(room.next_block() for _ in range(blocks))


@pytest.mark.parametrize("colour", ["white", "pink", "hum"])
def test_noise_and_speech_stand_at_the_levels_asked_for(colour: Colour) -> None:
    """The distance in level between them is the signal-to-noise ratio."""
    room = SimulatedRoom(snr_db=30, speech_dbfs=-20, colour=colour, seed=1)
    assert level_dbfs(take(room, 200)) == pytest.approx(-50, abs=0.5)
    room.say(sine(10, amplitude=77))
    assert level_dbfs(take(room, 200)) == pytest.approx(-20, abs=0.1)


def test_what_is_said_follows_what_is_being_said_after_a_pause() -> None:
    """Two sentences with a pause: each at its place, to the sample."""
    room = SimulatedRoom(snr_db=60, speech_dbfs=-20, seed=1)
    room.say(sine(0.1), after_s=0.08)
    room.say(sine(0.1), after_s=0.12)
    assert room.speaking
    loud = np.abs(samples_of(take(room, 12))) > 500
    assert not room.speaking
    places = np.flatnonzero(loud)
    assert places[0] == pytest.approx(0.08 * SAMPLE_RATE, abs=20)
    assert places[-1] == pytest.approx(0.40 * SAMPLE_RATE, abs=20)
    assert not loud[round(0.19 * SAMPLE_RATE) : round(0.295 * SAMPLE_RATE)].any()


def test_louder_and_hushed() -> None:
    """A gain counts in decibels; what was not said yet can be dropped."""
    room = SimulatedRoom(snr_db=60, speech_dbfs=-30, seed=1)
    room.say(sine(1), gain_db=10)
    assert level_dbfs(take(room, 10)) == pytest.approx(-20, abs=0.2)
    room.hush()
    assert not room.speaking
    assert level_dbfs(take(room, 10)) < -80


def test_nothing_and_silence_may_be_said() -> None:
    """Neither is a reason to fail."""
    room = SimulatedRoom(snr_db=30, seed=1)
    room.say(b"")
    assert not room.speaking
    room.say(bytes(3200))
    assert level_dbfs(take(room, 2)) == pytest.approx(-56, abs=2)


def test_the_seed_decides_the_noise() -> None:
    """The same seed gives the same bytes, another one others."""
    first, same, other = (SimulatedRoom(seed=seed) for seed in (1, 1, 2))
    once = take(first, 20)
    assert take(same, 20) == once
    assert take(other, 20) != once
    assert first.samples == 20 * BLOCK_SAMPLES


def test_the_noise_goes_on_after_its_loop() -> None:
    """After 30 s the noise begins again without a step."""
    maker = NoiseMaker(-40, "white", seed=3)
    first = maker.take(30 * SAMPLE_RATE)
    assert np.array_equal(maker.take(100), first[:100])


def test_the_colour_decides_the_spectrum() -> None:
    """Pink noise has equal power in each octave, white noise twice that of the octave below.

    The definition of the two colours.
    """

    def octave(colour: Colour, low: float) -> float:
        spectrum = np.abs(np.fft.rfft(NoiseMaker(-40, colour, seed=1).take(30 * SAMPLE_RATE))) ** 2
        hertz = np.fft.rfftfreq(30 * SAMPLE_RATE, 1 / SAMPLE_RATE)
        return float(spectrum[(hertz >= low) & (hertz < 2 * low)].sum())

    assert octave("pink", 2000) / octave("pink", 500) == pytest.approx(1, abs=0.1)
    assert octave("white", 2000) / octave("white", 500) == pytest.approx(4, abs=0.2)
    assert octave("hum", 80) > 3 * octave("hum", 2000)


def test_pauses_do_not_count_into_the_loudness_of_speech() -> None:
    """A sentence with a long pause is as loud as one without; a sine's is amplitude by root two."""
    tone = samples_of(sine(0.5, amplitude=0.5 * FULL_SCALE)).astype(float)
    expected = 0.5 * FULL_SCALE / math.sqrt(2)
    assert active_rms(tone) == pytest.approx(expected, rel=0.01)
    assert active_rms(np.concatenate([tone, np.zeros(16000), tone])) == pytest.approx(
        expected, rel=0.01
    )
    assert active_rms(np.zeros(1000)) == 0.0
    assert active_rms(np.ones(10)) == pytest.approx(1.0)
