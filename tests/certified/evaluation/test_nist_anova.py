"""One-way analysis of variance against NIST's certified values, digits stated set by set.

The eleven ANOVA sets of the NIST Statistical Reference Datasets (public domain) travel inside the
scipy wheel, in scipy/stats/tests/data/nist_anova. Values are found by their labels, never by line
numbers. Digits are the log relative error, -log10(|x - c|/|c|), capped at the 15 digits certified.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import import_module, resources
from pathlib import Path

import pytest
from scipy import stats

from assistant.evaluation.variance import OneWay, one_way

CERTIFIED_DIGITS = 15
NAMES = ("SiRstv", "AtmWtAg", *(f"SmLs0{i}" for i in range(1, 10)))


@dataclass(frozen=True)
class Certified:
    """One file: the data by treatment and the certified figures."""

    groups: tuple[tuple[float, ...], ...]
    figures: dict[str, float]


def read(name: str) -> Certified:
    """Parse a file of the collection by its labels."""
    text = (
        Path(str(resources.files("scipy"))) / f"stats/tests/data/nist_anova/{name}.dat"
    ).read_text("ascii")
    line = r"^{} \S+\s+(\d+)\s+(\S+)\s+(\S+)"
    between = re.search(line.format("Between") + r"\s+(\S+)", text, re.MULTILINE)
    within = re.search(line.format("Within"), text, re.MULTILINE)
    r2 = re.search(r"Certified R-Squared\s+(\S+)", text)
    sd = re.search(r"Certified Residual\s+Standard Deviation\s+(\S+)", text)
    assert between is not None
    assert within is not None
    assert r2 is not None
    assert sd is not None
    labels = ("df_between", "ss_between", "ms_between", "f")
    figures = dict(zip(labels, map(float, between.groups()), strict=True))
    figures |= zip(
        ("df_within", "ss_within", "ms_within"), map(float, within.groups()), strict=True
    )
    figures |= {"r_squared": float(r2[1]), "residual_sd": float(sd[1])}
    groups: dict[str, list[float]] = {}
    body = re.split(r"^Data:\s+\w+\s+\w+\s*$", text, flags=re.MULTILINE)[-1]
    for row in body.split("\n"):
        if row.strip():
            treatment, value = row.split()
            groups.setdefault(treatment, []).append(float(value))
    return Certified(tuple(tuple(g) for g in groups.values()), figures)


def digits(value: float | None, certified: float) -> float:
    """Log relative error, at most `CERTIFIED_DIGITS`."""
    assert value is not None
    error = abs(value - certified) / abs(certified)
    return CERTIFIED_DIGITS if error == 0 else min(CERTIFIED_DIGITS, -math.log10(error))


def least_digits(table: OneWay, certified: Certified) -> float:
    """Digits of the worst of all certified figures."""
    return min(digits(getattr(table, name), value) for name, value in certified.figures.items())


def statsmodels_f(groups: Sequence[Sequence[float]]) -> float | None:
    """F of statsmodels' one-way analysis of variance, by formula; None where it is missing."""
    try:
        formula = import_module("statsmodels.formula.api")
        anova = import_module("statsmodels.stats.anova")
    except ImportError:
        return None
    rows = [(str(index), value) for index, group in enumerate(groups) for value in group]
    frame = import_module("pandas").DataFrame(rows, columns=["treatment", "value"])
    table = anova.anova_lm(formula.ols("value ~ C(treatment)", frame).fit())
    return float(table.loc["C(treatment)", "F"])


@pytest.mark.parametrize("name", NAMES)
def test_every_figure_of_every_set_holds_fourteen_digits(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """All nine figures reach 14 digits from plain doubles; other libraries' F beside ours."""
    certified = read(name)
    table, exact = one_way(certified.groups), certified.figures["f"]
    centre = certified.groups[0][0]
    shifted = [[x - centre for x in group] for group in certified.groups]
    reached = {
        "F": digits(table.f, exact),
        "all figures": least_digits(table, certified),
        "scipy": digits(float(stats.f_oneway(*certified.groups).statistic), exact),
        "scipy on shifted data": digits(float(stats.f_oneway(*shifted).statistic), exact),
    }
    other = statsmodels_f(certified.groups)
    if other is not None:
        reached["statsmodels"] = digits(other, exact)
    with capsys.disabled():
        told = ", ".join(f"{what} {number:.1f}" for what, number in reached.items())
        print(f"\n{name}: digits of {told}")  # noqa: T201 - the digits are the point of the test
    assert reached["all figures"] >= 14.0
    assert reached["F"] >= max(reached["scipy"], reached.get("statsmodels", 0.0)) - 0.5


@pytest.mark.parametrize("name", NAMES)
def test_a_value_wrong_in_the_thirteenth_digit_is_seen(name: str) -> None:
    """The twin: the same comparison fails for a figure off by 1e-13 of itself."""
    certified = read(name)
    table = one_way(certified.groups)
    for label, value in certified.figures.items():
        assert digits(value * (1.0 + 1e-13), certified.figures[label]) < 14.0
        assert digits(getattr(table, label) * (1.0 + 2e-13), value) < 14.0


@pytest.mark.parametrize("name", ["SmLs07", "SmLs08", "SmLs09"])
def test_ours_beats_double_precision_on_the_hard_sets(name: str) -> None:
    """Thirteen constant leading digits: scipy and statsmodels keep under 5, the decimals 14."""
    certified = read(name)
    theirs = digits(float(stats.f_oneway(*certified.groups).statistic), certified.figures["f"])
    assert theirs < 5.0
    other = statsmodels_f(certified.groups)
    assert other is None or digits(other, certified.figures["f"]) < 5.0
    assert digits(one_way(certified.groups).f, certified.figures["f"]) >= 14.0
