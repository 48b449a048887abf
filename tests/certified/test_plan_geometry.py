"""Geometry against worked problems, closed formulas and counted random points."""

from collections.abc import Callable

import numpy as np
import pytest
from scipy import integrate, optimize

from assistant.plan.shapes import Lying, Shape, Vee, height_of, shape_of
from assistant.plan.vessel import (
    ConicalBin,
    Cylinder,
    DoubleCone,
    Drum,
    RectangularBin,
    Trough,
    VBlender,
    Vessel,
)

DOUBLE_CONE = DoubleCone(
    kind="double-cone",
    diameter_mm=1000,
    outlet_diameter_mm=200,
    cylinder_height_mm=300,
    cone_height_mm=450,
)
V_BLENDER = VBlender(kind="v-blender", leg_diameter_mm=600, leg_length_mm=600)
DRUM = Drum(kind="drum", diameter_mm=600, length_mm=1200)
CYLINDER = Cylinder(kind="cylinder", diameter_mm=600, height_mm=700)
BIN = RectangularBin(
    kind="rectangular-bin",
    length_mm=1000,
    width_mm=1200,
    outlet_length_mm=250,
    outlet_width_mm=250,
    hopper_height_mm=500,
    box_height_mm=400,
)
CONICAL = ConicalBin(
    kind="conical-bin",
    diameter_mm=1000,
    outlet_diameter_mm=250,
    hopper_height_mm=450,
    cylinder_height_mm=600,
)
TROUGH = Trough(kind="trough", length_mm=1200, diameter_mm=700, height_mm=800, shaft_diameter_mm=70)
VESSELS: tuple[Vessel, ...] = (DOUBLE_CONE, V_BLENDER, DRUM, CYLINDER, BIN, CONICAL, TROUGH)


def litres(shape: Shape, height_mm: float | None = None) -> float:
    """Volume below a height in litres; of the whole where no height is given."""
    return float(shape.volume(shape.height_mm if height_mm is None else height_mm)) / 1e6


def test_segment_of_a_lying_tank() -> None:
    """Published worked problem: radius 0.725 m, depth 1.25 m, length 10 m hold 15.138 m3."""
    tank = Lying(725.0, 10_000.0)
    assert litres(tank, 1250.0) / 1000 == pytest.approx(15.138, abs=0.0005)
    assert litres(tank, 1249.0) / 1000 != pytest.approx(15.138, abs=0.0005)


@pytest.mark.parametrize(
    ("name", "found", "expected", "digits"),
    [
        ("drum, depth 0.2 m, m3", lambda: litres(shape_of(DRUM), 200) / 1000, 0.0990025, 5e-8),
        ("drum, end face, m2", lambda: litres(shape_of(DRUM), 200) / 1200, 0.0825021, 5e-8),
        ("conical hopper, m3", lambda: litres(shape_of(CONICAL), 450) / 1000, 0.1546253, 5e-8),
        ("conical bin, V = 0.35", lambda: height_of(shape_of(CONICAL), 0.35e9), 698.759, 5e-4),
        ("conical bin, V = 0.08", lambda: height_of(shape_of(CONICAL), 0.08e9), 334.004, 5e-4),
        ("pyramidal hopper, m3", lambda: litres(shape_of(BIN), 500) / 1000, 0.25625, 5e-9),
        ("double cone, m3", lambda: litres(shape_of(DOUBLE_CONE)) / 1000, 0.527788, 5e-7),
        (
            "trough, m3: (pi/8 0.7^2 + 0.7 0.45) 1.2",
            lambda: litres(shape_of(TROUGH)) / 1000,
            0.608907,
            5e-7,
        ),
        (
            "trough, half filled round, m3",
            lambda: litres(shape_of(TROUGH), 350) / 1000,
            0.2309071,
            5e-8,
        ),
        ("V-blender, m3", lambda: litres(shape_of(V_BLENDER)) / 1000, 0.339292, 5e-7),
    ],
)
def test_computed_check_values(
    name: str, found: Callable[[], float], expected: float, digits: float
) -> None:
    """Values computed by an independent script from the stated formulas."""
    assert found() == pytest.approx(expected, abs=digits), name
    assert found() != pytest.approx(expected * 1.0001, abs=digits), name


