"""Sampling theory, densities, balances and lifting against published and computed values."""

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest

from assistant.plan import mixing
from assistant.plan.dies import (
    carr_percent,
    die_volume_ml,
    flow_character,
    minimum_weight_mg,
    repose_character,
)
from assistant.plan.sampler_limits import lifting_limit_kg


def _earle() -> float:
    """Six fat contents about a known mean of 15 %; 5 g samples of 0.1 g particles."""
    return mixing.lacey_index(_earle_seen(), 0.15, mixing.random_sd(0.15, 5000, 100, 100))


def _earle_seen() -> float:
    """Standard deviation of the six contents about the known mean."""
    fat = np.array([23.4, 10.4, 16.4, 19.6, 30.4, 7.6]) / 100
    return float(np.sqrt(np.mean((fat - 0.15) ** 2)))


def _earle_random() -> float:
    """Variance of the random mixture of Earle's problem."""
    return mixing.random_sd(0.15, 5000, 100, 100) ** 2


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
        ("Earle, spread seen", lambda: _earle_seen() ** 2, 0.0067793, 5e-8),
        ("Earle, seen, printed", lambda: 100 * _earle_seen() ** 2, 0.68, 5e-3),
        ("Earle, random", _earle_random, 0.00255, 5e-9),
        ("Earle, random, printed", lambda: 100 * _earle_random(), 0.256, 1.5e-3),
        # The rest of Earle's problem: 1 - M falls as exp(-K t), after 10 and after 15 minutes.
        ("Earle, five minutes on", lambda: 1 - (1 - _earle()) ** 1.5, 0.993773, 5e-7),
        ("Earle, five minutes on, printed", lambda: 1 - (1 - _earle()) ** 1.5, 0.994, 5e-4),
        # Derived: three doses in a die hide 42 % of the spread of one.
        ("hidden by 3 doses", lambda: 1 - _stange(600) / _stange(200), 0.42265, 5e-6),
        # Fed and others, lectures: random binary mixture of equal particles, s2 = p (1 - p) / n.
        ("binary", lambda: mixing.random_sd(0.5, 100, 1, 1) ** 2, 0.0025, 1e-12),
        # USP <41>, the chapter's own example, and its floor of 0.41 d; the last computed.
        ("USP 41, s 0.15 mg", lambda: minimum_weight_mg(0.15, 0.01), 300.0, 1e-9),
        ("USP 41, d 0.1 mg", lambda: minimum_weight_mg(0.0, 0.1), 82.0, 1e-9),
        ("USP 41, d 0.01 mg", lambda: minimum_weight_mg(0.0, 0.01), 8.2, 1e-9),
        ("USP 41, s 0.03 mg, d 0.1 mg", lambda: minimum_weight_mg(0.03, 0.1), 82.0, 1e-9),
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


@pytest.mark.parametrize(
    ("angle", "character"),
    [
        (25, "excellent"),
        (30, "excellent"),
        (31, "good"),
        (35, "good"),
        (36, "fair"),
        (40, "fair"),
        (41, "passable"),
        (45, "passable"),
        (46, "poor"),
        (55, "poor"),
        (56, "very poor"),
        (65, "very poor"),
        (66, "very, very poor"),
    ],
)
def test_repose_classes(angle: int, character: str) -> None:
    """The classes of USP <1174> by the angle of repose."""
    assert repose_character(angle) == character
    assert repose_character(angle + (11 if angle < 60 else -11)) != character


@pytest.mark.parametrize(
    ("hausner", "character"),
    [
        (1.00, "excellent"),
        (1.11, "excellent"),
        (1.13, "good"),
        (1.18, "good"),
        (1.20, "fair"),
        (1.25, "fair"),
        (1.27, "passable"),
        (1.34, "passable"),
        (1.36, "poor"),
        (1.45, "poor"),
        (1.47, "very poor"),
        (1.59, "very poor"),
        (1.65, "very, very poor"),
    ],
)
def test_flow_classes_by_hausner(hausner: float, character: str) -> None:
    """The same classes of USP <1174> as they are printed for the Hausner ratio."""
    assert flow_character(1.0, hausner) == character
    assert flow_character(1.0, hausner + (0.35 if hausner < 1.6 else -0.35)) != character


@pytest.mark.parametrize(
    ("times", "factor"),
    [(1.0, 1.0), (1.5, 0.75), (1.99, 0.75), (2.5, 0.5), (3.99, 0.5), (4.5, 0.25), (50.0, 0.25)],
)
def test_size_range_of_gy(times: float, factor: float) -> None:
    """Gy's g by d95/d5: 1 where all are equal, 0.75 under 2, 0.5 up to 4, 0.25 above (lectures)."""
    # A log-normal powder's d95 exceeds its d5 by gsd to the power of twice 1.6449.
    gsd = times ** (1 / (2 * 1.6448536269514722))
    assert mixing.size_range_factor(gsd) == factor
    assert mixing.size_range_factor(gsd * 4) == 0.25


def test_gys_composition_factor_is_the_random_mixture_of_one_size() -> None:
    """With equal diameters, f = 0.5 and g = 1 Gy's error is that of the random mixture."""
    share, active, filler, size_cm, sample_g = 0.08, 1.3, 1.5, 0.01, 0.4
    mass_mg = {rho: 0.5 * rho * size_cm**3 * 1000 for rho in (active, filler)}
    expected = mixing.random_rsd(share, 1000 * sample_g, mass_mg[active], mass_mg[filler])
    constant = mixing.gy_constant(share, active, filler, 1.0)
    assert mixing.gy_rsd(constant, size_cm, sample_g) == pytest.approx(expected, rel=1e-12)
