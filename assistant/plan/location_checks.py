"""The findings of `check` about vessel, powder bed and insertions."""

from collections.abc import Iterator, Sequence

from assistant.plan.bed_disturbance import crossings, insertion_order
from assistant.plan.coverage import coverage, default_radius_mm
from assistant.plan.dies import carr_percent, flow_character, repose_character
from assistant.plan.entry_direction import aim_of, told_shift_mm
from assistant.plan.finding import CHOICE, DERIVED, OWN, Finding, Fitness, fit_if
from assistant.plan.insertion_geometry import Insertion
from assistant.plan.model import Plan
from assistant.plan.powder_bed import LITRE_MM3, Bed

LEAST_FILL, MOST_FILL = 0.30, 0.80
"""Share of the vessel filled; powder in a nearly full vessel has no room to move. Our choice."""

POOR_FLOW_PERCENT = 25
"""Carr index up to which USP <1174> calls the flow passable."""

BARE_SHARE = 0.10
"""Share of the bed that may lie far from every sample."""

DEPTH_STEP = 0.2
"""Two depths count as different when they differ by this share of the bed's height."""


def bed_lines(plan: Plan, bed: Bed) -> Iterator[Finding]:
    """Yield the lines about the powder in its vessel."""
    repose = plan.powder.repose_deg
    heaped = f"heaped at {repose:g} deg" if bed.slope else "level"
    measured = "measure it before the first insertion; every port moves with it"
    if bed.slope:
        measured += f"; {repose_character(repose)} flow by that angle (USP <1174>)"
    yield Finding(
        "vessel and bed",
        "fill",
        fit_if(LEAST_FILL <= bed.fill <= MOST_FILL, Fitness.CAUTION),
        f"{bed.fill:.1%} of {bed.volume_mm3 / bed.fill / LITRE_MM3:.1f} L",
        f"{LEAST_FILL:.0%} to {MOST_FILL:.0%}",
        CHOICE,
    )
    yield Finding(
        "vessel and bed",
        "surface",
        Fitness.FIT,
        f"{bed.peak_mm:.0f} mm above the lowest point, {heaped}",
        f"the rim lies at {bed.openings[0].centre[2]:.0f} mm",
        DERIVED,
        measured,
    )
    bulk, tapped = plan.powder.bulk_density_g_ml, plan.powder.tapped_density_g_ml
    carr = carr_percent(bulk, tapped)
    yield Finding(
        "vessel and bed",
        "flow",
        fit_if(round(carr) <= POOR_FLOW_PERCENT, Fitness.CAUTION),
        f"Carr index {carr:.1f} %, Hausner ratio {tapped / bulk:.2f}",
        f"{POOR_FLOW_PERCENT} % or less",
        "USP <1174>",
        f"{flow_character(bulk, tapped)} flow: look for part-filled dies",
    )


def set_lines(plan: Plan, bed: Bed, insertions: Sequence[Insertion]) -> Iterator[Finding]:
    """Yield the lines about the locations as a set."""
    count = len(plan.locations)
    yield Finding(
        "locations",
        "number",
        fit_if(count >= plan.limits.fewest_locations, Fitness.CAUTION),
        f"{count} locations, {count * plan.vials_per_insertion} vials",
        f"{plan.limits.fewest_locations} locations or more",
        "FDA draft 2003 (withdrawn), ISPE 2015",
    )
    heights = [float(port[2]) for entered in insertions for port in entered.ports]
    spread = max(heights) - min(heights)
    yield Finding(
        "locations",
        "depths",
        fit_if(spread >= DEPTH_STEP * bed.peak_mm, Fitness.CAUTION),
        f"samples from {min(heights):.0f} to {max(heights):.0f} mm of {bed.peak_mm:.0f} mm",
        "two depths or more",
        "FDA draft 2003 (withdrawn)",
    )
    yield _replicates(plan)
    yield _coverage(plan, bed, insertions)
    yield _wakes(plan, insertions)
    yield _clock_rounding(plan, bed)


def _clock_rounding(plan: Plan, bed: Bed) -> Finding:
    """Entry and tilt are spoken in half hours; how far that rounding moves the tip."""
    shifts = {place.code: told_shift_mm(plan, bed, place) for place in plan.locations}
    worst = max(shifts, key=lambda code: shifts[code])
    near = shifts[worst] <= plan.wake_mm
    return Finding(
        "locations",
        "clock rounding",
        fit_if(near, Fitness.CAUTION),
        f"the tip ends up to {shifts[worst]:.0f} mm from its place, at {worst}",
        f"{plan.wake_mm:g} mm, the width of a wake",
        DERIVED,
        "" if near else "enter at, and lean towards, half hours of the clock (15 degrees)",
    )


