"""The options of the commands about assay results; those of the other commands are beside it."""

from pathlib import Path

from assistant.cli.output_options import output_options, overwrite_option
from assistant.cli.record_options import Sub, proof_options


def _report(sub: Sub) -> None:
    sub.add_argument(
        "-o",
        dest="output",
        type=Path,
        action="append",
        default=[],
        help="the report: a name ending in .pdf or .html; may be given twice",
    )
    sub.add_argument("--json", type=Path, help="JSON file for every number at full precision")
    overwrite_option(sub)


def evaluate_options(sub: Sub) -> None:
    """Options of `evaluate`."""
    sub.add_argument("record", type=Path, help="folder of the record")
    sub.add_argument("assays", type=Path, nargs="?", help="the laboratory's sheet, CSV or XLSX")
    proof_options(sub)
    _report(sub)
    sub.add_argument(
        "--partial",
        action="store_true",
        help="leave out missing, void and unreconciled vials, and say so",
    )
    sub.add_argument(
        "--stage",
        type=int,
        choices=(1, 2),
        default=2,
        help="1: the sheet holds one vial of each location; without a sheet, list them (default: "
        "2, every vial)",
    )
    _unit(sub)
    sub.add_argument(
        "--dosage-units",
        type=Path,
        metavar="SHEET",
        help="sheet of the dosage units made of the blend, CSV or XLSX: location, number, assay",
    )
    sub.add_argument(
        "--weight-corrected",
        choices=("yes", "no"),
        help="whether the assays of the dosage units are, if their heading does not say",
    )
    _levels(sub)


def _levels(sub: Sub) -> None:
    sub.add_argument(
        "--scheme",
        choices=("industry-2014", "usp-905", "e2810-plan-1", "e2810-plan-2"),
        default="industry-2014",
        help="scheme that gives the verdict and the exit code (default: industry-2014)",
    )
    sub.add_argument(
        "--confidence", type=float, default=0.95, help="confidence of the intervals, 0 to 1"
    )
    sub.add_argument(
        "--limit-confidence",
        type=float,
        default=0.90,
        help="confidence level of the acceptance limits, 0 to 1",
    )
    sub.add_argument(
        "--coverage",
        type=float,
        default=0.95,
        help="coverage of the acceptance limits, 0 to 1",
    )
    sub.add_argument("--method-sd", type=float, help="SD of the analytical method, %% of target")
    sub.add_argument(
        "--tolerance-interval",
        metavar="P/C",
        help="also report tolerance limits of the batch, such as 95/95: proportion and "
        "confidence level, %%, 90 to 99.9 each; the verdict does not depend on them",
    )
    sub.add_argument(
        "--predict",
        action="store_true",
        help="also report the predicted probability of passing the dosage-unit test; the verdict "
        "does not depend on it",
    )


def compare_options(sub: Sub) -> None:
    """Options of `compare`."""
    sub.add_argument(
        "batches",
        nargs="+",
        metavar="RECORD=ASSAYS",
        help="a record's folder and its sheet; two or more",
    )
    _report(sub)
    sub.add_argument(
        "--partial",
        action="store_true",
        help="leave out missing, void and unreconciled vials of every batch",
    )
    _unit(sub)
    sub.add_argument(
        "--significance",
        type=float,
        default=0.05,
        help="largest adjusted p-value that counts as a difference",
    )


def assays_options(sub: Sub) -> None:
    """Options of `assays`."""
    sub.add_argument("record", type=Path, help="folder of the record")
    output_options(sub, "file to write, CSV")
    truth = "% of target"
    for name, default, what in (
        ("mean", 100.0, "true mean"),
        ("between", 1.0, "SD between locations"),
        ("within", 1.0, "SD within a location: sampling and method"),
        ("bias", 0.0, "added by the thief to every sample"),
        ("depth-slope", 0.0, "added for every 100 mm of depth"),
        ("position-slope", 0.0, "added for every position above the bottom one"),
        ("order-slope", 0.0, "added for every insertion after the first"),
        ("open-slope", 0.0, "added for every 10 s the port was open"),
    ):
        sub.add_argument(
            f"--{name}", type=float, default=default, help=f"{what}, %{truth} (default {default:g})"
        )
    sub.add_argument(
        "--dosage-units",
        metavar="LOCATIONSxUNITS",
        help="simulate dosage units instead, such as 40x3, of the powder with these SDs",
    )
    sub.add_argument("--decimals", type=int, default=1, help="decimals of the assays (default 1)")
    sub.add_argument("--seed", type=int, default=1, help="random seed (default 1)")


def _unit(sub: Sub) -> None:
    sub.add_argument(
        "--unit",
        choices=("% of target", "% by weight", "fraction of target", "mg", "mg/g"),
        metavar="UNIT",
        help="unit of the assays: '%% of target', '%% by weight', 'fraction of target', mg or mg/g",
    )
