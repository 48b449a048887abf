"""`labels`: a sheet of vial labels with machine-readable codes."""

from dataclasses import dataclass
from pathlib import Path

from assistant.cli.files import plan_bytes, require_output, short_hash, write_file
from assistant.plan import parse_plan
from assistant.plan.vials import vials
from assistant.report.labels import label_sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `labels`."""

    plan: str
    output: Path
    overwrite: bool


def run(options: Options) -> int:
    """Write the labels of a plan's vials as a PDF."""
    require_output(options.output, ".pdf", overwrite=options.overwrite)
    raw, name = plan_bytes(options.plan)
    plan = parse_plan(raw, name)
    made = label_sheet(plan, vials(plan), f"plan {short_hash(raw)}")
    write_file(options.output, made, overwrite=options.overwrite)
    return 0
