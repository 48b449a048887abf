"""Spoken numbers: a network of digits, bounded in length, the unit last.

A number is never accepted at first: the procedure reads it back digit by digit for confirmation.
So this network may be lenient; a parallel free loop of phones absorbs speech that is no number.
"""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from assistant.speech.pcm import dithered
from assistant.speech.pocketsphinx_engine import (
    PHONE_WORD,
    SHORTEST_BYTES,
    add_phone_words,
    open_decoder,
)

MOST_WHOLE: Final = 5
MOST_DECIMALS: Final = 2
LOOP_WEIGHT: Final = 1e-8
"""Weight of each step in the free loop; larger rejects more. Chosen on synthetic voices."""

DIGIT_WEIGHT: Final = 1e-5
"""Weight of each digit; smaller inserts fewer digits where none was said."""

_SEARCH = "number"

Arc = tuple[int, int, float, str]


class DigitRecogniser:
    """Recognises a number with its unit; for one caller at a time."""

    def __init__(
        self, pronunciations: Mapping[str, Sequence[str]], digits: Mapping[str, Sequence[str]]
    ) -> None:
        """Store the words; the engine is loaded on first use, since few plans ask for numbers.

        Args:
            pronunciations: word to its extra pronunciations in ARPAbet.
            digits: "0" to "9" and "." to the words spoken for them.
        """
        self._pronunciations = pronunciations
        self._decoder: Any = None
        self._digits = [word for key, words in digits.items() if key != "." for word in words]
        self._signs = list(digits["."])
        self._unit = ""
        self._loop: list[str] = []

    def prepare(self, unit: str) -> None:
        """Set the spoken unit that follows the number; "" if no number is asked for.

        Raises:
            DeviceError: the engine or its model is missing.
            GrammarError: a pronunciation uses a sound the model does not have.
        """
        if unit and unit != self._unit:
            if self._decoder is None:
                self._decoder = open_decoder(self._pronunciations)
                self._loop = add_phone_words(self._decoder)
            fsg = self._decoder.create_fsg(_SEARCH, 0, _FINAL, self._arcs(unit.split()))
            self._decoder.add_fsg(_SEARCH, fsg)
        self._unit = unit

    def hear(self, pcm: bytes) -> str:
        """Return the words of a number with its unit, "" if the sound is not a number.

        Args:
            pcm: one utterance, mono 16-bit at `SAMPLE_RATE`.
        """
        if not self._unit or len(pcm) < SHORTEST_BYTES:
            return ""
        decoder = self._decoder
        decoder.activate_search(_SEARCH)
        decoder.reinit_feat()
        decoder.start_utt()
        decoder.process_raw(dithered(pcm), full_utt=True)
        decoder.end_utt()
        found = decoder.hyp()
        text = "" if found is None else str(found.hypstr)
        return "" if text.startswith(PHONE_WORD) else text

    def _arcs(self, unit: Sequence[str]) -> list[Arc]:
        """Digits, optionally a decimal mark and more digits, then the unit; or the free loop."""
        arcs: list[Arc] = []
        after_whole = 2 + MOST_WHOLE
        unit_at = after_whole + 1 + MOST_DECIMALS
        for place in range(MOST_WHOLE):
            source = 0 if place == 0 else 1 + place
            arcs += [(source, 2 + place, DIGIT_WEIGHT, word) for word in self._digits]
        for place in range(MOST_WHOLE):
            arcs += [(2 + place, after_whole, DIGIT_WEIGHT, sign) for sign in self._signs]
            arcs.append((2 + place, unit_at, 1.0, unit[0]))
        for place in range(MOST_DECIMALS):
            source = after_whole + place
            arcs += [(source, source + 1, DIGIT_WEIGHT, word) for word in self._digits]
            arcs.append((source + 1, unit_at, 1.0, unit[0]))
        for number, word in enumerate(unit[1:]):
            arcs.append((unit_at + number, unit_at + number + 1, 1.0, word))
        last = unit_at + len(unit) - 1
        arcs.append((last, _FINAL, 1.0, "<sil>"))
        arcs += [(source, _LOOP, LOOP_WEIGHT, word) for source in (0, _LOOP) for word in self._loop]
        arcs.append((_LOOP, _FINAL, 1.0, "<sil>"))
        return arcs


_LOOP = 1
_FINAL = 60
