"""What a percentage is of: asked where the sheet leaves it open, settled by command or plan."""

import pytest

from assistant.errors import InputError
from assistant.evaluation.assay_units import Target, Unit
from assistant.evaluation.assays import Expected, Joined, join
from assistant.evaluation.sheet_import import table_from_csv
from assistant.evaluation.sheet_rows import read_sheet
from assistant.evaluation.simulated_assays import regular_vials

TARGET = Target(label_mg=20.0, unit_mass_mg=250.0)  # 8 % by weight
EIGHT = (7.2, 8.6, 7.9, 7.66)


def joined(
    heading: str,
    values: tuple[float, ...] = EIGHT,
    unit: Unit | None = None,
    target: Target | None = TARGET,
) -> Joined:
    """Four vials with these assays, joined."""
    rows = "".join(f"{n},{value}\n" for n, value in enumerate(values, start=1))
    sheet = read_sheet(table_from_csv(f"vial,{heading}\n{rows}", "lab.csv"), unit)
    return join(sheet, [Expected(vial) for vial in regular_vials(2, 2)], target)


@pytest.mark.parametrize("heading", ["%", "Assay (%)", "% w/w", "Potency %", "Assay (% m/m)"])
def test_a_percentage_of_nothing_is_asked_with_both_means(heading: str) -> None:
    """The two readings stand side by side, with what to do."""
    with pytest.raises(InputError, match="does not say of what") as refused:
        joined(heading)
    text = str(refused.value)
    assert "read as % of target the mean is 7.84, SD 0.58 % of target" in text
    assert "read as % by weight the mean is 98.00, SD 7.30 % of target" in text
    assert '--unit "% of target" or --unit "% by weight"' in text


def test_the_answer_settles_it() -> None:
    """Eight per cent by weight of a blend that aims at eight is 98 % of target."""
    by_weight = joined("Assay (%)", unit=Unit.BY_WEIGHT)
    assert by_weight.unit is Unit.BY_WEIGHT
    assert [r.assay for r in by_weight.results] == pytest.approx([90.0, 107.5, 98.75, 95.75])
    assert joined("Assay (%)", unit=Unit.PERCENT).results[0].assay == 7.2
    with pytest.raises(
        InputError, match="is in % of target or % by weight, not in mg as requested"
    ):
        joined("Assay (%)", unit=Unit.MG)


def test_a_heading_without_a_unit_shows_every_reading() -> None:
    """Without a target only those that need none."""
    with pytest.raises(InputError, match="names no unit") as refused:
        joined("assay")
    assert str(refused.value).count("read as") == 4
    with pytest.raises(InputError, match="names no unit") as refused:
        joined("assay", target=None)
    assert str(refused.value).count("read as") == 2


@pytest.mark.parametrize(
    ("heading", "values", "words"),
    [
        ("% of target", EIGHT, "read as % by weight the mean is 98.00"),
        ("mg/g", (99.1, 99.9, 100.2, 100.8), "the mean would be 125.00"),
        ("mg/g", (1.0, 1.0, 1.0, 1.0), "read as fraction of target the mean is 100.00"),
        ("fraction", (99.0, 99.5, 100.0, 98.0), "Vial 1: the assay 9900 %"),
        ("fraction", (0.2, 0.3, 0.2, 0.3), "the mean would be 25.00 % of target: confirm"),
        ("% LC", (0.98, 0.99, 1.0, 1.01), "read as fraction of target the mean is 99.50"),
    ],
)
def test_a_mean_that_is_not_a_blend_s_is_a_question(
    heading: str, values: tuple[float, ...], words: str
) -> None:
    """A clear heading does not save a mean near the drug load or far from 100."""
    with pytest.raises(InputError) as refused:
        joined(heading, values)
    assert words in str(refused.value)


def test_a_confirmed_unit_is_not_asked_again() -> None:
    """What the command says is taken, however far the mean."""
    assert joined("% of target", unit=Unit.PERCENT).results[1].assay == 8.6


def test_a_far_mean_without_another_reading_is_a_result() -> None:
    """Sixty per cent of target is no slip of units: the verdict has to say so."""
    assert joined("% of target", (60.0, 61.0, 59.0, 60.0)).results[0].assay == 60.0
