"""`draw`: the plan as a picture."""

from dataclasses import dataclass
from pathlib import Path
from typing import cast

from assistant.cli.files import plan_bytes, require_suffix, short_hash, write_file
from assistant.plan import parse_plan
from assistant.plan.vials import vials
from assistant.report.draw import Form, draw

FORMS = ("svg", "png", "pdf")


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `draw`."""

    plan: str
    output: Path


def run(options: Options) -> int:
    """Draw vessel, bed, insertions and ports into a file; its suffix says the form."""
    require_suffix(options.output, *(f".{form}" for form in FORMS))
    form = options.output.suffix.removeprefix(".").lower()
    raw, name = plan_bytes(options.plan)
    plan = parse_plan(raw, name)
    footer = f"{Path(name).name} | plan {short_hash(raw)}"
    write_file(options.output, draw(plan, vials(plan), cast("Form", form), footer))
    return 0
