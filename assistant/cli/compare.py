"""`compare`: the batches of a validation campaign against each other."""

from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from assistant.cli.evaluate import forms_of
from assistant.cli.evaluation_inputs import read_laboratory, read_record
from assistant.cli.files import write_file
from assistant.cli.output import terminal
from assistant.errors import InputError
from assistant.record import software
from assistant.report.campaign import Comparison, document, make_comparison, verdict
from assistant.report.formatting import fixed
from assistant.report.json_output import campaign_json


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `compare`."""

    batches: list[str]
    output: list[Path]
    json: Path | None
    overwrite: bool
    partial: bool
    unit: str | None
    significance: float


def run(options: Options) -> int:
    """Compare; 0 when nothing tells the batches apart, 1 when something does.

    Raises:
        InputError: a file, an option or the vials do not fit.
        RecordBroken: a record does not hold.
    """
    if not 0.0 < options.significance < 1.0:
        raise InputError(f"--significance {options.significance:g}: give a level between 0 and 1.")
    forms = forms_of(options.output, options.json, overwrite=options.overwrite)
    pairs = [_pair(text) for text in options.batches]
    comparison = make_comparison(
        [(read_record(record)[0], read_laboratory(sheet, options.unit)) for record, sheet in pairs],
        partial=options.partial,
        significance=options.significance,
        software=software(),
    )
    if options.json:
        write_file(options.json, campaign_json(comparison), overwrite=options.overwrite)
    for path, form in forms:
        write_file(path, form(document(comparison)), overwrite=options.overwrite)
    _tell(terminal(), comparison)
    return 0 if comparison.alike else 1


def _pair(text: str) -> tuple[Path, Path]:
    record, joined, sheet = text.partition("=")
    if not (record and joined and sheet):
        raise InputError(
            f"{text!r} names no record and sheet: write RECORD=ASSAYS, like monday=monday.csv."
        )
    return Path(record), Path(sheet)


def _tell(console: Console, comparison: Comparison) -> None:
    answer = verdict(comparison)
    console.print(answer.line, style="bold")
    console.print(answer.sentence)
    for aside in answer.asides:
        console.print(f"- {aside}")
    for batch in comparison.campaign.batches:
        console.print(
            f"{batch.name}: {batch.summary.n} results, mean {fixed(batch.summary.mean)}, "
            f"SD {fixed(batch.summary.sd)} % of target"
        )
