"""The findings of `check` about dies, sampler, lifting and detectability."""

from collections.abc import Iterator, Sequence

from assistant.plan import mixing, sampler_limits
from assistant.plan.dies import (
    LEAST_DOSES,
    MOST_DOSES,
    doses_per_die,
    mass_window,
    minimum_weight_mg,
    powder_removed_kg,
)
from assistant.plan.finding import CHOICE, DERIVED, OWN, Finding, Fitness, fit_if
from assistant.plan.insertion_geometry import Insertion
from assistant.plan.model import Plan, Weighing

MOST_REMOVED = 0.01
"""Share of the batch the study may take without a word; a reader's threshold, no source."""

CLEAR_SHARE = 0.5
"""A random mixture that alone uses more than this share of the limit leaves little to be seen."""


def die_lines(plan: Plan) -> Iterator[Finding]:
    """Yield the lines about what the dies hold."""
    low, high = doses_per_die(plan)
    reason = plan.sampler.dose_multiple_reason
    in_range = low >= LEAST_DOSES and high <= MOST_DOSES
    yield Finding(
        "dies",
        "unit doses in one die",
        fit_if(in_range or reason is not None),
        f"{low:.2f} at bulk, {high:.2f} at tapped density",
        f"{LEAST_DOSES:g} to {MOST_DOSES:g}, or a stated reason",
        CHOICE,
        _dose_note(plan, in_range=in_range),
    )
    window = mass_window(plan)
    yield Finding(
        "dies",
        "mass in one vial",
        Fitness.FIT,
        f"{window.bulk_mg:.0f} to {window.tapped_mg:.0f} mg expected",
        f"remarked outside {window.low_mg:.0f} to {window.high_mg:.0f} mg",
        f"{DERIVED}; {OWN}",
    )
    removed, batch = powder_removed_kg(plan), plan.powder.fill_mass_kg
    yield Finding(
        "dies",
        "powder removed",
        fit_if(removed <= MOST_REMOVED * batch, Fitness.CAUTION),
        f"{removed * 1000:.1f} g of {batch:g} kg ({removed / batch:.3%})",
        f"{MOST_REMOVED:.0%} of the batch",
        CHOICE,
    )
    if window.minimum_mg is not None:
        enough = fit_if(window.low_mg >= window.minimum_mg)
        least = f"least net weight {window.low_mg:.0f} mg"
        yield Finding(
            "dies", "balance", enough, least, f"{window.minimum_mg:g} mg or more", "USP <41>"
        )
    if plan.weighing is not None:
        yield _balance_floor(plan.weighing)


def _balance_floor(weighing: Weighing) -> Finding:
    """No balance has a smaller minimum weight than its readability allows."""
    floor = minimum_weight_mg(0.0, weighing.readability_mg)
    possible = weighing.minimum_mg >= floor * (1 - 1e-9)
    return Finding(
        "dies",
        "minimum weight of the balance",
        fit_if(possible, Fitness.CAUTION),
        f"{weighing.minimum_mg:g} mg at a readability of {weighing.readability_mg:g} mg",
        f"{floor:g} mg or more: 820 times the readability",
        "USP <41>",
        "" if possible else "take minimum_mg from the balance's repeatability test",
    )


def _dose_note(plan: Plan, *, in_range: bool) -> str:
    if in_range:
        return "more than one dose hides part of the variation; the factor goes on record"
    reason = plan.sampler.dose_multiple_reason
    return f"reason: {reason}" if reason else "take other dies, or state dose_multiple_reason"


def sampler_lines(plan: Plan, insertions: Sequence[Insertion]) -> Iterator[Finding]:
    """Yield the lines about the sampler as a tool."""
    sampler = plan.sampler
    word = sampler_limits.clearance_word(sampler.clearance_mm)
    yield Finding(
        "sampler",
        "running clearance",
        fit_if(word == "right"),
        f"{sampler.clearance_mm:.3f} mm",
        f"{sampler_limits.TIGHTEST_MM:.3f} to {sampler_limits.LOOSEST_MM:.3f} mm",
        CHOICE,
        {
            "too tight": "metal wears off into the product",
            "too loose": "powder leaks into the tube",
        }.get(word, ""),
    )
    wetted = max(entered.wetted_mm for entered in insertions)
    yield Finding(
        "sampler",
        "powder between shaft and tube",
        Fitness.FIT,
        f"up to {sampler_limits.hidden_powder_g(plan, wetted):.1f} g "
        f"at {wetted:.0f} mm in the powder",
        "none may stay",
        f"{DERIVED}; {CHOICE}",
        "empty the tube after every insertion",
    )
    earthed = "earthed" in plan.cautions
    yield Finding(
        "sampler",
        "shaft material",
        fit_if(earthed, Fitness.UNFIT if sampler.shaft == "plastic" else Fitness.CAUTION),
        f"{sampler.shaft} shaft, earthing {'asked for' if earthed else 'not asked for'}",
        "metal tube earthed before every insertion",
        "NFPA 77 as read in excerpts",
        _shaft_note(plan),
    )
    yield _lift(plan, insertions)


