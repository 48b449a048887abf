"""`evaluate`: a record and its assays to a verdict, a report, and every number behind it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from assistant.cli.evaluation_inputs import read_laboratory, read_record
from assistant.cli.files import require_output, write_file
from assistant.cli.output import terminal
from assistant.cli.requirements import show_lacking
from assistant.errors import InputError
from assistant.evaluation.assays import State
from assistant.evaluation.e2810 import Demand
from assistant.evaluation.review import Answer
from assistant.evaluation.stages import first_vials
from assistant.evaluation.tolerance import Asked, asked
from assistant.record import software
from assistant.report.document_model import Document, Verdict
from assistant.report.evaluation_run import Case, EvaluationRequest, make_case, require_closed
from assistant.report.formatting import counted, fixed
from assistant.report.json_output import case_json
from assistant.report.sections import document, verdict
from assistant.report.sections_predictive import predictive_sentence
from assistant.report.sections_units import units_verdict
from assistant.report.vial_records import RecordStudy

EXIT_CODES = {Answer.MET: 0, Answer.NOT_MET: 1, Answer.OPEN: 4}
"""2 and 3 are taken by bad input and by devices."""
_YES_OR_NO = {"yes": True, "no": False}


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `evaluate`."""

    record: Path
    assays: Path | None
    head: str | None
    keys: Path | None
    authority: Path | None
    require: list[str]
    output: list[Path]
    json: Path | None
    overwrite: bool
    partial: bool
    stage: int
    unit: str | None
    dosage_units: Path | None
    weight_corrected: str | None
    scheme: str
    confidence: float
    limit_confidence: float
    coverage: float
    method_sd: float | None
    tolerance_interval: str | None
    predict: bool


def run(options: Options) -> int:
    """Evaluate; 0 when the criteria are met, 1 when they are not, 4 when points are left open.

    1 also when something that was required of the record does not hold.

    Raises:
        InputError: a file, an option or the vials do not fit.
        RecordBroken: the record does not hold.
    """
    forms = forms_of(options.output, options.json, overwrite=options.overwrite)
    wanted = options.tolerance_interval
    tolerance = asked(wanted) if wanted is not None else None
    record, signatures, standing = read_record(
        options.record, options.head or "", options.keys, options.authority
    )
    if signatures and options.keys is None:
        raise InputError(
            f"The record in {options.record} is signed: name the folder of public keys with "
            "--keys, so that the report lists only genuine signatures."
        )
    if options.assays is None:
        return _ask_for_vials(record, options)
    case = make_case(
        record,
        read_laboratory(options.assays, options.unit),
        _request(options, tolerance),
        software=software(),
        signatures=signatures,
        shown=standing.lines,
        units=read_laboratory(options.dosage_units, None) if options.dosage_units else None,
    )
    if options.json:
        write_file(options.json, case_json(case), overwrite=options.overwrite)
    for path, form in forms:
        write_file(path, form(document(case)), overwrite=options.overwrite)
    console = terminal()
    _tell(console, case)
    for line in standing.lines:
        console.print(line)
    return show_lacking(console, standing, options.require) or EXIT_CODES[case.answer]


def _request(options: Options, tolerance: Asked | None) -> EvaluationRequest:
    return EvaluationRequest(
        scheme=options.scheme,
        partial=options.partial,
        stage_1=options.stage == 1,
        confidence=options.confidence,
        demand=Demand(confidence=options.limit_confidence, coverage=options.coverage),
        method_sd=options.method_sd,
        tolerance=tolerance,
        predict=options.predict,
        weight_corrected=_YES_OR_NO.get(options.weight_corrected or ""),
    )


def _ask_for_vials(record: RecordStudy, options: Options) -> int:
    """Say which vials the laboratory assays first.

    Raises:
        InputError: no sheet is named although the stage needs one, or the session is not closed.
    """
    if options.stage != 1 or options.output or options.json:
        raise InputError(
            "Name the laboratory's sheet; without one, --stage 1 alone lists the vials to assay "
            "first."
        )
    require_closed(record, partial=options.partial)
    first = first_vials(record.expected)
    taken = sum(each.state is State.TAKEN for each in record.expected)
    console = terminal()
    console.print(
        f"Stage 1: assay {counted(len(first), 'vial')}, of every spot the lowest position that "
        f"filled its vial: {', '.join(first)}."
    )
    console.print(f"Keep the other {counted(taken - len(first), 'vial')}.")
    return 0


def forms_of(
    output: Sequence[Path], json: Path | None, *, overwrite: bool
) -> list[tuple[Path, Callable[[Document], bytes]]]:
    """Pair every report that was asked for with how it is made, before the evaluation begins.

    Raises:
        InputError: a name is neither PDF nor HTML, or a file exists and may not be replaced.
    """
    forms = [(path, _form_of(path)) for path in output]
    for path in (*output, *((json,) if json else ())):
        require_output(path, overwrite=overwrite)
    return forms


def _form_of(path: Path) -> Callable[[Document], bytes]:
    """How a document is set into a file of this name.

    Raises:
        InputError: by its suffix it is neither PDF nor HTML.
    """
    suffix = path.suffix.lower()
    if suffix == ".pdf":
        from assistant.report.pdf import pdf  # noqa: PLC0415 - loads reportlab and matplotlib

        return pdf
    if suffix in (".html", ".htm"):
        from assistant.report.html import html  # noqa: PLC0415 - loads jinja2 and matplotlib

        return html
    raise InputError(f"{path}: name a report ending in .pdf or .html.")


def _answer(console: Console, answer: Verdict) -> None:
    console.print(answer.line, style="bold")
    console.print(answer.sentence)
    for aside in answer.asides:
        console.print(f"- {aside}")


def _tell(console: Console, case: Case) -> None:
    _answer(console, verdict(case))
    if case.units is not None:
        _answer(console, units_verdict(case.units))
    for indication in case.study.indications:
        console.print(f"{indication.about}: {indication.sentence}")
    limits = case.tolerance
    if limits is not None:
        console.print(
            f"tolerance interval {limits.asked.name}, not part of the verdict: "
            f"{fixed(limits.lower)} to {fixed(limits.upper)} % of target"
        )
    if predicted := predictive_sentence(case):
        console.print(predicted)