def _replicates(plan: Plan) -> Finding:
    count = len(plan.sampler.positions)
    reason = plan.study.replicates_reason
    enough = count >= 3  # noqa: PLR2004 - the guidance's own number
    return Finding(
        "locations",
        "replicates",
        fit_if(enough or reason is not None, Fitness.CAUTION),
        f"{count} from one spot",
        "3, or a stated reason",
        "FDA Q&A on blend uniformity, ISPE 2015",
        "" if enough else f"reason: {reason}" if reason else "state [study] replicates_reason",
    )


def _coverage(plan: Plan, bed: Bed, insertions: Sequence[Insertion]) -> Finding:
    radius = plan.limits.coverage_mm or default_radius_mm(bed, len(insertions))
    seen = coverage(bed, insertions, radius)
    worst = ", ".join(f"{name} {share:.1%}" for name, share in seen.gaps[:3])
    return Finding(
        "locations",
        "coverage",
        fit_if(seen.share <= BARE_SHARE, Fitness.CAUTION),
        f"{seen.share:.1%} (+/- {seen.error:.1%}) of the bed is farther than {radius:.0f} mm",
        f"{BARE_SHARE:.0%} or less",
        DERIVED,
        f"least covered: {worst}" if seen.gaps else "",
    )


def _wakes(plan: Plan, insertions: Sequence[Insertion]) -> Finding:
    wake = plan.wake_mm
    crossed = crossings(insertions, wake)
    codes = [entered.location.code for entered in insertions]
    note = ""
    if crossed:
        order = insertion_order(insertions, wake)
        pairs = ", ".join(f"{codes[b]} after {codes[a]} ({d:.0f} mm)" for a, b, d in crossed[:3])
        cure = (
            f"take this order: {' '.join(codes[index] for index in order)}"
            if order
            else "no order avoids it: move them apart"
        )
        note = f"{pairs}; {cure}"
    return Finding(
        "locations",
        "order",
        fit_if(not crossed),
        f"{len(crossed)} ports in an earlier wake",
        f"none within {wake:g} mm of an earlier insertion",
        f"{DERIVED}; {OWN}",
        note,
    )


def faults(plan: Plan, entered: Insertion) -> tuple[str, ...]:
    """Say in words what is wrong with one insertion; nothing when it is fit."""
    limits, valve = plan.limits, entered.valve_gap_mm
    found = [
        f"port {number} lies {_beneath(cover)}"
        for number, cover in enumerate(entered.cover_mm, 1)
        if cover < limits.port_cover_mm
    ]
    if entered.tip_gap_mm < limits.tip_clearance_mm:
        hit = "is in the wall" if entered.tip_gap_mm < 0 else "comes too near the wall"
        found.append(f"the tip {hit}")
    if valve is not None and valve < limits.valve_clearance_mm:
        found.append("the tip comes too near the outlet")
    if entered.tube_gap_mm < 0:
        found.append("the tube does not pass the manway and walls")
    if entered.room_mm < 0:
        found.append("the sampler is too short")
    elif entered.room_mm < limits.handle_room_mm:
        found.append("no room is left for the handle")
    return tuple(found)


def port_unsafe(plan: Plan, entered: Insertion, port: int) -> bool:
    """Whether one port, counted from 0 at the tip, must not be trusted to sample the bed."""
    return entered.cover_mm[port] < plan.limits.port_cover_mm or any(
        fault for fault in faults(plan, entered) if not fault.startswith("port ")
    )


def _beneath(cover: float) -> str:
    if cover < 0:
        return f"{-cover:.0f} mm above the powder"
    return f"only {cover:.0f} mm below the surface"


def location_lines(plan: Plan, bed: Bed, insertions: Sequence[Insertion]) -> Iterator[Finding]:
    """Yield one line for every location."""
    limits = plan.limits
    limit = (
        f"ports {limits.port_cover_mm:g}, wall {limits.tip_clearance_mm:g}, "
        f"outlet {limits.valve_clearance_mm:g}, handle {limits.handle_room_mm:g} mm or more"
    )
    for entered in insertions:
        wrong = faults(plan, entered)
        ports = " and ".join(f"{cover:.0f}" for cover in entered.cover_mm)
        valve = entered.valve_gap_mm
        outlet = "" if valve is None else f", outlet {valve:.0f}"
        told = aim_of(bed, entered.location)
        yield Finding(
            "insertions",
            entered.location.code,
            fit_if(not wrong),
            f"{told.entry_text}; {told.tilt_text}; insert {entered.length_mm} mm; "
            f"ports {ports} deep, wall {entered.tip_gap_mm:.0f}"
            f"{outlet}, handle {entered.room_mm:.0f} mm",
            limit,
            f"{CHOICE}; {OWN}",
            "; ".join(wrong),
        )