@pytest.mark.parametrize("angle", [40.0, 75.0, 80.0, 90.0, 120.0])
def test_a_v_holds_the_same_at_any_angle(angle: float) -> None:
    """Two legs cut on the plane of symmetry hold 2 pi R^2 L (derived)."""
    legs = V_BLENDER.model_copy(update={"angle_deg": angle, "leg_length_mm": 900.0})
    assert litres(shape_of(legs)) == pytest.approx(2 * np.pi * 0.3**2 * 0.9 * 1000, rel=1e-12)
    assert litres(shape_of(legs)) != pytest.approx(2 * np.pi * 0.3**2 * 0.91 * 1000, rel=1e-3)


@pytest.mark.parametrize("vessel", VESSELS, ids=lambda vessel: str(vessel.kind))
@pytest.mark.parametrize("share", [0.1, 0.45, 0.8, 1.0])
def test_volume_against_counted_points(vessel: Vessel, share: float) -> None:
    """The share of random points below a height agrees within four standard errors."""
    shape = shape_of(vessel)
    count, (half_x, half_y) = 200_000, shape.half_mm
    top = share * shape.height_mm
    points = np.random.default_rng(7).uniform(
        [-half_x, -half_y, 0.0], [half_x, half_y, top], (count, 3)
    )
    box = 4 * half_x * half_y * top
    hit = float(np.mean(shape.gap(points) > 0))
    error = box * np.sqrt(hit * (1 - hit) / count)
    assert abs(float(shape.volume(top)) - hit * box) < 4 * error
    assert abs(float(shape.volume(top)) * 1.05 - hit * box) > 4 * error
    floor, ceiling = shape.columns(points[:, 0], points[:, 1])
    between = (points[:, 2] > floor) & (points[:, 2] < ceiling)
    assert np.array_equal(between, shape.gap(points) > 0)


@pytest.mark.parametrize("vessel", VESSELS, ids=lambda vessel: str(vessel.kind))
def test_volume_is_the_integral_of_the_area(vessel: Vessel) -> None:
    """Every closed volume agrees with scipy's quadrature of the area to 1e-7."""
    shape = shape_of(vessel)
    for share in (0.07, 0.33, 0.61, 0.97):
        top = share * shape.height_mm
        summed, _ = integrate.quad(
            lambda height: float(shape.area(height)), 0.0, top, limit=400, epsrel=1e-9
        )
        assert float(shape.volume(top)) == pytest.approx(summed, rel=1e-7)


@pytest.mark.parametrize("vessel", VESSELS, ids=lambda vessel: str(vessel.kind))
def test_height_against_a_root_finder(vessel: Vessel) -> None:
    """The inverse agrees with scipy's bracketing root finder to 1e-9 of the height."""
    shape = shape_of(vessel)
    total = float(shape.volume(shape.height_mm))
    for share in (1e-6, 1e-4, 0.01, 0.2, 0.5, 0.77, 0.999):
        wanted = share * total
        other = optimize.brentq(
            lambda height, v=wanted: float(shape.volume(height)) - v,
            0.0,
            shape.height_mm,
            xtol=1e-13,
            rtol=1e-14,
        )
        assert height_of(shape, wanted) == pytest.approx(other, rel=1e-9)
        assert height_of(shape, wanted) != pytest.approx(other * (1 + 1e-6), rel=1e-9)


def test_area_of_the_v_against_a_grid() -> None:
    """The V's level cut between two chords, counted on a fine grid through the whole vessel."""
    shape = shape_of(V_BLENDER)
    assert isinstance(shape, Vee)
    half_x, half_y = shape.half_mm
    steps = (np.arange(1200) + 0.5) / 1200 * 2 - 1
    x, y = np.meshgrid(steps * half_x, steps * half_y)
    for height in (150.0, 500.0, 820.0, 1000.0):
        points = np.column_stack((x.ravel(), y.ravel(), np.full(x.size, height)))
        counted = float(np.mean(shape.gap(points) > 0)) * 4 * half_x * half_y
        assert float(shape.area(height)) == pytest.approx(counted, rel=2e-3)
