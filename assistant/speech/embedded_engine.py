"""The phrase engine of the embedded English model: numbers if one is asked for, else phrases."""

import threading
from collections.abc import Collection, Mapping, Sequence

from assistant.grammar.rendering import NUMBER
from assistant.ports import EngineFacts, Judgement, Stakes, Utterance
from assistant.speech.digit_recogniser import DigitRecogniser
from assistant.speech.pocketsphinx_engine import engine_facts
from assistant.speech.utterance_verification import Verifier


class EmbeddedEngine:
    """Thread-safe; calls wait for each other."""

    def __init__(
        self,
        pronunciations: Mapping[str, Sequence[str]],
        digits: Mapping[str, Sequence[str]],
    ) -> None:
        """Load the engines.

        Args:
            pronunciations: word to its extra pronunciations in ARPAbet.
            digits: "0" to "9" and "." to the words spoken for them.

        Raises:
            DeviceError: the engine or its model is missing.
            GrammarError: a pronunciation uses a sound the model does not have.
        """
        self._lock = threading.Lock()
        self._digits = DigitRecogniser(pronunciations, digits)
        self._verifier = Verifier(pronunciations)

    @property
    def name(self) -> str:
        """Engines and weights, as written to the record."""
        return self._verifier.name

    @property
    def facts(self) -> EngineFacts:
        """Version of pocketsphinx, and the hash over its model's folder."""
        return engine_facts()

    def prepare(
        self,
        union: Sequence[str],
        legal: Mapping[str, Stakes],
        expected: Collection[str] = (),
    ) -> None:
        """Set all phrases that can be heard, and those that are legal now; all are treated alike.

        Raises:
            GrammarError: the union is empty, or a word cannot be pronounced.
        """
        del expected
        plain = [phrase for phrase in union if NUMBER not in phrase]
        self._verifier.prepare(plain, [phrase for phrase in legal if NUMBER not in phrase])
        wanted = next((phrase for phrase in union if NUMBER in phrase), "")
        with self._lock:
            self._digits.prepare(wanted.replace(NUMBER, "").strip())

    def tighten(self, by: float) -> None:
        """Raise the thresholds for phrases; a number is always read back."""
        self._verifier.tighten(by)

    def judge(self, utterance: Utterance) -> Judgement:
        """Judge one utterance: as a number if one is asked for, else as a phrase."""
        if utterance.source == "voice":
            with self._lock:
                number = self._digits.hear(utterance.pcm)
            if number:
                return Judgement("accept", number, "", utterance, f"{self.name}, digits")
        return self._verifier.judge(utterance)
