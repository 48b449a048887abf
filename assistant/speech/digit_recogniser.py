"""Spoken numbers beside phrases: an own network of digits, bounded in length, the unit last.

A number is never taken at its first hearing: the procedure reads it back digit by digit and has it
affirmed. So this network may be lenient; a free loop of phones beside it takes what is no number.
"""

import threading
from collections.abc import Mapping, Sequence
from typing import Any, Final

from assistant.grammar.rendering import NUMBER
from assistant.ports import Utterance, Verdict
from assistant.speech.pcm import dithered
from assistant.speech.pocketsphinx_engine import (
    PHONE_WORD,
    SHORTEST_BYTES,
    add_phone_words,
    open_decoder,
)
from assistant.speech.utterance_verification import Judge
from assistant.speech.utterance_verification.profile import Profile
from assistant.speech.utterance_verification.verifier import Opinion

MOST_WHOLE: Final = 5
MOST_DECIMALS: Final = 2
LOOP_WEIGHT: Final = 1e-8
"""Of each step in the free loop: larger refuses more. Chosen on synthetic voices."""

DIGIT_WEIGHT: Final = 1e-5
"""Of each digit; smaller puts fewer digits where none was said."""

_SEARCH = "number"

Arc = tuple[int, int, float, str]


class NumberAware:
    """The acceptance layer, and a network of digits while a number is asked for.

    May be used from several threads, calls wait for each other.
    """

    def __init__(
        self,
        pronunciations: Mapping[str, Sequence[str]],
        digits: Mapping[str, Sequence[str]],
        second: Opinion | None = None,
        profile: Profile | None = None,
    ) -> None:
        """Load the engines.

        Args:
            pronunciations: word to its extra pronunciations in ARPAbet.
            digits: "0" to "9" and "." to the words that stand for them.
            second: votes on phrases; numbers are read back and need no vote.
            profile: the voice of whoever is going to speak; it knows phrases, no numbers.

        Raises:
            DeviceError: the engine or its model is missing.
            GrammarError: a pronunciation uses a sound the model does not have.
        """
        self._lock = threading.Lock()
        self._judge = Judge(pronunciations, second=second, profile=profile)
        self._pronunciations = pronunciations
        self._decoder: Any = None
        self._digits = [word for key, words in digits.items() if key != "." for word in words]
        self._signs = list(digits["."])
        self._unit = ""
        self._loop: list[str] = []

    @property
    def name(self) -> str:
        """Engine and weights, as they go on record."""
        return self._judge.name

    def prepare(self, union: Sequence[str], legal: Sequence[str]) -> None:
        """Set all phrases that can be heard, and those that are legal now.

        Raises:
            GrammarError: the union is empty, or a word cannot be pronounced.
        """
        plain = [phrase for phrase in union if NUMBER not in phrase]
        self._judge.prepare(plain, [phrase for phrase in legal if NUMBER not in phrase])
        wanted = next((phrase for phrase in union if NUMBER in phrase), "")
        unit = wanted.replace(NUMBER, "").strip()
        with self._lock:
            if unit and unit != self._unit:
                self._open()
                fsg = self._decoder.create_fsg(_SEARCH, 0, _FINAL, self._arcs(unit.split()))
                self._decoder.add_fsg(_SEARCH, fsg)
            self._unit = unit

    def _open(self) -> None:
        """Load a decoder for digits: not before a number is asked for, which few plans do."""
        if self._decoder is None:
            self._decoder = open_decoder(self._pronunciations)
            self._loop = add_phone_words(self._decoder)

    def tighten(self, by: float) -> None:
        """Raise the thresholds for phrases, as a sound check or a noisy room asks."""
        self._judge.tighten(by)

    def judge(self, utterance: Utterance) -> Verdict:
        """Decide about one utterance: as a number where one is asked for, else as a phrase."""
        if utterance.source == "voice":
            with self._lock:
                number = self._number(utterance.pcm) if self._unit else ""
            if number:
                return Verdict("accept", number, "", utterance, f"{self.name}, digits")
        return self._judge.judge(utterance)

    def _number(self, pcm: bytes) -> str:
        """The words of a number with its unit, "" when the sound is none."""
        if len(pcm) < SHORTEST_BYTES:
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
        """Digits, perhaps a decimal sign and more digits, the unit; or the free loop."""
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
