"""`plans`: the plans, rehearsal scripts and languages that come with the program."""

from dataclasses import dataclass

from rich.table import Table

from assistant.cli.output import terminal
from assistant.plan import parse_plan
from assistant.storage import bundled_files


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `plans`."""


def run(_options: Options) -> int:
    """List what is there by name; each name can be given where a file is asked for."""
    table = Table(box=None, padding=(0, 2, 0, 0))
    for heading in ("plan", "vessel", "locations", "vials", "positions"):
        table.add_column(
            heading, justify="right" if heading in ("locations", "vials", "positions") else "left"
        )
    for name in bundled_files.plan_names():
        plan = parse_plan(bundled_files.read_plan(name), name)
        places = len(plan.locations)
        vials = places * plan.vials_per_insertion
        table.add_row(
            name, plan.vessel.kind, str(places), str(vials), str(len(plan.sampler.positions))
        )
    console = terminal()
    console.print(table)
    console.print(f"\nrehearsal scripts: {', '.join(bundled_files.script_names())}")
    console.print(f"grammars: {', '.join(bundled_files.languages())}")
    return 0
