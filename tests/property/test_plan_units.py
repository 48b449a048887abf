"""Units and symmetries of the plan's arithmetic, and a reader that only ever fails politely."""

from math import isfinite
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from assistant.errors import PlanError
from assistant.plan import Plan, mixing, parse_plan
from assistant.plan.check import findings
from assistant.plan.finding import Fitness
from assistant.plan.insertion_geometry import insertions, lengths
from assistant.plan.powder_bed import bed_of
from assistant.plan.shapes import height_of, shape_of
from assistant.plan.vessel import (
    ConicalBin,
    Cylinder,
    DoubleCone,
    Drum,
    RectangularBin,
    VBlender,
    Vessel,
)

PLANS = Path(__file__).parents[2] / "plans"
SIZES = st.floats(min_value=100.0, max_value=2000.0)
FACTORS = st.floats(min_value=0.2, max_value=5.0)
SHARES = st.floats(min_value=1e-4, max_value=1.0)


@st.composite
def vessels(draw: st.DrawFn) -> Vessel:
    """Vessels of every kind and of many proportions."""
    one, two, three, four = (draw(SIZES) for _ in range(4))
    narrow = draw(st.floats(min_value=0.05, max_value=1.0))
    match draw(st.integers(min_value=0, max_value=5)):
        case 0:
            return DoubleCone(
                kind="double-cone",
                diameter_mm=one,
                outlet_diameter_mm=one * narrow,
                cylinder_height_mm=two,
                cone_height_mm=three,
            )
        case 1:
            angle = draw(st.floats(min_value=40.0, max_value=140.0))
            shortest = one / 2 / np.tan(np.radians(angle / 2))
            return VBlender(
                kind="v-blender",
                leg_diameter_mm=one,
                leg_length_mm=float(shortest + two),
                angle_deg=angle,
                outlet_diameter_mm=one * narrow,
            )
        case 2:
            return Drum(kind="drum", diameter_mm=one, length_mm=two)
        case 3:
            return Cylinder(kind="cylinder", diameter_mm=one, height_mm=two)
        case 4:
            return RectangularBin(
                kind="rectangular-bin",
                length_mm=one,
                width_mm=two,
                outlet_length_mm=one * narrow,
                outlet_width_mm=two * narrow,
                hopper_height_mm=three,
                box_height_mm=four,
            )
        case _:
            return ConicalBin(
                kind="conical-bin",
                diameter_mm=one,
                outlet_diameter_mm=one * narrow,
                hopper_height_mm=two,
                cylinder_height_mm=three,
            )


def scaled(vessel: Vessel, factor: float) -> Vessel:
    """The same vessel with every length multiplied."""
    sizes: dict[str, Any] = {
        key: value * factor
        for key, value in vessel.model_dump(exclude={"manway", "kind", "angle_deg"}).items()
        if value is not None
    }
    return vessel.model_copy(update=sizes)


@given(vessels(), FACTORS, SHARES)
def test_volumes_scale_with_the_cube(vessel: Vessel, factor: float, share: float) -> None:
    """All lengths times k: heights times k, areas times k squared, volumes times k cubed."""
    small, large = shape_of(vessel), shape_of(scaled(vessel, factor))
    height = share * small.height_mm
    assert large.height_mm == pytest.approx(factor * small.height_mm, rel=1e-12)
    total = float(small.volume(small.height_mm))
    assert float(large.volume(factor * height)) == pytest.approx(
        factor**3 * float(small.volume(height)), rel=1e-9, abs=1e-12 * total * factor**3
    )
    widest = float(np.max(small.area(np.linspace(0, small.height_mm, 50))))
    # Rounding may put the scaled height just above the lid, where there is no area.
    assert float(large.area(min(factor * height, large.height_mm))) == pytest.approx(
        factor**2 * float(small.area(height)), rel=1e-6, abs=1e-6 * widest * factor**2
    )
    volume = share * total
    assert height_of(large, factor**3 * volume * (1 - 1e-12)) == pytest.approx(
        factor * height_of(small, volume), rel=1e-8
    )


@given(vessels(), FACTORS, st.integers(min_value=0, max_value=2**32 - 1))
def test_gaps_scale_with_the_length(vessel: Vessel, factor: float, seed: int) -> None:
    """Distances from the wall are lengths too, and symmetric about both axes."""
    small, large = shape_of(vessel), shape_of(scaled(vessel, factor))
    half_x, half_y = small.half_mm
    points = np.random.default_rng(seed).uniform(
        [-half_x, -half_y, 1e-3], [half_x, half_y, small.height_mm * 0.999], (40, 3)
    )
    gaps = small.gap(points)
    assert large.gap(factor * points) == pytest.approx(factor * gaps, rel=1e-9, abs=1e-6)
    for mirror in ((-1, 1, 1), (1, -1, 1)):
        assert small.gap(points * np.array(mirror)) == pytest.approx(gaps, rel=1e-9, abs=1e-9)


