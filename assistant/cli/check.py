"""`check`: compute a plan and check it against every limit the program knows."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rich.console import Console
from rich.table import Table
from rich.text import Text

from assistant.cli.files import plan_bytes
from assistant.cli.output import terminal
from assistant.evaluation.e2810 import Demand
from assistant.evaluation.operating_characteristic import Characteristic, Design, characteristic
from assistant.plan import Plan, parse_plan
from assistant.plan.check import findings
from assistant.plan.finding import Finding, Fitness, overall
from assistant.plan.vials import vials

_SIGNS: Final = {Fitness.FIT: "fit", Fitness.CAUTION: "CAUTION", Fitness.UNFIT: "UNFIT"}
_STYLES: Final = {Fitness.FIT: "green", Fitness.CAUTION: "yellow", Fitness.UNFIT: "bold red"}
_BETWEEN: Final = (0.5, 1.0, 2.0, 3.0, 4.0, 6.0)
_WITHIN: Final = (1.0, 2.0)
_EXAMPLE: Final = (2.0, 1.0)
"""SD between and within locations of the blend in the answer's third line, % of target."""
_LEADING: Final = "industry-2014 stage 1"
_SEED: Final = 20_260_101
_TRIALS: Final = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `check`."""

    plan: str
    details: bool


def run(options: Options) -> int:
    """Print the answer, then what was found; 1 when the plan is unfit."""
    console = terminal()
    plan = parse_plan(*plan_bytes(options.plan))
    found = findings(plan)
    worst = overall(found)
    console.print(_answer(options.plan, found), style=_STYLES[worst])
    console.print(
        f"locations: {len(plan.locations)}, shaft positions: {len(plan.sampler.positions)}, "
        f"vials: {len(vials(plan))}"
    )
    console.print(_example(plan))
    for group in dict.fromkeys(finding.group for finding in found):
        console.print(f"\n{group}", style="bold")
        rows = [finding for finding in found if finding.group == group]
        console.print(_table(rows, details=options.details), soft_wrap=False)
    if options.details:
        _show_chances(console, plan)
    else:
        console.print("\n--details adds limits, sources, notes and the chances of passing.")
    return 1 if worst is Fitness.UNFIT else 0


def _answer(name: str, found: Sequence[Finding]) -> str:
    """Say in one line whether the plan can be carried out."""
    counted = Counter(finding.verdict for finding in found)
    return (
        f"{name} is {_SIGNS[overall(found)]}: {len(found)} checks, {counted[Fitness.UNFIT]} unfit, "
        f"{counted[Fitness.CAUTION]} with caution"
    )


def _chances(plan: Plan, between: Sequence[float], within: Sequence[float]) -> Characteristic:
    """Simulate studies of this plan over blends of given spreads."""
    design = Design(len(plan.locations), len(plan.sampler.positions))
    target = plan.dose.target_percent
    return characteristic(
        design,
        [[sd] for sd in between],
        [list(within)],
        seed=_SEED,
        mean=target,
        trials=_TRIALS,
        demand=Demand(target=target),
    )


def _example(plan: Plan) -> str:
    """Say what such a study does with a blend of middling spread."""
    between, within = _EXAMPLE
    share = _chances(plan, [between], [within]).probability[_LEADING][0, 0]
    return (
        f"{100 * share:.0f} % of {_TRIALS} simulated studies pass {_LEADING} where the SD is "
        f"{between:g} between and {within:g} within locations (% of target)"
    )


def _table(found: Sequence[Finding], *, details: bool) -> Table:
    """Lay findings out; limit, source and note stand below the number where they matter."""
    table = Table(box=None, show_header=False, padding=(0, 2, 0, 0))
    table.add_column(min_width=7, no_wrap=True)
    table.add_column(max_width=30)
    table.add_column(overflow="fold")
    for finding in found:
        open_point = finding.verdict is not Fitness.FIT
        below = [f"limit: {finding.limit}", f"source: {finding.source}", finding.note]
        lines = [finding.number, *(filter(None, below) if details or open_point else ())]
        style = _STYLES[finding.verdict] if open_point else ""
        sign = Text(_SIGNS[finding.verdict], style=style)
        table.add_row(sign, finding.subject, Text("\n".join(lines), style=style))
    return table


def _show_chances(console: Console, plan: Plan) -> None:
    """Show the probability of passing a blend of given spread, by scheme."""
    chances = _chances(plan, _BETWEEN, _WITHIN)
    for w, within in enumerate(_WITHIN):
        console.print(
            f"\nchance of passing with {len(plan.locations)} locations and "
            f"{len(plan.sampler.positions)} replicates, SD {within:g} within locations",
            style="bold",
        )
        table = Table(box=None, padding=(0, 2, 0, 0))
        table.add_column("SD between locations")
        for between in _BETWEEN:
            table.add_column(f"{between:g}", justify="right")
        for scheme, share in chances.probability.items():
            table.add_row(scheme, *(f"{100 * p:.0f} %" for p in share[:, w]))
        console.print(table, soft_wrap=False)
    worst = max(float(chances.standard_error(scheme).max()) for scheme in chances.probability)
    console.print(
        f"SD in % of target; {_TRIALS} simulated studies a cell, standard error at most "
        f"{100 * worst:.1f} %"
    )
