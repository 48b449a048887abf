"""`labels`: a sheet of vial labels with machine-readable codes."""

from dataclasses import dataclass
from pathlib import Path

from assistant.cli.files import plan_bytes, require_suffix, short_hash, write_file
from assistant.plan import parse_plan
from assistant.plan.vials import vials
from assistant.report.labels import label_sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `labels`."""

    plan: str
    output: Path


def run(options: Options) -> int:
    """Write the labels of a plan's vials as a PDF."""
    require_suffix(options.output, ".pdf")
    raw, name = plan_bytes(options.plan)
    plan = parse_plan(raw, name)
    write_file(options.output, label_sheet(plan, vials(plan), f"plan {short_hash(raw)}"))
    return 0
