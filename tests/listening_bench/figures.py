"""Counts with their exact 95 % intervals, and the outcomes they are counted from: pure."""

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from assistant.ports import Decision
from assistant.speech.utterance_verification.decision import choose, weigh
from assistant.speech.utterance_verification.score_model import Weights
from tests.listening_bench.evidence import Evidence


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one case."""

    case: Evidence
    decision: Decision
    phrase: str
    spoke: bool = False
    """Whether the program would have said something, where that was measured."""

    @property
    def right(self) -> bool:
        """Whether the phrase that was said was accepted."""
        return self.decision == "accept" and self.phrase == self.case.text

    @property
    def wrong(self) -> bool:
        """Whether some other phrase was accepted."""
        return self.decision == "accept" and self.phrase != self.case.text

    @property
    def harm(self) -> bool:
        """Whether a phrase was accepted that advances or records at this place, unasked."""
        return self.wrong and self.phrase in self.case.harmful and not self.read_back

    @property
    def read_back(self) -> bool:
        """Whether what was accepted is asked back all the same, since it records a sample."""
        return self.decision == "accept" and self.phrase in self.case.read_back


def raw_outcome(case: Evidence) -> Outcome:
    """Return what the engine without the acceptance layer does: it takes whatever fits."""
    phrase = next((one.raw for one in case.heard if one.raw), "")
    return Outcome(case, "accept" if phrase else "refuse", phrase)


def outcome(case: Evidence, weights: Weights) -> Outcome:
    """Decide on a case from the kept evidence, as the live judge would.

    Args:
        case: the evidence.
        weights: of the embedded engine.
    """
    asked = ""
    for one in case.heard:
        found = [weigh(each.phrase, each.figures, weights) for each in one.candidates]
        if not found:
            continue
        decision, chosen = choose(found, frozenset(case.legal))
        if decision == "accept":
            return Outcome(case, "accept", chosen.phrase)
        if decision == "ask" and not asked:
            asked = chosen.phrase
    return Outcome(case, "ask" if asked else "refuse", asked)


@dataclass(frozen=True, slots=True)
class Rate:
    """A count out of a number of trials."""

    count: int
    trials: int

    @property
    def percent(self) -> float:
        """The rate in per cent; not a number without trials."""
        return 100.0 * self.count / self.trials if self.trials else math.nan

    def interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Return the exact (Clopper and Pearson 1934) interval in per cent."""
        from scipy.special import betaincinv  # noqa: PLC0415 - heavy, and only for measurements

        if not self.trials:
            return 0.0, 100.0
        miss = (1.0 - confidence) / 2.0
        hits, others = self.count, self.trials - self.count
        low = float(betaincinv(hits, others + 1, miss)) if hits else 0.0
        high = float(betaincinv(hits + 1, others, 1.0 - miss)) if others else 1.0
        return 100.0 * low, 100.0 * high

    def __str__(self) -> str:
        """Rate, count and interval in one short text."""
        if not self.trials:
            return "no clips"
        low, high = self.interval()
        return f"{self.percent:.1f} % ({self.count}/{self.trials}; {low:.1f}-{high:.1f})"


def rate(outcomes: Iterable[Outcome], hit: Callable[[Outcome], bool]) -> Rate:
    """Count the outcomes that are hits."""
    found = [hit(each) for each in outcomes]
    return Rate(sum(found), len(found))


def percentile(values: Sequence[float], share: float) -> float:
    """Return the smallest value that at least `share` of the values do not exceed."""
    if not values:
        return math.nan
    ordered = sorted(values)
    return ordered[max(math.ceil(share * len(ordered)) - 1, 0)]
