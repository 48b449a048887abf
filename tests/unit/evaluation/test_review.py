"""The protocol's limits and the open points of a study."""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from assistant.errors import InputError
from assistant.evaluation.e2810 import Demand
from assistant.evaluation.results import Result
from assistant.evaluation.review import Protocol, open_points, protocol_outcome
from assistant.evaluation.schemes import INDUSTRY, PLAN_2, Verdict
from assistant.evaluation.simulated_assays import Truth, regular_vials, results
from assistant.evaluation.study import Options, evaluate

CALM = results(regular_vials(10, 3, 1), Truth(between_sd=0.0, within_sd=1.0), seed=2)
EVERY = Protocol(
    "Protocol VP-07, section 6.2",
    mean=(95.0, 105.0),
    location_mean=(90.0, 110.0),
    individual=(85.0, 115.0),
    from_mean=10.0,
)


def shifted(by: float, indices: Sequence[int] = range(30)) -> tuple[Result, ...]:
    """The calm study with some results moved."""
    return tuple(
        replace(one, assay=one.assay + by) if index in indices else one
        for index, one in enumerate(CALM)
    )


def points(taken: Sequence[Result], protocol: Protocol | None = None, key: str = "") -> str:
    """The open points as one text."""
    return "\n".join(open_points(evaluate(taken), protocol, key or INDUSTRY.key))


def test_a_calm_study_leaves_nothing_open() -> None:
    """With and without limits of the protocol, with and without replicates."""
    assert points(CALM) == ""
    assert points(CALM, EVERY, PLAN_2.key) == ""
    assert points(CALM[::3]) == ""


def test_a_far_mean_is_named_once() -> None:
    """Not again at each location; and not at all where the protocol decides about it."""
    assert points(shifted(-20.0)).count("\n") == 0
    assert "Location means beyond" not in points(shifted(-20.0))
    assert points(shifted(-20.0), EVERY) == ""
    assert "The mean is" in points(shifted(-20.0), Protocol("x", from_mean=10.0))


def test_the_mean_is_held_against_the_target() -> None:
    """At T = 105 the draft's 90 to 110 % are 94.5 to 115.5 % of label claim."""
    options = Options(demand=Demand(target=105.0))
    high = open_points(evaluate(shifted(12.0), options), None, INDUSTRY.key)
    assert high == ()
    (low,) = open_points(evaluate(shifted(-6.5), options), None, INDUSTRY.key)
    assert "had 94.5 to 115.5 for dosage units (90 to 110 % of a target of 105 %)" in low
    assert points(shifted(-6.5)) == ""
    one = open_points(evaluate(shifted(-12.0, (3, 4, 5)), options), None, INDUSTRY.key)[0]
    assert "Location means beyond 94.5 to 115.5 % of target" in one


def test_a_protocol_without_a_limit_meets_nothing() -> None:
    """It is named, and nothing is claimed to be met."""
    named = protocol_outcome(CALM, Protocol("VP-07"))
    assert named.verdict is Verdict.NOT_APPLICABLE
    assert named.sentence == "The protocol is named, but sets no limit."


def test_a_far_location_is_named() -> None:
    """By the historic limits, by Grubbs' test and by the analysis of variance."""
    said = points(shifted(-12.0, (3, 4, 5)))
    assert "Location means beyond 90 to 110" in said
    assert "stands out from the others" in said
    assert "Locations differ by more than chance" in said
    assert "Location means beyond" not in points(shifted(-12.0, (3, 4, 5)), EVERY)


def test_individuals_are_held_against_the_historic_distance_until_the_protocol_sets_one() -> None:
    """The far vial stands out either way."""
    far = shifted(-13.0, (13,))
    assert "Individuals farther than 10 % of target" in points(far)
    assert "Individuals" not in points(far, EVERY)
    assert "Individuals" not in points(far, Protocol("x", individual=(80.0, 120.0)))
    assert "stands out" in points(far, EVERY)


def test_normality_is_asked_for_where_the_scheme_assumes_it() -> None:
    """One far vial is no normal sample; the SD scheme does not assume one."""
    far = shifted(-8.0, (13,))
    assert "assumes normal results" in points(far, None, PLAN_2.key)
    assert "assumes normal results" not in points(far)


@pytest.mark.parametrize(
    ("by", "indices", "missed"),
    [
        (-20.0, range(30), "mean, % of target, at least"),
        (20.0, range(30), "highest individual"),
        (-12.0, (3, 4, 5), "lowest location mean"),
        (14.0, (13,), "largest distance of an individual"),
    ],
)
def test_the_limits_of_the_protocol_decide(by: float, indices: Sequence[int], missed: str) -> None:
    """Each limit by itself; its source is the protocol."""
    outcome = protocol_outcome(shifted(by, indices), EVERY)
    assert outcome.verdict is Verdict.FAIL
    assert missed in outcome.sentence
    assert outcome.scheme.source == "Protocol VP-07, section 6.2"


def test_limits_are_inclusive_and_only_those_set_are_compared() -> None:
    """A mean equal to its limit meets it."""
    flat = [replace(one, assay=95.0) for one in CALM]
    outcome = protocol_outcome(flat, Protocol("x", mean=(95.0, 105.0)))
    assert (outcome.verdict, len(outcome.criteria)) == (Verdict.MET, 2)
    assert len(protocol_outcome(flat, Protocol("x", from_mean=1.0)).criteria) == 1


def test_limits_in_the_wrong_order_are_refused() -> None:
    """They would exclude everything."""
    with pytest.raises(InputError, match="exclude everything"):
        Protocol("x", mean=(105.0, 95.0))


@pytest.mark.slow
def test_chance_alone_seldom_raises_a_point() -> None:
    """At most 5 in 100 uniform blends, of 100 simulated with fixed seeds (found: below 2)."""
    truth = Truth(between_sd=0.0, within_sd=1.0)
    raised = sum(
        bool(points(results(regular_vials(10, 3, 1), truth, seed=seed))) for seed in range(100)
    )
    assert raised <= 5
