"""Noise of a room, and speech laid into it at a stated level."""

from collections.abc import Sequence
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import Samples

Noise = Literal["pink", "hum", "babble"]
NOISES: Final[tuple[Noise, ...]] = ("pink", "hum", "babble")

CLEAN_DB: Final = 45.0
"""Signal-to-noise ratio called clean: a good headset in a quiet room."""
_SPEECH_LEVEL: Final = 1800.0
"""Root mean square of the speech's loud half, in steps of the sample."""
_FRAME: Final = SAMPLE_RATE // 50

Wave = npt.NDArray[np.float64]


def pink(samples: int, generator: np.random.Generator) -> Wave:
    """Return noise whose power falls by 3 dB an octave."""
    spectrum = np.fft.rfft(generator.normal(0.0, 1.0, samples))
    frequencies = np.maximum(np.fft.rfftfreq(samples, 1 / SAMPLE_RATE), 20.0)
    return _unit(np.fft.irfft(spectrum / np.sqrt(frequencies), samples))


def hum(samples: int, generator: np.random.Generator) -> Wave:
    """Return a fan: blade tones with harmonics over low-pass noise."""
    time = np.arange(samples) / SAMPLE_RATE
    base = generator.uniform(90.0, 130.0)
    tones = np.zeros(samples)
    for harmonic in range(1, 9):
        phase = generator.uniform(0.0, 2 * np.pi)
        wander = 1.0 + 0.002 * np.sin(2 * np.pi * generator.uniform(0.2, 0.8) * time)
        tones += np.sin(2 * np.pi * base * harmonic * wander * time + phase) / harmonic
    spectrum = np.fft.rfft(generator.normal(0.0, 1.0, samples))
    frequencies = np.fft.rfftfreq(samples, 1 / SAMPLE_RATE)
    air = np.fft.irfft(spectrum / (1.0 + (frequencies / 500.0) ** 2), samples)
    return _unit(_unit(tones) + _unit(air))


def babble(samples: int, generator: np.random.Generator, talk: Sequence[Samples]) -> Wave:
    """Return seven people at once, each from somewhere in the given recordings."""
    total = np.zeros(samples)
    for _ in range(7):
        parts: list[Wave] = []
        length = 0
        while length < samples + SAMPLE_RATE:
            part = talk[int(generator.integers(len(talk)))].astype(np.float64)
            parts.append(_unit(part))
            length += part.size
        start = int(generator.integers(SAMPLE_RATE))
        total += np.concatenate(parts)[start : start + samples]
    return _unit(total)


def make(
    kind: Noise, samples: int, generator: np.random.Generator, talk: Sequence[Samples]
) -> Wave:
    """Return noise of one kind with a root mean square of 1."""
    if kind == "babble":
        return babble(samples, generator, talk)
    return pink(samples, generator) if kind == "pink" else hum(samples, generator)


def _unit(signal: Wave) -> Wave:
    scale = float(np.sqrt(np.mean(signal * signal)))
    return signal / scale if scale > 0 else signal


def loudness(samples: Samples) -> float:
    """Return the root mean square of the louder half of the 20 ms frames."""
    count = max(samples.size // _FRAME, 1)
    frames = np.resize(samples.astype(np.float64), count * _FRAME).reshape(count, _FRAME)
    power = np.sort((frames * frames).mean(axis=1))
    return float(np.sqrt(power[count // 2 :].mean()))


def trimmed_speech(samples: Samples) -> Samples:
    """Cut off what a synthesiser puts before and after the words."""
    loud = np.flatnonzero(np.abs(samples.astype(np.int32)) > 200)
    return samples[loud[0] : loud[-1] + 1] if loud.size else samples


def laid_in(
    speech: Samples,
    kind: Noise,
    ratio_db: float,
    generator: np.random.Generator,
    talk: Sequence[Samples],
) -> tuple[Samples, int, int]:
    """Lay speech into noise, with one second before it and 1.2 s after it.

    Args:
        speech: the words alone.
        kind: the noise.
        ratio_db: loud half of the speech over the noise, in dB.
        generator: source of everything random.
        talk: recordings for the babble.

    Returns:
        The clip, and where in it the words begin and end.
    """
    lead = int(SAMPLE_RATE * generator.uniform(0.9, 1.1))
    tail = int(SAMPLE_RATE * 1.2)
    gain = _SPEECH_LEVEL * 10 ** (generator.uniform(-4.0, 4.0) / 20) / max(loudness(speech), 1.0)
    voice = speech.astype(np.float64) * gain
    total = lead + speech.size + tail
    level = loudness(speech) * gain / 10 ** (ratio_db / 20)
    mixed = make(kind, total, generator, talk) * level + generator.normal(0.0, 2.0, total)
    mixed[lead : lead + speech.size] += voice
    clip = np.clip(np.rint(mixed), -32768, 32767).astype(np.int16)
    return clip, lead, lead + speech.size
