"""`draw`: the plan as a picture."""

from dataclasses import dataclass
from pathlib import Path
from typing import cast

from assistant.cli.files import plan_bytes, require_output, short_hash, write_file
from assistant.plan import parse_plan
from assistant.plan.vials import vials
from assistant.report.draw import Form, draw

FORMS = ("svg", "png", "pdf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `draw`."""

    plan: str
    output: Path
    overwrite: bool


def run(options: Options) -> int:
    """Draw vessel, bed, insertions and ports into a file; its suffix says the form."""
    suffixes = [f".{form}" for form in FORMS]
    require_output(options.output, *suffixes, overwrite=options.overwrite)
    form = options.output.suffix.removeprefix(".").lower()
    raw, name = plan_bytes(options.plan)
    plan = parse_plan(raw, name)
    footer = f"{Path(name).name} | plan {short_hash(raw)}"
    made = draw(plan, vials(plan), cast("Form", form), footer)
    write_file(options.output, made, overwrite=options.overwrite)
    return 0
