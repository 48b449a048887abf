"""Numbers and marks of the vials."""

from collections.abc import Callable

import pytest

from assistant.plan import Plan
from assistant.plan.vials import read_label, vial_number, vials

Change = Callable[..., Plan]


def test_numbers_follow_the_dies(cone: Plan, with_part: Change) -> None:
    """Location by location, set by set, port by port, from 1 without a gap."""
    plan = with_part(cone, "sampler", ports_mm=[60.0, 160.0])
    found = vials(plan)
    assert [vial.number for vial in found] == list(range(1, 61))
    first = [(vial.location, vial.position, vial.port) for vial in found[:7]]
    assert first == [
        ("C2", "bottom", 1),
        ("C2", "bottom", 2),
        ("C2", "middle", 1),
        ("C2", "middle", 2),
        ("C2", "top", 1),
        ("C2", "top", 2),
        ("N2", "bottom", 1),
    ]
    assert vial_number(plan, 9, 2, 1) == 60


@pytest.mark.parametrize("wrong", [(10, 0, 0), (0, 3, 0), (0, 0, 1), (-1, 0, 0)])
def test_no_such_die(cone: Plan, wrong: tuple[int, int, int]) -> None:
    """Indices beyond the plan are a programmer's mistake."""
    with pytest.raises(IndexError):
        vial_number(cone, *wrong)


def test_marks_are_unique_and_plain(cone: Plan) -> None:
    """What the code on the label carries tells every vial apart, in plain ASCII."""
    marks = [vial.mark(cone.study.batch) for vial in vials(cone)]
    assert len(set(marks)) == 30
    assert all(mark.isascii() for mark in marks)
    assert marks[0] == "TV2611|1|C2|bottom|1"


def test_a_label_is_read_back(cone: Plan) -> None:
    """What was printed says which vial it is, also where the batch holds the sign between."""
    for vial in vials(cone):
        assert read_label(f" {vial.mark('TV2611')}\n") == ("TV2611", vial)
    first = vials(cone)[0]
    assert read_label(first.mark("a|b")) == ("a|b", first)


@pytest.mark.parametrize(
    "code",
    [
        "",
        "vial one full",
        "TV|1|C2|bottom",
        "|1|C2|bottom|1",
        "TV|x|C2|bottom|1",
        "TV|1|C2|bottom|-1",
        f"TV|{'9' * 5000}|C2|bottom|1",
    ],
)
def test_other_codes_are_no_labels(code: str) -> None:
    """Too few fields, an empty one, no number, or far too large a one."""
    assert read_label(code) is None