@given(vessels(), SHARES)
def test_height_inverts_volume(vessel: Vessel, share: float) -> None:
    """The height found holds the volume asked for, and volumes grow with the height."""
    shape = shape_of(vessel)
    wanted = share * float(shape.volume(shape.height_mm))
    height = height_of(shape, wanted)
    assert 0 <= height <= shape.height_mm
    assert float(shape.volume(height)) == pytest.approx(wanted, rel=1e-8)
    steps = shape.volume(np.linspace(0, shape.height_mm, 64))
    assert np.all(np.diff(steps) >= -1e-9 * steps[-1])


@given(
    st.floats(min_value=1.0, max_value=500.0),
    st.floats(min_value=1.0, max_value=3.0),
    FACTORS,
    st.floats(min_value=1e-3, max_value=0.5),
)
def test_mixing_scales(d50: float, gsd: float, factor: float, fraction: float) -> None:
    """Particle mass goes with the diameter's cube, RSD with the root of particle over sample."""
    one = mixing.particle_mass_mg(d50, gsd, 1.3)
    assert mixing.particle_mass_mg(factor * d50, gsd, 1.3) == pytest.approx(factor**3 * one)
    rsd = mixing.random_rsd(fraction, 250.0, one, 2 * one)
    assert mixing.random_rsd(fraction, 250.0 * factor, one, 2 * one) == pytest.approx(
        rsd / factor**0.5
    )
    swapped = mixing.random_sd(1 - fraction, 250.0, 2 * one, one)
    assert mixing.random_sd(fraction, 250.0, one, 2 * one) == pytest.approx(swapped)


@pytest.mark.slow
@settings(deadline=None, max_examples=40)
@given(st.sampled_from(["double-cone", "v-blender", "bin"]), st.floats(0.8, 1.25))
def test_plan_scales_as_a_whole(name: str, factor: float) -> None:
    """A plan with all lengths times k and all masses times k cubed reaches the same places."""
    plan = parse_plan((PLANS / f"{name}.toml").read_bytes(), name)
    vessel = scaled(plan.vessel, factor)
    manway = plan.vessel.manway
    vessel = vessel.model_copy(
        update={
            "manway": manway.model_copy(
                update={
                    "diameter_mm": manway.diameter_mm * factor,
                    "neck_mm": manway.neck_mm * factor,
                }
            )
        }
    )
    powder = plan.powder.model_copy(update={"fill_mass_kg": plan.powder.fill_mass_kg * factor**3})
    larger = plan.model_copy(update={"vessel": vessel, "powder": powder})
    assert bed_of(larger).peak_mm == pytest.approx(factor * bed_of(plan).peak_mm)
    assert bed_of(larger).fill == pytest.approx(bed_of(plan).fill)
    assert all(isfinite(length) for length in lengths(larger))


@pytest.mark.slow
@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.floats(min_value=-300, max_value=300),
    st.floats(min_value=-300, max_value=300),
    st.floats(min_value=0, max_value=60),
    st.floats(min_value=-360, max_value=360),
    st.integers(min_value=10, max_value=1500),
)
def test_any_insertion_is_judged(
    x: float, y: float, tilt: float, towards: float, depth: int
) -> None:
    """No entry and no angle breaks the arithmetic; a fit verdict means every limit is kept."""
    plan = parse_plan((PLANS / "double-cone.toml").read_bytes(), "p")
    dumped = plan.model_dump(by_alias=True)
    dumped["locations"] = [
        {
            "code": "A",
            "x_mm": x,
            "y_mm": y,
            "tilt_deg": tilt,
            "towards_deg": towards,
            "depth_mm": float(depth),
        }
    ]
    odd = Plan.model_validate(dumped)
    bed = bed_of(odd)
    (entered,) = insertions(odd, bed)
    (line,) = [finding for finding in findings(odd) if finding.subject == "A"]
    if line.verdict is Fitness.FIT:
        assert bool(bed.contains(entered.ports).all())
        assert bool(bed.contains(entered.tip[None, :]).all())
        assert entered.tip_gap_mm >= 30
        assert min(entered.cover_mm) >= 30


@pytest.mark.slow
@settings(deadline=None, max_examples=300)
@given(st.data())
def test_a_damaged_file_is_refused_or_read(data: st.DataObject) -> None:
    """Whatever is cut out of a plan or written into it, the answer is a plan or a PlanError."""
    text = (PLANS / "bin.toml").read_text(encoding="utf-8")
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 60)))
    pieces = ["", "=", "[", "]]", '"', "1e999", "-1", "nan", "0", "9" * 400, "\n[x]\n", "\x00"]
    piece = data.draw(st.sampled_from(pieces) | st.text(max_size=12))
    raw = (text[:start] + piece + text[end:]).encode("utf-8", "surrogatepass")
    told = refusal(raw)
    assert told is None or (told.startswith("p.toml: ") and len(told) < 600)


def refusal(raw: bytes) -> str | None:
    """Return the sentence a plan is refused with; None where it is read."""
    try:
        parse_plan(raw, "p.toml")
    except PlanError as fault:
        return str(fault)
    return None
