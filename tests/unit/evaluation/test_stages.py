"""Stage 1: which vials it takes, what a sheet of them lacks, and what comes next."""

import pytest

from assistant.errors import InputError
from assistant.evaluation.assays import Expected, Joined, State
from assistant.evaluation.results import Result, Vial
from assistant.evaluation.stages import first_vials, not_assayed, of_stage_1, only_stage_1


def vials(**states: State) -> tuple[Expected, ...]:
    """Two locations, two ports, three positions each; vials a to l."""
    places = [(place, port, pos) for place in "NS" for port in (1, 2) for pos in (1, 2, 3)]
    return tuple(
        Expected(Vial(label, place, pos, port), states.get(label, State.TAKEN))
        for label, (place, port, pos) in zip("abcdefghijkl", places, strict=True)
    )


def joined(labels: str, expected: tuple[Expected, ...]) -> Joined:
    """These vials assayed, every other taken one missing, and the unreconciled named."""
    found = [each for each in expected if each.vial.vial in labels]
    return Joined(
        results=tuple(Result.of(each.vial, 100.0, None) for each in found),
        missing=tuple(
            each.vial.vial
            for each in expected
            if each.vial.vial not in labels and each.state is State.TAKEN
        ),
        unreconciled=tuple(each.vial.vial for each in expected if each.state is State.UNRECONCILED),
    )


def test_the_lowest_taken_position_of_every_spot() -> None:
    """Each port is a spot; void or lost powder hands on to the next position."""
    assert first_vials(vials()) == ("a", "d", "g", "j")
    assert first_vials(tuple(reversed(vials()))) == ("j", "g", "d", "a")
    lost = vials(a=State.VOID, g=State.UNRECONCILED, h=State.VOID)
    assert first_vials(lost) == ("b", "d", "i", "j")
    assert first_vials(vials(a=State.VOID, b=State.VOID, c=State.UNRECONCILED)) == ("d", "g", "j")


def test_a_sheet_of_stage_1_lacks_nothing() -> None:
    """The kept vials are not missing, but a first vial without an assay is."""
    expected = vials()
    whole = of_stage_1(joined("adgj", expected), expected)
    assert whole.problems == ()
    assert not_assayed(whole, expected) == ("b", "c", "e", "f", "h", "i", "k", "l")
    assert of_stage_1(joined("adg", expected), expected).missing == ("j",)


def test_a_result_beyond_stage_1_is_never_left_out() -> None:
    """Results that exist count."""
    expected = vials()
    with pytest.raises(InputError, match=r"of others: b, h\. .* every result counts"):
        of_stage_1(joined("abdghj", expected), expected)


def test_unreconciled_vials_matter_only_where_their_spot_has_no_other() -> None:
    """A spot without any vial remains a problem."""
    expected = vials(a=State.UNRECONCILED)
    assert of_stage_1(joined("bdgj", expected), expected).problems == ()
    expected = vials(**dict.fromkeys("abc", State.UNRECONCILED))
    assert of_stage_1(joined("dgj", expected), expected).unreconciled == ("a", "b", "c")


def test_a_sheet_of_stage_1_is_recognised() -> None:
    """Exactly the first vials, with others left."""
    expected = vials()
    assert only_stage_1(joined("adgj", expected), expected)
    assert not only_stage_1(joined("adg", expected), expected)
    assert not only_stage_1(joined("abcdefghijkl", expected), expected)
