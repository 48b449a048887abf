"""What one die holds: against the unit dose, the balance and the batch.

A die's content lies between bulk and tapped density, since the bed presses on deep ports (derived).
One to three unit doses is this program's range; another one needs a reason in the plan.
"""

from dataclasses import dataclass
from enum import StrEnum

from assistant.plan.model import Plan

LEAST_DOSES = 1.0
MOST_DOSES = 3.0


class Weight(StrEnum):
    """What a spoken net weight says about a die's content."""

    WITHIN = "within"
    SHORT = "short"
    OVER = "over"
    BELOW_BALANCE = "below the balance's minimum"


@dataclass(frozen=True, slots=True)
class MassWindow:
    """The net weight to expect of one vial, mg.

    Attributes:
        bulk_mg: content at bulk density.
        tapped_mg: content at tapped density.
        low_mg: least weight that is not remarked.
        high_mg: greatest weight that is not remarked.
        minimum_mg: smallest net weight of the balance (USP <41>), where one is named.
    """

    bulk_mg: float
    tapped_mg: float
    low_mg: float
    high_mg: float
    minimum_mg: float | None

    def judge(self, net_mg: float) -> Weight:
        """Say what a net weight means; both ends of the window count as within."""
        if self.minimum_mg is not None and net_mg < self.minimum_mg:
            return Weight.BELOW_BALANCE
        if net_mg < self.low_mg:
            return Weight.SHORT
        return Weight.OVER if net_mg > self.high_mg else Weight.WITHIN


def mass_window(plan: Plan) -> MassWindow:
    """Return the weight to expect of every vial of a plan, mg."""
    volume = plan.sampler.die_volume_ml
    bulk = volume * plan.powder.bulk_density_g_ml * 1000
    tapped = volume * plan.powder.tapped_density_g_ml * 1000
    spread = plan.limits.mass_tolerance
    minimum = plan.weighing.minimum_mg if plan.weighing else None
    return MassWindow(bulk, tapped, bulk * (1 - spread), tapped * (1 + spread), minimum)


def die_volume_ml(doses: float, dose_mg: float, density_g_ml: float) -> float:
    """Return the die volume, mL, that holds a number of unit doses at a density."""
    return doses * dose_mg / density_g_ml / 1000


def doses_per_die(plan: Plan) -> tuple[float, float]:
    """Return how many unit doses one die holds at bulk and at tapped density."""
    window = mass_window(plan)
    return window.bulk_mg / plan.dose.mass_mg, window.tapped_mg / plan.dose.mass_mg


def powder_removed_kg(plan: Plan) -> float:
    """Return the most powder that the whole study takes out, kg: every die at tapped density."""
    dies = len(plan.locations) * plan.vials_per_insertion
    return dies * mass_window(plan).tapped_mg / 1e6


def minimum_weight_mg(sd_mg: float, readability_mg: float) -> float:
    """Return the smallest net weight of a balance, mg (USP <41>).

    Args:
        sd_mg: standard deviation of ten or more weighings of one test weight.
        readability_mg: smallest step of the display, d; a smaller deviation than 0.41 d counts as
            0.41 d, so that no balance has less than 820 d.
    """
    return 2000 * max(sd_mg, 0.41 * readability_mg)


def carr_percent(bulk: float, tapped: float) -> float:
    """Return Carr's compressibility index, percent (USP <1174>)."""
    return (tapped - bulk) / tapped * 100


def flow_character(bulk: float, tapped: float) -> str:
    """Return the flow character of USP <1174> for a bulk and a tapped density.

    The index is rounded to a whole percent, as the table of the chapter is given.
    """
    index = round(carr_percent(bulk, tapped))
    return next((name for limit, name in _FLOW if index <= limit), "very, very poor")


_FLOW = (
    (10, "excellent"),
    (15, "good"),
    (20, "fair"),
    (25, "passable"),
    (31, "poor"),
    (37, "very poor"),
)
"""Upper end of each class, percent (USP <1174>)."""


def repose_character(repose_deg: float) -> str:
    """Return the flow character of USP <1174> for an angle of repose, whole degrees."""
    angle = round(repose_deg)
    return next((name for limit, name in _REPOSE if angle <= limit), "very, very poor")


_REPOSE = (
    (30, "excellent"),
    (35, "good"),
    (40, "fair"),
    (45, "passable"),
    (55, "poor"),
    (65, "very poor"),
)
"""Upper end of each class, degrees (USP <1174>)."""