def _shaft_note(plan: Plan) -> str:
    if "earthed" not in plan.cautions:
        return "add 'earthed' to cautions"
    if plan.sampler.shaft == "plastic":
        return "plastic holds its charge: earth the tube, keep the shaft inside while moving"
    return ""


def _lift(plan: Plan, insertions: Sequence[Insertion]) -> Finding:
    travel = max(entered.length_mm for entered in insertions) / 10
    limit = sampler_limits.lifting_limit_kg(plan.handling.reach_cm, plan.handling.hands_cm, travel)
    load = sampler_limits.loaded_kg(plan)
    return Finding(
        "sampler",
        "lifting",
        fit_if(load <= limit, Fitness.CAUTION),
        f"{load:.2f} kg loaded, raised by {travel:.0f} cm",
        f"{limit:.1f} kg",
        "NIOSH lifting equation",
        "the drag of the powder comes on top",
    )


def sight_lines(plan: Plan) -> Iterator[Finding]:
    """Yield the lines about the smallest variation any study of this blend must show."""
    powder, limit = plan.powder, plan.limits.sd_percent
    if (
        powder.active_d50_um is None
        or powder.active_gsd is None
        or powder.active_density_g_ml is None
    ):
        yield _unknown(limit)
        return
    active = mixing.particle_mass_mg(
        powder.active_d50_um, powder.active_gsd, powder.active_density_g_ml
    )
    filler = mixing.particle_mass_mg(
        powder.filler_d50_um, powder.filler_gsd, powder.filler_density_g_ml
    )
    share = plan.dose.label_claim_mg / plan.dose.mass_mg
    sample = mass_window(plan).bulk_mg
    one, die = (
        mixing.random_rsd(share, mass, active, filler) for mass in (plan.dose.mass_mg, sample)
    )
    yield Finding(
        "detectability",
        "random mixture",
        fit_if(die <= CLEAR_SHARE * limit, Fitness.CAUTION if die < limit else Fitness.UNFIT),
        f"RSD {die:.2f} % in one die, {one:.2f} % in one unit dose",
        f"{CLEAR_SHARE * limit:g} %, half of the SD to be judged ({limit:g} %)",
        "derived: Poisson numbers of particles; ISPE 2015",
        "a lower limit for single particles, free of lumps; never an acceptance limit",
    )
    yield _gy(plan, share, sample, limit)
    yield _lacey(share, mixing.random_sd(share, sample, active, filler), limit)


def _unknown(limit: float) -> Finding:
    return Finding(
        "detectability",
        "random mixture",
        Fitness.CAUTION,
        "not known",
        f"SD {limit:g} % of target",
        "ISPE 2015",
        "describe the active substance's particles in [powder]",
    )


def _lacey(share: float, random: float, limit: float) -> Finding:
    index = mixing.lacey_index(share * limit / 100, share, random)
    return Finding(
        "detectability",
        "Lacey index at the limit",
        Fitness.FIT,
        f"{index:.5f}",
        "1 is a random mixture",
        "Lacey 1954, read in lecture notes",
        "near 1 at the limit already: judge by the standard deviation, not by this index",
    )


def _gy(plan: Plan, share: float, sample_mg: float, limit: float) -> Finding:
    powder = plan.powder
    constant = mixing.gy_constant(
        share,
        powder.active_density_g_ml or 1.0,
        powder.filler_density_g_ml,
        powder.active_gsd or 1.0,
    )
    top_cm = mixing.top_size_um(powder.active_d50_um or 0.0, powder.active_gsd or 1.0) * 1e-4
    error = mixing.gy_rsd(constant, top_cm, sample_mg / 1000)
    return Finding(
        "detectability",
        "fundamental sampling error",
        fit_if(error <= CLEAR_SHARE * limit, Fitness.CAUTION),
        f"RSD {error:.2f} % in one die",
        f"{CLEAR_SHARE * limit:g} %",
        f"{DERIVED}; factors of shape and range of sizes: Gy, read in lecture notes",
        "the random mixture again, for particles of one size, the top size",
    )
