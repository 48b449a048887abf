"""Limits of the sampler: running clearance, powder in the gap, weight.

Running clearance of 15 to 20 thousandths of an inch, emptying the tube after every insertion:
this program's choice, no source. Lifting: the revised NIOSH equation, metric form.
"""

from math import pi

from assistant.plan.model import Plan

TIGHTEST_MM = 0.381
LOOSEST_MM = 0.508
"""15 and 20 thousandths of an inch."""

_ROUNDING_MM = 0.0005
"""A clearance given in hundredths of a millimetre may miss the limit by rounding."""


def clearance_word(clearance_mm: float) -> str:
    """Say whether a running clearance is 'too tight', 'too loose' or 'right'."""
    if clearance_mm < TIGHTEST_MM - _ROUNDING_MM:
        return "too tight"
    return "too loose" if clearance_mm > LOOSEST_MM + _ROUNDING_MM else "right"


def hidden_powder_g(plan: Plan, wetted_mm: float) -> float:
    """Return the most powder, g, that can lie between shaft and tube after one insertion.

    The whole ring under the powder's surface, taken at the tube's outer diameter and filled at bulk
    density: more than can really be there, since the wall of the tube is left out.

    Args:
        plan: the sampler's diameter and clearance, and the powder's density.
        wetted_mm: length of tube in the powder.
    """
    sampler = plan.sampler
    ring = pi * sampler.diameter_mm * sampler.clearance_mm / 2
    return max(wetted_mm, 0.0) * ring / 1000 * plan.powder.bulk_density_g_ml


def loaded_kg(plan: Plan) -> float:
    """Return the weight of the sampler with every die full at tapped density, kg."""
    powder = plan.vials_per_insertion * plan.sampler.die_volume_ml
    return plan.sampler.mass_kg + powder * plan.powder.tapped_density_g_ml / 1000


def lifting_limit_kg(
    reach_cm: float, hands_cm: float, travel_cm: float, turn_deg: float = 0.0
) -> float:
    """Return the recommended weight limit, kg, of the revised NIOSH lifting equation.

    Frequency and grip count as 1 (rare lifts, good handle). Outside the equation's range of travel
    the nearer end is taken.

    Args:
        reach_cm: horizontal distance of the hands from the ankles, 25 to 63.
        hands_cm: height of the hands at the start, 0 to 175.
        travel_cm: how far the load is raised, taken as 25 to 175.
        turn_deg: twist of the body, 0 to 135.
    """
    travel = min(max(travel_cm, 25.0), 175.0)
    height = 1 - 0.003 * abs(hands_cm - 75)
    return 23 * 25 / reach_cm * height * (0.82 + 4.5 / travel) * (1 - 0.0032 * turn_deg)
