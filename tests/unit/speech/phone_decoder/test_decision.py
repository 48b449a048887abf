"""Outcomes for one phrase, and between two."""

from dataclasses import replace

import pytest

from assistant.errors import DeviceError
from assistant.ports import Decision, Stakes
from assistant.speech.phone_decoder.ask_back_policy import AskBackPolicy
from assistant.speech.phone_decoder.decision import (
    Rated,
    Reason,
    choose,
    parse_calibration,
    shipped_calibration,
)
from assistant.speech.phone_decoder.evidence import Candidate

PLAIN = Candidate(
    "vial one full", "vial nine full", {}, 0.1, 0.2, contradicted=False, begin=10, end=60
)


def rated(
    probability: float,
    stakes: Stakes | None = "strict",
    *,
    outside: float = 0.3,
    contradicted: bool = False,
    expected: bool = False,
    within_talk: bool = False,
) -> Rated:
    """Rated."""
    candidate = replace(PLAIN, after=outside, contradicted=contradicted)
    return Rated(candidate, probability, stakes, expected, within_talk)


@pytest.mark.parametrize(
    ("one", "outcome"),
    [
        (rated(0.95), ("accept", "")),
        (rated(0.85), ("ask", "unclear")),
        (rated(0.85, "lenient"), ("accept", "")),
        (rated(0.4), ("refuse", "no-phrase")),
        (rated(0.4, expected=True), ("ask", "unclear")),
        (rated(0.75, expected=True), ("accept", "")),
        (rated(0.65, expected=True), ("ask", "unclear")),
        (rated(0.65, "answer", expected=True), ("accept", "")),
        (rated(0.55, "lenient"), ("accept", "")),
        (replace(rated(0.95), stricter=1.0), ("ask", "unclear")),
        (replace(rated(0.97), stricter=1.0), ("accept", "")),
        (rated(0.99, outside=9.0), ("ask", "other-words")),
        (rated(0.7, outside=9.0), ("refuse", "no-phrase")),
        (rated(0.99, "lenient", outside=9.0), ("ask", "other-words")),
        (rated(0.99, within_talk=True), ("ask", "other-words")),
        (rated(0.99, outside=9.0, contradicted=True), ("refuse", "contradicted")),
        (rated(0.99, outside=1.0, contradicted=True), ("accept", "")),
    ],
)
def test_one_phrase(one: Rated, outcome: tuple[Decision, Reason]) -> None:
    """One phrase."""
    assert one.outcome == outcome
    assert choose([one])[:2] == outcome


@pytest.mark.parametrize(
    ("first", "behind", "outcome"),
    [
        (rated(0.99, None), rated(0.2), ("accept", "")),
        (rated(0.99, None), rated(0.97), ("refuse", "unclear")),
        (rated(0.99, None), rated(0.7), ("accept", "")),
        (rated(0.6, None), rated(0.55), ("ask", "unclear")),
        (rated(0.6, None), rated(0.2), ("refuse", "no-phrase")),
        (rated(0.6, None, outside=9, contradicted=True), rated(0.6), ("refuse", "contradicted")),
    ],
)
def test_a_phrase_that_is_not_legal(
    first: Rated, behind: Rated, outcome: tuple[Decision, Reason]
) -> None:
    """A phrase that is not legal."""
    decision, reason, chosen = choose([first, behind])
    assert (decision, reason) == outcome
    assert chosen is (behind if decision == "ask" else first)


def test_the_calibration_in_the_package_is_monotonous() -> None:
    """The calibration in the package is monotonous."""
    rule = shipped_calibration()
    good = {"fit": -0.05, "worst-phone": -0.4, "gap": 30.0, "length": 2.6}
    bad = {"fit": -6.0, "worst-phone": -12.0, "gap": 0.0, "length": 2.6}
    assert rule.probability(good) > 0.95
    assert rule.probability(bad) < 0.05
    assert all(rule.weights[name] > 0 for name in ("fit", "worst-phone", "gap"))


@pytest.mark.parametrize(
    "text", ["", "name = 3 4", 'name = "x"\nbias = "y"', 'name = "x"\nbias = 1\n[weights]\nfit = 1']
)
def test_a_damaged_calibration_is_named(text: str) -> None:
    """A damaged calibration is named."""
    with pytest.raises(DeviceError, match="calibration of the phone model is damaged"):
        parse_calibration(text)


def test_two_questions_without_an_answer_silence_the_program() -> None:
    """Two questions without an answer silence the program."""
    policy = AskBackPolicy()
    spoken = []
    for _ in range(4):
        policy, decision, reason, speak = policy.after("ask", "unclear", tried=True)
        spoken.append((decision, reason, speak))
    asked, silent = ("ask", "unclear", True), ("refuse", "unanswered", False)
    assert spoken == [asked, asked, silent, silent]
    policy, *_ = policy.after("accept", "", tried=True)
    assert policy.after("ask", "unclear", tried=True)[1] == "ask"


def test_the_second_refused_try_is_answered_and_other_talk_never() -> None:
    """The second refused try is answered and other talk never."""
    policy, spoken = AskBackPolicy(), []
    for tried in (True, False, True, False, False, True):
        policy, _, _, speak = policy.after("refuse", "no-phrase", tried=tried)
        spoken.append(speak)
    assert spoken == [False, False, True, False, False, False]
    for _ in range(2):
        policy, *_ = policy.after("ask", "unclear", tried=True)
    for _ in range(4):
        policy, _, _, speak = policy.after("refuse", "no-phrase", tried=True)
        assert not speak
