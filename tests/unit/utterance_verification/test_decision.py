"""From figures to one of three outcomes."""

import pytest

from assistant.speech.utterance_verification.decision import choose, weigh
from assistant.speech.utterance_verification.score_model import Clarity, Weights, load

PLAIN = Weights("plain", 1.0, {"a": 2.0, "a*b": 0.5}, accept=4.0, ask=2.0, centre={"b": 1.0})


def test_the_sum_weighs_products_of_centred_figures() -> None:
    """1 + 2 * 3 + 0.5 * 3 * (5 - 1) is 13 (by hand)."""
    assert PLAIN.score({"a": 3.0, "b": 5.0}) == pytest.approx(13.0)


def test_raised_thresholds_leave_the_sum_alone() -> None:
    """A stricter session moves both thresholds."""
    stricter = PLAIN.moved(1.5)
    assert (stricter.accept, stricter.ask) == (5.5, 3.5)
    assert stricter.score({"a": 3.0, "b": 5.0}) == PLAIN.score({"a": 3.0, "b": 5.0})


@pytest.mark.parametrize(("a", "decision"), [(2.0, "accept"), (1.0, "ask"), (0.0, "refuse")])
def test_two_thresholds_make_three_outcomes(a: float, decision: str) -> None:
    """Sums of 5, 3 and 1 against 4 and 2, with b at its centre."""
    assert weigh("go", {"a": a, "b": 1.0}, PLAIN).decision == decision


SURE = weigh("go", {"a": 2.0, "b": 1.0}, PLAIN)
DOUBTFUL = weigh("no", {"a": 1.0, "b": 1.0}, PLAIN)
POOR = weigh("so", {"a": 0.0, "b": 1.0}, PLAIN)
SURE_BEHIND = weigh("no", {"a": 2.0, "b": 1.0}, PLAIN)


def test_a_sure_phrase_is_taken_whether_legal_or_not() -> None:
    """What is said at the wrong moment is answered, so it is reported as heard."""
    assert choose([SURE], frozenset({"go"})) == ("accept", SURE)
    assert choose([SURE, POOR], frozenset({"so"})) == ("accept", SURE)
    assert choose([SURE, DOUBTFUL], frozenset({"no"})) == ("accept", SURE)


def test_a_sound_that_could_be_a_legal_phrase_is_not_answered_as_another() -> None:
    """Nor is the legal one suggested: one sound that could be both counts as neither."""
    assert choose([SURE, SURE_BEHIND], frozenset({"no"})) == ("refuse", SURE)


def test_a_doubtful_phrase_is_asked_only_if_it_could_count() -> None:
    """A question about what cannot be taken wastes the operator's time."""
    assert choose([DOUBTFUL], frozenset({"no"})) == ("ask", DOUBTFUL)
    assert choose([DOUBTFUL], frozenset({"go"})) == ("refuse", DOUBTFUL)
    assert choose([DOUBTFUL], frozenset()) == ("ask", DOUBTFUL)


def test_a_legal_phrase_behind_the_best_is_never_taken_at_once() -> None:
    """However sure it is by itself, another phrase fitted better."""
    assert choose([POOR, SURE_BEHIND], frozenset({"no"})) == ("ask", SURE_BEHIND)
    assert choose([POOR, POOR], frozenset({"so"})) == ("refuse", POOR)


def test_shipped_weights_are_whole() -> None:
    """Thresholds in order, a provenance in the name."""
    shipped = load("alone")
    assert shipped.accept > shipped.ask
    assert shipped.name.startswith("alone ")
    assert len(shipped.weights) > 5


@pytest.mark.parametrize(
    ("spread", "more"), [(10.0, 0.0), (20.0, 0.0), (22.0, 1.0), (24.0, 2.0), (40.0, 2.0)]
)
def test_clear_speech_has_to_fit_better(spread: float, more: float) -> None:
    """Half a point for each dB above 20, at most 2; the threshold of asking stays."""
    clear = Weights("c", 0.0, {"a": 1.0}, accept=1.0, ask=0.0, clarity=Clarity(20.0, 0.5, 2.0))
    assert clear.needed({"spread": spread}) == pytest.approx(1.0 + more)
    just = {"a": 1.0 + more, "spread": spread}
    assert weigh("go", just, clear).decision == "accept"
    assert weigh("go", {**just, "a": 0.99 + more}, clear).decision == "ask"


def test_raising_the_thresholds_keeps_the_rise_with_clarity() -> None:
    """Both add up."""
    clear = Weights("c", 0.0, {"a": 1.0}, accept=1.0, ask=0.0, clarity=Clarity(20.0, 0.5, 2.0))
    assert clear.moved(3.0).needed({"spread": 60.0}) == pytest.approx(6.0)
