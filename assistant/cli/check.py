"""`check`: a plan computed and held against every limit the program knows."""

from dataclasses import dataclass

from rich.console import Console
from rich.markup import escape
from rich.table import Table

from assistant.cli.files import plan_bytes
from assistant.evaluation.operating_characteristic import Characteristic, Design, characteristic
from assistant.plan import Plan, parse_plan
from assistant.plan.check import findings
from assistant.plan.finding import Finding, Verdict, overall

_SIGNS = {Verdict.FIT: "fit", Verdict.CAUTION: "CAUTION", Verdict.UNFIT: "UNFIT"}
_STYLES = {Verdict.FIT: "green", Verdict.CAUTION: "yellow", Verdict.UNFIT: "bold red"}
_BETWEEN = (0.5, 1.0, 2.0, 3.0, 4.0, 6.0)
_WITHIN = (1.0, 2.0)
_SEED = 20_260_101
_TRIALS = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `check`."""

    plan: str


def run(options: Options) -> int:
    """Print the findings and what the study can see; 1 when the plan is unfit."""
    console = Console(highlight=False)
    plan = parse_plan(*plan_bytes(options.plan))
    found = findings(plan)
    for group in dict.fromkeys(finding.group for finding in found):
        console.print(_table(group, [f for f in found if f.group == group]))
    design = Design(len(plan.locations), len(plan.sampler.positions))
    chances = characteristic(
        design, [[b] for b in _BETWEEN], [list(_WITHIN)], seed=_SEED, trials=_TRIALS
    )
    console.print(_chances(plan, chances))
    worst = overall(found)
    console.print(f"the plan is {_SIGNS[worst]}", style=_STYLES[worst])
    return 1 if worst is Verdict.UNFIT else 0


def _table(group: str, found: list[Finding]) -> Table:
    table = Table(title=group, title_justify="left", expand=True)
    for column in ("", "what", "number", "limit", "source"):
        table.add_column(column, overflow="fold")
    for finding in found:
        note = f"\n{finding.note}" if finding.note else ""
        table.add_row(
            _SIGNS[finding.verdict],
            escape(finding.subject + note),
            escape(finding.number),
            escape(finding.limit),
            escape(finding.source),
            style=_STYLES[finding.verdict] if finding.verdict is not Verdict.FIT else "",
        )
    return table


def _chances(plan: Plan, chances: Characteristic) -> Table:
    """The probability of passing a blend of given spread, by scheme."""
    worst = max(float(chances.standard_error(scheme).max()) for scheme in chances.probability)
    table = Table(
        title=(
            f"chance of passing with {len(plan.locations)} locations and "
            f"{len(plan.sampler.positions)} replicates"
        ),
        caption=(
            f"SD in % of target; simulated, {_TRIALS} studies a cell, "
            f"standard error at most {100 * worst:.1f} %"
        ),
        title_justify="left",
        caption_justify="left",
    )
    table.add_column("SD between", justify="right")
    table.add_column("SD within", justify="right")
    for scheme in chances.probability:
        table.add_column(scheme, justify="right", overflow="fold")
    for w, within in enumerate(_WITHIN):
        for b, between in enumerate(_BETWEEN):
            cells = [f"{100 * share[b, w]:.0f} %" for share in chances.probability.values()]
            table.add_row(f"{between:g}", f"{within:g}", *cells, end_section=b + 1 == len(_BETWEEN))
    return table
