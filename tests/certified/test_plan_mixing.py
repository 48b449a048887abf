"""Sampling theory, densities, balances and lifting against published and computed values."""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest

from assistant.plan import mixing
from assistant.plan.dies import carr_percent, die_volume_ml, flow_character
from assistant.plan.fitness import lifting_limit_kg


def _earle() -> float:
    """Six fat contents about a known mean of 15 %; 5 g samples of 0.1 g particles."""
    fat = np.array([23.4, 10.4, 16.4, 19.6, 30.4, 7.6]) / 100
    seen = float(np.sqrt(np.mean((fat - 0.15) ** 2)))
    return mixing.lacey_index(seen, 0.15, mixing.random_sd(0.15, 5000, 100, 100))


@pytest.mark.parametrize(
    ("name", "found", "expected", "within"),
    [
        # Gy: published worked problems of the Interstate Technology & Regulatory Council, ISM-1.
        ("Gy, C 22.5, 0.2 cm, 15 %", lambda: mixing.gy_sample_g(22.5, 0.2, 15.0), 8.0, 5e-3),
        ("Gy, C 2e5", lambda: mixing.gy_sample_g(2e5, 0.2, 15.0), 71111.0, 1.0),
        # Computed by an independent script.
        ("particle, 50 um, sg 2", lambda: mixing.particle_mass_mg(50, 2, 1.3), 7.39288e-4, 5e-10),
        ("RSD at 1 mg", lambda: _low(50, 2, 1.3, 1.0), 2.7190, 5e-5),
        ("RSD, 100 um", lambda: _low(100, 2, 1.3, 1.0), 7.6904, 5e-5),
        ("RSD, 20 um, sg 2.5", lambda: _low(20, 2.5, 1.3, 0.1), 4.8801, 5e-5),
        ("RSD, equal 100 um", lambda: _low(100, 1, 1.5, 1.0), 2.8025, 5e-5),
        ("RSD, 50 um, sg 1.5", lambda: _low(50, 1.5, 1.3, 0.05), 5.972, 5e-4),
        (
            "filler, 100 um, sg 1.8",
            lambda: mixing.particle_mass_mg(100, 1.8, 1.5),
            3.71788e-3,
            5e-9,
        ),
        ("Stange SD, 200 mg", lambda: _stange(200) / 100 * 0.01, 1.951131e-4, 5e-11),
        ("Stange RSD, 200 mg", lambda: _stange(200), 1.95113, 5e-6),
        ("Stange RSD, 600 mg", lambda: _stange(600), 1.12649, 5e-6),
        ("equal particles", lambda: mixing.random_sd(0.1, 1000, 1, 1), 0.00948683, 5e-9),
        (
            "Lacey",
            lambda: mixing.lacey_index(np.sqrt(2e-4), 0.1, mixing.random_sd(0.1, 1000, 1, 1)),
            0.998777,
            5e-7,
        ),
        # Earle, Unit Operations in Food Processing, ch. 12: printed 0.966, computed in full.
        ("Earle, printed", _earle, 0.966, 5e-4),
        ("Earle, in full", _earle, 0.966152, 5e-7),
        # Carr index and the size of a die, computed; the class is from USP <1174>.
        ("Carr", lambda: carr_percent(0.45, 0.58), 22.41, 5e-3),
        ("die of one dose, mL", lambda: die_volume_ml(1, 250, 0.45), 0.5556, 5e-5),
        ("die of three doses, mL", lambda: die_volume_ml(3, 250, 0.45), 1.6667, 5e-5),
        # NIOSH lifting equation, computed.
        ("lifting", lambda: lifting_limit_kg(40, 90, 40), 12.80, 5e-3),
    ],
)
def test_values(name: str, found: Callable[[], float], expected: float, within: float) -> None:
    """Each value to the digits given; one part in a hundred beside it fails."""
    assert found() == pytest.approx(expected, abs=within), name
    assert found() != pytest.approx(expected * 1.01, abs=within), name


def _low(d50: float, gsd: float, density: float, dose: float) -> float:
    return mixing.low_dose_rsd(dose, mixing.particle_mass_mg(d50, gsd, density))


def _stange(sample_mg: float) -> float:
    active = mixing.particle_mass_mg(50, 2, 1.3)
    filler = mixing.particle_mass_mg(100, 1.8, 1.5)
    # The check value takes the active substance of 50 um, sg 2, 1.3 g/mL.
    return mixing.random_rsd(0.01, sample_mg, active, filler)


def test_compound_poisson_by_simulation() -> None:
    """The low-dose formula against counted log-normal particles (d50 50 um, sg 1.5, 0.05 mg)."""
    numbers = np.random.default_rng(3)
    active = mixing.particle_mass_mg(50, 1.5, 1.3)
    # By number the median diameter is smaller: ln d_n = ln d50 - 3 ln^2 sg (Hatch and Choate).
    spread = np.log(1.5)
    middle = np.log(50) - 3 * spread**2
    mean = np.pi / 6 * 1.3e-9 * np.exp(3 * middle + 4.5 * spread**2)
    doses = 4000
    counts = numbers.poisson(0.05 / mean, doses)
    masses = np.pi / 6 * 1.3e-9 * np.exp(3 * numbers.normal(middle, spread, counts.sum()))
    edges = np.concatenate(([0], np.cumsum(counts)))
    filled = np.array([masses[a:b].sum() for a, b in pairwise(edges)])
    found = 100 * filled.std(ddof=1) / filled.mean()
    assert found == pytest.approx(mixing.low_dose_rsd(0.05, active), rel=4 / np.sqrt(2 * doses))
    assert found != pytest.approx(mixing.low_dose_rsd(0.06, active), rel=4 / np.sqrt(2 * doses))


def test_stange_goes_over_into_the_low_dose_form() -> None:
    """For a scarce substance the general formula and its limit agree."""
    general = mixing.random_rsd(1e-6, 1e6, 7.4e-4, 3.7e-3)
    assert general == pytest.approx(mixing.low_dose_rsd(1.0, 7.4e-4), rel=1e-4)


@pytest.mark.parametrize(
    ("index", "character"),
    [
        (10, "excellent"),
        (11, "good"),
        (15, "good"),
        (16, "fair"),
        (20, "fair"),
        (21, "passable"),
        (25, "passable"),
        (26, "poor"),
        (31, "poor"),
        (32, "very poor"),
        (37, "very poor"),
        (39, "very, very poor"),
    ],
)
def test_flow_classes(index: int, character: str) -> None:
    """The classes of USP <1174> by Carr's index."""
    assert flow_character(1 - index / 100, 1.0) == character
    assert flow_character(0.45, 0.58) == "passable"
