"""The drawing of the plan on the page: within the vessel, at the plan's own places."""

import tomllib

import pytest

from assistant.errors import PlanError
from assistant.grammar import Language
from assistant.plan import Plan, parse_plan
from assistant.plan.insertion_geometry import insertions
from assistant.plan.powder_bed import bed_of
from assistant.storage import bundled_files
from assistant.view.plan_picture import plan_picture


@pytest.mark.parametrize("name", bundled_files.plan_names())
def test_insertions_end_where_the_plan_says(name: str, language: Language) -> None:
    """Tip, ports and entry in both views, to the millimetre; the outlines hold the vessel."""
    plan = parse_plan(bundled_files.read_plan(name), name)
    picture = plan_picture(plan, language)
    bed = bed_of(plan)
    side = ("south", "east").index(picture.seen_from)
    entered = insertions(plan, bed)
    for view, axes in ((picture.section, (side, 2)), (picture.above, (0, 1))):
        assert len(view.insertions) == len(plan.locations)
        for drawn, one in zip(view.insertions, entered, strict=True):
            for axis, at in zip(axes, drawn.tip, strict=True):
                assert abs(one.tip[axis] - at) <= 0.5
            assert len(drawn.ports) == len(plan.sampler.ports_mm)
    xs = [x for x, _ in picture.section.vessel]
    assert max(xs) == pytest.approx(bed.shape.half_mm[side], abs=12)
    ys = [y for _, y in picture.above.vessel]
    assert max(ys) == pytest.approx(bed.shape.half_mm[1], abs=12)
    assert min(ys) == -max(ys)
    top = max(z for _, z in picture.section.powder)
    assert top == pytest.approx(bed.peak_mm, abs=1)
    assert len(picture.section.rims) == len(bed.openings)


def test_the_side_is_chosen_from_which_more_is_seen(language: Language) -> None:
    """Two locations that differ to the north only are seen from the east."""
    raw = bundled_files.read_plan("bin").split(b"[[locations]]")
    one = raw[1]
    other = one.replace(b'"C2"', b'"C3"').replace(b"y_mm = 0.0", b"y_mm = 120.0")
    assert other != one
    plan = parse_plan(b"[[locations]]".join([raw[0], one, other]), "bin")
    assert plan_picture(plan, language).seen_from == "east"


TROUGH = {
    "kind": "trough",
    "length_mm": 1400.0,
    "diameter_mm": 700.0,
    "height_mm": 800.0,
    "shaft_diameter_mm": 80.0,
    "manway": {"diameter_mm": 400.0},
}


@pytest.mark.parametrize("seen_from", ["south", "east"])
def test_the_shaft_of_a_trough_is_drawn(language: Language, seen_from: str) -> None:
    """A band across the trough, or a disc where the trough is seen from its end."""
    raw = tomllib.loads(bundled_files.read_plan("bin").decode())
    first, second = raw["locations"][0], dict(raw["locations"][0], code="C3")
    for location, place in ((first, 150.0), (second, -150.0)):
        location["x_mm" if seen_from == "south" else "y_mm"] = place
    raw |= {"vessel": TROUGH, "locations": [first, second]}
    picture = plan_picture(Plan.model_validate(raw), language)
    assert picture.seen_from == seen_from
    xs, ys = zip(*picture.section.shaft, strict=True)
    assert (min(ys), max(ys)) == (310, 390)
    assert (min(xs), max(xs)) == ((-700, 700) if seen_from == "south" else (-40, 40))
    assert {y for _, y in picture.above.shaft} == {-40, 40}


def test_powder_that_does_not_fit_is_refused(language: Language) -> None:
    """In the sentence of the plan's own check."""
    raw = bundled_files.read_plan("bin").replace(b"fill_mass_kg = 210.0", b"fill_mass_kg = 9210.0")
    with pytest.raises(PlanError, match="the vessel holds"):
        plan_picture(parse_plan(raw, "bin"), language)
