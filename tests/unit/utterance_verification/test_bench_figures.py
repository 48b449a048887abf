"""Counts, intervals and outcomes of the listening measurements."""

import math
from dataclasses import replace

import pytest

from assistant.speech.utterance_verification.score_model import Weights
from tests.listening_bench.evidence import Candidate, Evidence, Heard
from tests.listening_bench.figures import Rate, outcome, percentile, raw_outcome

PLAIN = Weights("plain", 0.0, {"a": 1.0}, accept=2.0, ask=1.0)


def evidence(*heard: Heard, text: str = "go") -> Evidence:
    """Build the evidence for someone who says "go" where that is legal and harmful."""
    return Evidence(1, "phrase", text, "v", "pink", "clean", "s", ("go",), ("go",), heard)


def heard(phrase: str, a: float, *more: Candidate) -> Heard:
    """Build one utterance with one candidate or more."""
    return Heard(1.0, 0.3, "no", 0.01, 0.1, (Candidate(phrase, {"a": a}), *more))


def test_interval_without_hits_is_exact() -> None:
    """0 of 3 000: the upper 97.5 % bound is 1 - 0.025 ** (1 / 3000) = 0.1229 % (by hand)."""
    low, high = Rate(0, 3000).interval()
    assert low == 0.0
    assert high == pytest.approx(100 * (1 - 0.025 ** (1 / 3000)), rel=1e-9)


def test_interval_of_half() -> None:
    """5 of 10: 18.7 to 81.3 %, from the tables of Clopper and Pearson 1934 (from memory)."""
    assert Rate(5, 10).interval() == pytest.approx((18.7086, 81.2914), rel=1e-4)


def test_interval_of_nothing_and_of_everything() -> None:
    """Without trials nothing is known; with all hits the upper end is 100 %."""
    assert Rate(0, 0).interval() == (0.0, 100.0)
    assert math.isnan(Rate(0, 0).percent)
    assert str(Rate(0, 0)) == "no clips"
    assert Rate(4, 4).interval()[1] == 100.0


def test_percentile_is_a_value_that_was_seen() -> None:
    """The 95th of twenty values is the nineteenth."""
    values = [float(value) for value in range(1, 21)]
    assert percentile(values, 0.95) == 19.0
    assert percentile(values, 0.5) == 10.0
    assert math.isnan(percentile([], 0.5))


def test_the_first_accepted_utterance_counts() -> None:
    """A doubtful fragment before a sure phrase does not stand in its way."""
    found = outcome(evidence(heard("go", 1.5), heard("go", 3.0)), PLAIN)
    assert found.right
    assert not found.wrong


def test_a_wrong_phrase_that_is_legal_is_harm() -> None:
    """Someone says something else and "go" is taken."""
    found = outcome(evidence(heard("go", 3.0), text="no"), PLAIN)
    assert found.wrong
    assert found.harm


def test_doubt_and_refusal() -> None:
    """Below "accept" it is asked, below "ask" refused, without utterance refused."""
    assert outcome(evidence(heard("go", 1.5)), PLAIN).decision == "ask"
    assert outcome(evidence(heard("go", 0.5)), PLAIN).decision == "refuse"
    assert outcome(evidence(), PLAIN).decision == "refuse"


def test_what_is_read_back_does_no_harm_unasked() -> None:
    """A result that records a sample is asked back, however sure."""
    case = replace(evidence(heard("go", 3.0), text="no"), read_back=("go",))
    found = outcome(case, PLAIN)
    assert found.wrong
    assert found.read_back
    assert not found.harm


def test_the_raw_engine_takes_whatever_fits() -> None:
    """The first utterance with any phrase counts as accepted."""
    assert raw_outcome(evidence(heard("go", 0.0))).wrong
    assert raw_outcome(evidence()).decision == "refuse"
