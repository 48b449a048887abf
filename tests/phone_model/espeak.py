"""eSpeak NG inside this process: phones for the natural voices, and formant voices of its own."""

import ctypes
import random
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt

_RETRIEVAL: Final = 1
_UTF8: Final = 1
_IPA: Final = 2
_RATE, _PITCH, _RANGE = 1, 3, 4
"""Numbers that the library gives its parameters and modes (speak_lib.h)."""

# fmt: off
_BASES: Final = [
    "en-us", "en-us", "en-us-nyc", "en", "en-gb-scotland", "en-gb-x-rp", "en-gb-x-gbcwmd",
    "en-029",
]
# fmt: on
# fmt: off
_VARIANTS: Final = [
    "", "f1", "f2", "f3", "f4", "m2", "m4", "m6", "m7", "m8", "klatt", "klatt2", "klatt3",
    "klatt4", "linda", "steph", "steph2", "aunty", "belinda", "john", "rob", "paul", "pablo",
    "pedro", "miguel", "andy", "adam", "ed", "edward", "edward2", "mike2", "quincy", "boris",
    "benjamin", "david", "iven", "iven2", "iven3", "sandro", "norbert", "victor", "gustave",
    "shelby", "robert", "anika", "max", "michel", "marcelo", "travis", "ian", "grandma",
    "grandpa", "antonio", "announcer", "kaukovalta", "zac", "Alex", "Alicia", "Andrea", "Annie",
    "Denis", "Diogo", "Gene", "Gene2", "Henrique", "Hugo", "Jacky", "Lee", "Marco", "Mario",
    "Michael", "Mike", "Nguyen", "Reed", "Storm", "Tweaky",
]
# fmt: on
"""The variants m1, m3, m5 and f5 and the base en-gb-x-gbclan are the benchmark's test half."""


class Espeak:
    """The library; one process holds at most one."""

    def __init__(self, home: Path) -> None:
        """Load `libespeak-ng.so` and its data from one folder."""
        self._library: Any = ctypes.CDLL(str(home / "libespeak-ng.so"))
        self.rate: int = self._library.espeak_Initialize(_RETRIEVAL, 0, str(home).encode(), 0)
        """Samples a second."""
        self._heard: list[npt.NDArray[np.int16]] = []
        shape = ctypes.CFUNCTYPE(
            ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p
        )
        self._callback = shape(self._keep)
        self._library.espeak_SetSynthCallback(self._callback)
        self._library.espeak_TextToPhonemes.restype = ctypes.c_char_p

    def _keep(self, samples: Any, count: int, _events: Any) -> int:  # noqa: ANN401 - C pointers
        if samples and count > 0:
            self._heard.append(np.ctypeslib.as_array(samples, (count,)).copy())
        return 0

    def voice(self, name: str) -> bool:
        """Take a voice by name, as `en-us+f3`."""
        return bool(self._library.espeak_SetVoiceByName(name.encode()) == 0)

    def phones(self, text: str) -> str:
        """Return a text's phones in the International Phonetic Alphabet, with stress."""
        data = ctypes.c_char_p(text.encode())
        place = ctypes.c_void_p(ctypes.cast(data, ctypes.c_void_p).value)
        parts = []
        while place.value:
            said = self._library.espeak_TextToPhonemes(ctypes.byref(place), _UTF8, _IPA)
            parts.append((said or b"").decode())
        return " ".join(parts).strip()

    def say(self, text: str, *, rate: int, pitch: int, spread: int) -> npt.NDArray[np.int16]:
        """Return the sound of a text at `self.rate`.

        Args:
            text: what is said.
            rate: words a minute.
            pitch: 0 to 100.
            spread: how far the pitch moves, 0 to 100.
        """
        for number, value in ((_RATE, rate), (_PITCH, pitch), (_RANGE, spread)):
            self._library.espeak_SetParameter(number, value, 0)
        self._heard.clear()
        data = text.encode() + b"\0"
        self._library.espeak_Synth(data, ctypes.c_size_t(len(data)), 0, 1, 0, _UTF8, None, None)
        self._library.espeak_Synchronize()
        return np.concatenate(self._heard) if self._heard else np.zeros(0, np.int16)


@dataclass(frozen=True)
class Formant:
    """One training voice, with its pace and pitch."""

    name: str
    rate: int
    pitch: int
    spread: int

    @staticmethod
    def draw(chance: random.Random) -> "Formant":
        """Return a voice by chance; never one of the benchmark's test half."""
        base, variant = chance.choice(_BASES), chance.choice(_VARIANTS)
        return Formant(
            f"{base}+{variant}" if variant else base,
            round(chance.uniform(120, 225)),
            round(chance.uniform(20, 80)),
            round(chance.uniform(25, 75)),
        )

    @cached_property
    def plain(self) -> str:
        """The voice without its variant."""
        return self.name.split("+", maxsplit=1)[0]


def trimmed(sound: npt.NDArray[np.int16], rate: int) -> npt.NDArray[np.int16]:
    """Cut the stillness off both ends, but for 40 ms."""
    loud = np.flatnonzero(np.abs(sound.astype(np.int32)) > 200)
    if not loud.size:
        return sound[:0]
    edge = rate // 25
    return sound[max(0, int(loud[0]) - edge) : int(loud[-1]) + edge]
