"""Several people who talk at once, by synthetic voices: what an operator has to be heard over."""

from collections.abc import Sequence

import numpy as np

from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import bytes_of, samples_of
from assistant.speech.tts import Voice
from tests.listening_bench.texts import CHATTER

TALKERS = ("en-gb-scotland", "en-us+m3", "en-us+f5", "en-gb-x-gbclan+m5")


def babble(texts: Sequence[str] = CHATTER[1::2]) -> bytes:
    """Let four people talk at once, each about something else; 16-bit mono at `SAMPLE_RATE`.

    Raises:
        DeviceError: the synthesiser is missing.
    """
    lines = []
    for place, name in enumerate(TALKERS):
        voice = Voice(name, rate=160)
        mine = texts[place::8] or texts
        pause = np.zeros(SAMPLE_RATE // 4)
        parts = [p for text in mine for p in (samples_of(voice.render(text)), pause)]
        lines.append(np.concatenate(parts).astype(np.float64))
    length = min(line.size for line in lines)
    return bytes_of(np.sum([line[:length] for line in lines], axis=0) / len(lines))
