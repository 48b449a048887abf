"""From evidence to one of three outcomes: pure, and the same live and in the measurements.

What a phrase can do sets how sure the program must be: strict for what records or advances, lenient
for what does neither by itself. Words around a phrase lower it to a question, a contradiction
refuses it.
"""

import math
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Final, Literal

from assistant.errors import DeviceError
from assistant.ports import Decision, Stakes
from assistant.speech.phone_decoder.evidence import FIGURES, Candidate

Reason = Literal[
    "", "unclear", "no-phrase", "other-words", "contradicted", "too-short", "too-long", "unanswered"
]
"""Why not accepted; "" where it was."""

ACCEPT: Final[Mapping[Stakes, float]] = {"strict": 0.9, "lenient": 0.5, "answer": 0.3}
"""Least probability of being right at which a phrase is taken; to the question just asked, nothing
is likelier than an answer. Chosen on the tuning half: of 108 "affirm" by three voices unlike those
of the training 99 are taken, from 0.5 on 90; of 1800 clips of other talk 1 at either. Lenient from
0.35 on took 577 of 600 phrases there instead of 572, but answered 2 of 932 clips of other talk in
the test half."""
ACCEPT_EXPECTED: Final = 0.7
"""The same for what answers the prompt just spoken. Chosen on the tuning half (90 phrases at each
of clean, 20 and 10 dB): from 0.9 on 84, 81 and 72 are taken at first saying, from 0.7 on 88, 86 and
79, from 0.5 on 88, 89 and 85; of 90 near misses of the phrase in question 12, 16 and 20, or 25, 30
and 32, or 32, 38 and 39; of 360 clips of other talk none."""
ASK: Final = 0.5
"""Least probability at which a phrase is asked back."""
ASK_AMONG_WORDS: Final = 0.8
"""The same where other words stand around it."""
ASK_EXPECTED: Final = 0.1
"""The same for the answer that was asked for, where nothing else was said."""
OUTSIDE_LIMIT: Final = 5.0
"""Sound around a phrase, in natural logarithms, from which on it is other words. Of plain phrases
in the study 0 of 76 had 3 phones there, of phrases with a tail 48 of 52."""
RESEMBLES: Final = 0.05
"""Least probability at which a refusal counts as a try."""


def log_odds(probability: float) -> float:
    """Return the log odds of a probability; 0 and 1 count as a millionth away from them."""
    inside = min(max(probability, 1e-6), 1.0 - 1e-6)
    return math.log(inside / (1.0 - inside))


def probability_of(odds: float) -> float:
    """Return the probability for log odds, which count no further than 50 either way."""
    return 1.0 / (1.0 + math.exp(-min(max(odds, -50.0), 50.0)))


@dataclass(frozen=True, slots=True)
class Calibration:
    """A logistic rule: figures to the probability that the phrase was said."""

    name: str
    bias: float
    weights: Mapping[str, float]

    def probability(self, figures: Mapping[str, float]) -> float:
        """Return the probability, 0 to 1, that the phrase is what was said."""
        return probability_of(self.bias + sum(self.weights[n] * figures[n] for n in FIGURES))


def parse_calibration(text: str) -> Calibration:
    """Read a calibration from the text of its file.

    Raises:
        DeviceError: the file is damaged.
    """
    try:
        table = tomllib.loads(text)
        found = Calibration(
            str(table["name"]),
            float(table["bias"]),
            {name: float(table["weights"][name]) for name in FIGURES},
        )
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError):
        found = Calibration("", math.nan, {})
    if not all(map(math.isfinite, (found.bias, *found.weights.values()))):
        raise DeviceError(
            "The calibration of the phone model is damaged: reinstall the package "
            "sampling-assistant."
        )
    return found


def shipped_calibration() -> Calibration:
    """Return the calibration that comes with the program.

    Raises:
        DeviceError: the file is damaged.
    """
    source = files("assistant.speech.phone_decoder") / "calibration.toml"
    return parse_calibration(source.read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True)
class Rated:
    """A candidate with its probability and what it can do."""

    candidate: Candidate
    probability: float
    stakes: Stakes | None
    """None where the phrase is not legal now."""
    expected: bool = False
    """Whether it is the answer that was asked for."""
    within_talk: bool = False
    """Whether it was cut out of longer talk."""
    stricter: float = 0.0
    """By how much more evidence is needed to take it or to ask, in log odds."""

    @property
    def needed(self) -> float:
        """Least probability at which it is taken."""
        needed = ACCEPT[self.stakes or "strict"]
        return self._raised(min(needed, ACCEPT_EXPECTED) if self.expected else needed)

    def _raised(self, probability: float) -> float:
        return probability_of(log_odds(probability) + self.stricter)

    @property
    def among_words(self) -> bool:
        """Whether other words stand around it."""
        return self.within_talk or self.candidate.before + self.candidate.after >= OUTSIDE_LIMIT

    @property
    def outcome(self) -> tuple[Decision, Reason]:
        """The outcome for this phrase by itself."""
        if self.among_words:
            if self.candidate.contradicted:
                return "refuse", "contradicted"
            asked = self.probability >= self._raised(ASK_AMONG_WORDS)
            return ("ask", "other-words") if asked else ("refuse", "no-phrase")
        if self.probability >= self.needed:
            return "accept", ""
        least = self._raised(ASK_EXPECTED if self.expected else ASK)
        return ("ask", "unclear") if self.probability >= least else ("refuse", "no-phrase")


def choose(found: Sequence[Rated]) -> tuple[Decision, Reason, Rated]:
    """Choose between the best phrase of all and the best legal one behind it.

    The one that is not the best of all can at most be asked back. A phrase that is not legal now is
    never asked back: what cannot be taken anyway needs no question. Where one that is not legal and
    one that is would each be taken by itself, neither counts.

    Args:
        found: one or two phrases, the best of all first.
    """
    first = found[0]
    decision, reason = first.outcome
    if first.stakes is not None:
        return decision, reason, first
    behind = [each for each in found[1:] if each.outcome[0] != "refuse"]
    if decision == "accept":
        if any(each.outcome[0] == "accept" for each in behind):
            return "refuse", "unclear", first
        return decision, reason, first
    if behind and reason != "contradicted":
        return "ask", "unclear", behind[0]
    return "refuse", reason if reason == "contradicted" else "no-phrase", first
