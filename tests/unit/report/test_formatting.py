"""How numbers are written."""

import pytest

from assistant.report.formatting import (
    MISSING,
    beside,
    common_decimals,
    counted,
    fixed,
    interval,
    limit,
    listed,
    moment,
    p_value,
    share,
    short,
    spread,
)


@pytest.mark.parametrize(
    ("value", "text"),
    [(3.0, "3.00"), (-0.001, "0.00"), (-1.005, "-1.00"), (None, MISSING), (1e300, f"{1e300:.2f}")],
)
def test_fixed_decimals(value: float | None, text: str) -> None:
    """Two decimals, no minus zero, a dash for nothing."""
    assert fixed(value) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.00003982, "0.00003982"),
        (123456.0, "123456"),
        (0.5, "0.5"),
        (-0.0, "0"),
        (1e-300, "1e-300"),
        (None, MISSING),
    ],
)
def test_significant_digits(value: float | None, text: str) -> None:
    """Four digits, without an exponent where it can be read."""
    assert short(value) == text


@pytest.mark.parametrize(
    ("p", "text"), [(0.05, "0.0500"), (0.00009, "< 0.0001"), (0.0, "< 0.0001"), (None, MISSING)]
)
def test_p_values(p: float | None, text: str) -> None:
    """Four decimals, and never zero."""
    assert p_value(p) == text


@pytest.mark.parametrize(
    ("probability", "text"),
    [(1.0, "100.0 %"), (0.99996, "> 99.9 %"), (0.999, "99.9 %"), (0.5, "50.0 %"), (0.0, "0.0 %")],
)
def test_a_probability_is_not_rounded_up_to_certainty(probability: float, text: str) -> None:
    """Only 1 is 100 %."""
    assert share(probability) == text


def test_intervals_and_limits() -> None:
    """An upper limit alone is written as one; a whole limit keeps a decimal."""
    assert interval(1.0, 2.0) == "1.00 to 2.00"
    assert interval(None, 2.0, 1) == "up to 2.0"
    assert [limit(value) for value in (3.0, 0.95, 2.6310)] == ["3.0", "0.95", "2.631"]
    assert [spread(3, 3), spread(2, 5)] == ["3", "2 to 5"]


def test_words_around_numbers() -> None:
    """Nouns in number, long lists shortened, times without their fraction."""
    assert [counted(1, "vial"), counted(2, "vial"), counted(2, "die", "dies")] == [
        "1 vial",
        "2 vials",
        "2 dies",
    ]
    assert listed(["a", "b", "c"], 2) == "a, b and 1 more"
    assert [listed([]), listed(["a"])] == [MISSING, "a"]
    assert moment("2026-03-04T08:05:06.123456Z") == "2026-03-04 08:05:06 UTC"


def test_values_share_their_decimals() -> None:
    """As many as the finest needs, one at least, and no more than allowed."""
    assert common_decimals([99.0, 101.0]) == 1
    assert common_decimals([99.0, 101.25]) == 2
    assert common_decimals([99.0, 100 / 3]) == 3


@pytest.mark.parametrize(
    ("value", "bound", "text"),
    [
        (1.02502, 3.0, "1.03"),
        (3.0004, 3.0, "3.0004"),
        (3.0, 3.0, "3.00"),
        (0.99997, 0.95, "0.999"),
        (1.0, 0.95, "1.000"),
        (2.4600, 3.0423, "2.4600"),
        (None, 3.0, "\N{EN DASH}"),
    ],
)
def test_a_figure_has_one_decimal_more_than_its_limit(
    value: float | None, bound: float, text: str
) -> None:
    """Never rounded onto the limit, nor up to certainty."""
    assert beside(value, bound) == text
