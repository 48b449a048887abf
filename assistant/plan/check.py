"""All findings about a plan, in the order in which `check` prints them."""

from assistant.plan.finding import Finding
from assistant.plan.insertion_geometry import insertions
from assistant.plan.location_checks import bed_lines, location_lines, set_lines
from assistant.plan.model import Plan
from assistant.plan.powder_bed import bed_of
from assistant.plan.sample_checks import die_lines, sampler_lines, sight_lines


def findings(plan: Plan) -> tuple[Finding, ...]:
    """Hold a plan against every limit the program knows.

    Raises:
        PlanError: the powder does not fit the vessel, or a depth cannot be reached at all.
    """
    bed = bed_of(plan)
    entered = insertions(plan, bed)
    return (
        *bed_lines(plan, bed),
        *location_lines(plan, bed, entered),
        *set_lines(plan, bed, entered),
        *die_lines(plan),
        *sampler_lines(plan, entered),
        *sight_lines(plan),
    )
