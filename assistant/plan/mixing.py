"""The spread of a perfect random mixture: no blend can show less.

Masses are milligrams, diameters micrometres, densities g/mL; RSDs are percent of the mean content.
The formulas assume spheres, no agglomerates and a free random mix, so they give a lower limit and
never an acceptance limit. Derived: with Poisson numbers of both kinds of particles of masses a and
f, a content P in a sample of mass M has to the first order the variance P (1 - P) [(1 - P) a + P f]
/ M, known as Stange's form; it was confirmed by simulation.
"""

from math import exp, log, pi, sqrt


def particle_mass_mg(d50_um: float, gsd: float, density_g_ml: float) -> float:
    """Mass-weighted mean particle mass, mg, of spheres whose diameters are log-normal.

    Args:
        d50_um: MASS-median diameter.
        gsd: geometric standard deviation of the diameter, 1 for equal particles.
        density_g_ml: of the particles.
    """
    return pi / 6 * density_g_ml * d50_um**3 * exp(4.5 * log(gsd) ** 2) * 1e-9


def random_sd(fraction: float, sample_mg: float, active_mg: float, filler_mg: float) -> float:
    """Standard deviation of the mass fraction in samples of a random mixture (Stange).

    Args:
        fraction: mass fraction p of the active substance, 0 to 1.
        sample_mg: mass of one sample.
        active_mg: mass-weighted mean particle mass of the active substance.
        filler_mg: the same of everything else.
    """
    rest = 1 - fraction
    return sqrt(fraction * rest / sample_mg * (fraction * filler_mg + rest * active_mg))


def random_rsd(fraction: float, sample_mg: float, active_mg: float, filler_mg: float) -> float:
    """Relative standard deviation of the content, percent, in a random mixture (Stange)."""
    return 100 * random_sd(fraction, sample_mg, active_mg, filler_mg) / fraction


def low_dose_rsd(dose_mg: float, active_mg: float) -> float:
    """The limit of `random_rsd`, percent, where the active substance is scarce.

    Args:
        dose_mg: active substance in one sample.
        active_mg: mass-weighted mean mass of its particles.
    """
    return 100 * sqrt(active_mg / dose_mg)


def lacey_index(seen_sd: float, fraction: float, random: float) -> float:
    """Lacey's index of mixing: 0 fully segregated, 1 random.

    Args:
        seen_sd: standard deviation of the mass fraction found.
        fraction: mean mass fraction.
        random: standard deviation of the random mixture.
    """
    segregated = fraction * (1 - fraction)
    return (segregated - seen_sd**2) / (segregated - random**2)


def gy_rsd(constant_g_cm3: float, top_cm: float, sample_g: float) -> float:
    """Fundamental sampling error after Gy, percent, for a sample small against the lot.

    Args:
        constant_g_cm3: C = shape x size range x composition x liberation, g/cm3.
        top_cm: size that 95 % of the particles pass, cm.
        sample_g: mass of the sample.
    """
    return 100 * sqrt(constant_g_cm3 * top_cm**3 / sample_g)


def gy_sample_g(constant_g_cm3: float, top_cm: float, rsd_percent: float) -> float:
    """Mass of sample, g, for which Gy's fundamental error is no more than `rsd_percent`."""
    return constant_g_cm3 * top_cm**3 / (rsd_percent / 100) ** 2


def size_range_factor(gsd: float) -> float:
    """Gy's g of a log-normal powder, from how many times d95 exceeds d5 (lecture notes on Gy)."""
    times = exp(2 * _NORMAL_95 * log(gsd))
    return next((factor for most, factor in _RANGES if times <= most), 0.25)


_RANGES = ((1.0, 1.0), (2.0, 0.75), (4.0, 0.5))
"""Up to so many times: the factor."""


def gy_constant(fraction: float, active_g_ml: float, filler_g_ml: float, gsd: float) -> float:
    """Gy's C, g/cm3, of rounded, fully liberated particles (f 0.5, l 1).

    The composition factor follows from `random_sd` (derived): particles of one size d have the
    masses f d^3 times their density, so the relative variance is (1 - p) / p [(1 - p) active + p
    filler] f d^3 / M, densities for the words. Gy adds the factor g for the range of sizes.

    Args:
        fraction: mass fraction of the active substance.
        active_g_ml: density of its particles.
        filler_g_ml: density of everything else.
        gsd: geometric standard deviation of the active substance's diameters.
    """
    rest = (1 - fraction) / fraction
    return (
        0.5
        * size_range_factor(gsd)
        * rest
        * ((1 - fraction) * active_g_ml + fraction * filler_g_ml)
    )


def top_size_um(d50_um: float, gsd: float) -> float:
    """Diameter that 95 % of the mass passes, micrometres, of a log-normal powder."""
    return d50_um * exp(log(gsd) * _NORMAL_95)


_NORMAL_95 = 1.6448536269514722
"""95 % point of the standard normal distribution."""
