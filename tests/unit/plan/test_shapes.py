"""The vessels' shapes: walls, columns, edges of their range."""

import numpy as np
import pytest

from assistant.plan.shapes import Lying, Stack, UTrough, Vee, height_of, shape_of
from assistant.plan.vessel import (
    Cylinder,
    DoubleCone,
    Drum,
    RectangularBin,
    Trough,
    VBlender,
    Vessel,
)

CYLINDER = Cylinder(kind="cylinder", diameter_mm=600, height_mm=700)
DRUM = Drum(kind="drum", diameter_mm=600, length_mm=1200)
BIN = RectangularBin(
    kind="rectangular-bin",
    length_mm=1000,
    width_mm=800,
    outlet_length_mm=200,
    outlet_width_mm=200,
    hopper_height_mm=400,
    box_height_mm=500,
)
TROUGH = Trough(kind="trough", length_mm=1200, diameter_mm=600, height_mm=700, shaft_diameter_mm=60)
VEE = VBlender(kind="v-blender", leg_diameter_mm=600, leg_length_mm=600, angle_deg=90.0)


def at(*point: float) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
    """One point as the functions want it, shape (1, 3)."""
    return np.array([point])


def test_each_vessel_has_its_shape() -> None:
    """Round and square stacks are told apart; drum and V have solids of their own."""
    assert isinstance(shape_of(DRUM), Lying)
    assert isinstance(shape_of(VEE), Vee)
    assert isinstance(shape_of(TROUGH), UTrough)
    square, round_ = shape_of(BIN), shape_of(CYLINDER)
    assert isinstance(square, Stack)
    assert isinstance(round_, Stack)
    assert not square.is_round
    assert round_.is_round


def test_top_of_a_double_cone_may_be_wider_than_its_outlet() -> None:
    """The upper end is as wide as the outlet unless it is given."""
    plain = DoubleCone(
        kind="double-cone",
        diameter_mm=1000,
        outlet_diameter_mm=200,
        cylinder_height_mm=300,
        cone_height_mm=450,
    )
    wide = plain.model_copy(update={"top_diameter_mm": 450.0})
    assert plain.lid_mm == 200
    assert wide.lid_mm == 450
    assert shape_of(wide).volume(1200) > shape_of(plain).volume(1200)


@pytest.mark.parametrize(
    ("vessel", "point", "gap"),
    [
        (CYLINDER, (0, 0, 100), 100.0),
        (CYLINDER, (250, 0, 300), 50.0),
        (CYLINDER, (0, -310, 300), -10.0),
        (CYLINDER, (0, 0, -5), -5.0),
        (BIN, (480, 0, 600), 20.0),
        (BIN, (0, 390, 600), 10.0),
        (BIN, (0, 0, 0.5), 0.5),
        (BIN, (0, 0, 950), -1.0),
        (BIN, (100 + 400 / 2, 0, 200), 0.0),
        (DRUM, (0, 0, 20), 20.0),
        (DRUM, (590, 0, 300), 10.0),
        (DRUM, (0, 0, 610), -10.0),
        (TROUGH, (0, 0, 20), 20.0),
        (TROUGH, (0, 180, 60), 0.0),
        (TROUGH, (0, 290, 500), 10.0),
        (TROUGH, (-580, 0, 500), 20.0),
        (TROUGH, (0, -310, 600), -10.0),
        (TROUGH, (0, 0, 701), -1.0),
        (VEE, (0, 0, 300 * 2**0.5), 300.0),
        (VEE, (0, 290, 300 * 2**0.5), 10.0),
        (VEE, (500, 0, 300 * 2**0.5 + 500), -107.10678),
    ],
)
def test_distance_from_the_wall(
    vessel: Vessel,
    point: tuple[float, float, float],
    gap: float,
) -> None:
    """Distances that can be read off a drawing, negative outside."""
    assert float(shape_of(vessel).gap(at(*point))[0]) == pytest.approx(gap, abs=1e-5)


def test_sloped_walls_are_measured_square_to_them() -> None:
    """In the hopper the distance is taken at a right angle to the slope."""
    # The wall rises by 400 while it widens by 400: 45 degrees.
    assert float(shape_of(BIN).gap(at(250, 0, 200))[0]) == pytest.approx(50 / 2**0.5, rel=1e-9)


@pytest.mark.parametrize(
    ("vessel", "place", "column"),
    [
        (CYLINDER, (0, 299), (0, 700)),
        (CYLINDER, (0, 301), (0, 0)),
        (BIN, (300, 0), (200, 900)),
        (BIN, (0, 400), (400, 900)),
        (BIN, (501, 0), (0, 0)),
        (DRUM, (0, 0), (0, 600)),
        (DRUM, (601, 0), (0, 0)),
        (TROUGH, (0, 0), (0, 700)),
        (TROUGH, (599, 180), (60, 700)),
        (TROUGH, (0, 301), (0, 0)),
        (TROUGH, (601, 0), (0, 0)),
        (VEE, (0, 0), (0, 600 * 2**0.5)),
        (VEE, (0, 301), (0, 0)),
        (VEE, (800, 0), (0, 0)),
    ],
)
def test_columns(
    vessel: Vessel,
    place: tuple[float, float],
    column: tuple[float, float],
) -> None:
    """Floor and ceiling over places that can be read off a drawing; nothing beside the vessel."""
    floor, ceiling = shape_of(vessel).columns(*place)
    assert (float(floor), float(ceiling)) == pytest.approx(column, abs=1e-9)


@pytest.mark.parametrize("vessel", [CYLINDER, BIN, DRUM, VEE, TROUGH], ids=lambda v: str(v.kind))
def test_ends_of_the_range(vessel: Vessel) -> None:
    """Nothing lies below the floor, nothing more above the top; the inverse meets both ends."""
    shape = shape_of(vessel)
    total = float(shape.volume(shape.height_mm))
    assert float(shape.volume(-1.0)) == pytest.approx(0.0, abs=1e-6 * total)
    assert float(shape.volume(shape.height_mm * 2)) == pytest.approx(total, rel=1e-12)
    assert height_of(shape, 0.0) == pytest.approx(0.0, abs=1e-6)
    assert height_of(shape, total) == pytest.approx(shape.height_mm, rel=1e-6)
    for wrong in (-1.0, total * 1.01):
        with pytest.raises(ValueError, match="does not fit a vessel"):
            height_of(shape, wrong)


def test_volume_takes_many_heights_at_once() -> None:
    """An array of heights gives an array of volumes of the same shape."""
    heights = np.linspace(0, 700, 12).reshape(3, 4)
    for vessel in (CYLINDER, BIN, DRUM, VEE, TROUGH):
        volumes = shape_of(vessel).volume(heights)
        assert volumes.shape == (3, 4)
        assert np.all(np.diff(volumes.ravel()) >= 0)


def test_area_is_nothing_outside() -> None:
    """Below the floor and above the top there is no cut."""
    shape = shape_of(BIN)
    assert float(shape.area(-1.0)) == 0.0
    assert float(shape.area(901.0)) == 0.0
    assert float(shape.area(600.0)) == pytest.approx(1000 * 800)


def test_a_trough_has_no_cut_outside() -> None:
    """Its cut is the chord below the axis and the whole width above it."""
    shape = shape_of(TROUGH)
    cuts = [float(shape.area(height)) for height in (-1.0, 60.0, 300.0, 650.0, 701.0)]
    assert cuts == pytest.approx([0.0, 360 * 1200, 600 * 1200, 600 * 1200, 0.0])
