"""A result refuses what cannot be one, and studies are grouped by the place of their vials."""

from dataclasses import replace
from typing import Any

import pytest

from assistant.errors import InputError
from assistant.evaluation.results import (
    Result,
    assays_by_spot,
    by_location,
    by_spot,
    check_study,
    first_of_each_spot,
    has_ports,
)

VIAL = Result("7", "left leg, top", 1, 1, 250.0, 1, 5.0, 512.0, assay=99.4)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"vial": " "}, "empty name"),
        ({"location": ""}, "empty name"),
        ({"position": 0}, "position 0 must be 1"),
        ({"port": -1}, "port -1 must be 1"),
        ({"insertion_order": 0}, "insertion order 0"),
        ({"depth_mm": -1.0}, "depth -1"),
        ({"mass_mg": float("nan")}, "mass nan"),
        ({"open_seconds": float("inf")}, "time open inf"),
        ({"assay": float("nan")}, "not a number"),
        ({"assay": -0.1}, "negative"),
        ({"assay": 1e300}, "above 1000 %"),
        ({"assay": 1e-300}, "is close to zero"),
    ],
)
def test_an_impossible_field_is_refused_in_words(change: dict[str, Any], words: str) -> None:
    """Every field has its own sentence."""
    with pytest.raises(InputError, match=words):
        replace(VIAL, **change)


def test_unknown_circumstances_are_allowed() -> None:
    """Depth, order, time and mass may be unknown."""
    bare = replace(VIAL, depth_mm=None, insertion_order=None, open_seconds=None, mass_mg=None)
    assert bare.assay == 99.4


def test_grouping_keeps_the_order_given() -> None:
    """Places come in order of appearance; stage 1 takes the lowest position of each spot."""
    b2 = replace(VIAL, vial="1", location="B", position=2, assay=1.0)
    a = replace(VIAL, vial="2", location="A", assay=2.0)
    b1_2 = replace(VIAL, vial="3", location="B", port=2, assay=3.0)
    b1_1 = replace(VIAL, vial="4", location="B", assay=4.0)
    results = (b2, a, b1_2, b1_1)
    assert list(by_location(results)) == ["B", "A"]
    assert [spot.name(ports=True) for spot in by_spot(results)] == [
        "B, port 1",
        "A, port 1",
        "B, port 2",
    ]
    assert VIAL.spot.name(ports=False) == "left leg, top"
    assert assays_by_spot(results) == ((1.0, 4.0), (2.0,), (3.0,))
    assert first_of_each_spot(results) == (b1_1, a, b1_2)
    assert has_ports(results)
    assert not has_ports(results[:2])


def test_sets_without_a_verdict_are_refused() -> None:
    """No results, a vial twice, one location only."""
    with pytest.raises(InputError, match="no results"):
        check_study([])
    with pytest.raises(InputError, match="Vial 7 appears twice"):
        check_study([VIAL, VIAL])
    with pytest.raises(InputError, match="one location"):
        check_study([VIAL, replace(VIAL, vial="8")])
    check_study([VIAL, replace(VIAL, vial="8", location="right leg")])
