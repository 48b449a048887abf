"""The sections of an evaluation report that show record, deviations, identity and sources."""

from collections.abc import Iterator

from assistant.evaluation.results import Result
from assistant.procedure.enums import State
from assistant.report.document_model import Align, Block, Facts, Heading, Text, table
from assistant.report.evaluation_run import Case
from assistant.report.formatting import MISSING, common_decimals, fixed, listed, moment
from assistant.report.vial_records import DeviationRecord, VialRecord

_STANDING = {
    "open": "OPEN",
    "withdrawn": "withdrawn by a correction",
    "accepted": "accepted",
    "void": "samples void",
    "repeat": "insertion repeated",
}


def deviations(case: Case) -> Iterator[Block]:
    """Every deviation of the session and the samples it affects."""
    yield Heading("Deviations of the session")
    found = case.record.deviations
    if not found:
        yield Text("The session has no deviation on record.")
        return
    yield table(
        [
            ("no.", 0.05, "right"),
            ("raised", 0.2, "left"),
            ("what", 0.18, "left"),
            ("at", 0.08, "left"),
            ("vials affected", 0.14, "left"),
            ("disposal", 0.14, "left"),
            ("reason given", 0.21, "left"),
        ],
        [_deviation(one) for one in found],
        bold=[i for i, one in enumerate(found) if one.deviation.status == "open"],
    )


def _deviation(one: DeviationRecord) -> tuple[str, ...]:
    said = one.deviation
    detail = said.detail.replace("place-", "").replace("amount-", "")
    kind = said.kind.value.replace("-", " ")
    return (
        str(said.number),
        f"{moment(one.utc)}, {one.by}",
        f"{kind}: {detail}" if detail else kind,
        one.location or MISSING,
        listed([str(vial) for vial in said.vials], 30),
        _STANDING[said.status],
        one.reason or MISSING,
    )


_VIAL_COLUMNS: tuple[tuple[str, float, Align], ...] = (
    ("vial", 0.06, "right"),
    ("location", 0.15, "left"),
    ("position", 0.1, "left"),
    ("port", 0.06, "right"),
    ("depth, mm", 0.08, "right"),
    ("order", 0.07, "right"),
    ("open, s", 0.08, "right"),
    ("mass, mg", 0.09, "right"),
    ("status", 0.1, "left"),
    ("deviations", 0.11, "left"),
    ("assay", 0.1, "right"),
)


def vials(case: Case) -> Iterator[Block]:
    """Every vial from the record to its result."""
    yield Heading("Every vial")
    results = {result.vial: result for result in case.study.results}
    places = common_decimals([result.assay for result in case.study.results])
    rows = [_vial(case, vial, results.get(vial.vial), places) for vial in case.record.vials]
    yield table(
        _VIAL_COLUMNS,
        rows,
        bold=[index for index, row in enumerate(rows) if row[0] not in results],
        note="Depth of the port straight below the surface, from the plan; order among the "
        "insertions made; seconds from the port's opening to its closing as confirmed. Assay in % "
        "of target; vials without one are in bold and are not part of the statistics.",
    )


def injections(case: Case) -> Iterator[Block]:
    """The single determinations behind each mean, where the laboratory sent several."""
    found = case.joined.injections
    if not found:
        return
    places = common_decimals([value for values in found.values() for value in values])
    yield Heading("Injections")
    yield table(
        [("vial", 0.1, "right"), ("injections", 0.6, "left"), ("mean", 0.3, "right")],
        [
            (
                vial,
                "  ".join(fixed(value, places) for value in values),
                fixed(sum(values) / len(values), places + 1),
            )
            for vial, values in found.items()
        ],
        note=f"As on the laboratory's sheet, in {case.joined.unit}. Each vial enters the "
        "statistics with its mean; the spread between its injections is the method's, not the "
        "blend's.",
    )


def _vial(case: Case, vial: VialRecord, result: Result | None, places: int) -> tuple[str, ...]:
    again = f" (attempt {vial.attempt})" if vial.attempt > 1 else ""
    return (
        vial.vial,
        f"{vial.location}{again}",
        case.record.plan.sampler.positions[vial.position - 1].value,
        str(vial.port),
        fixed(vial.depth_mm, 0),
        str(vial.insertion_order or MISSING),
        fixed(vial.open_seconds, 1),
        fixed(result.mass_mg if result else vial.mass_mg, 1),
        vial.status.value,
        ", ".join(map(str, case.touched.get(vial.vial, []))),
        fixed(result.assay, places) if result else "none",
    )


def identity(case: Case) -> Iterator[Block]:
    """The inputs of this report, so that it can be reproduced."""
    record, opened = case.record, case.record.opened
    state = "closed" if record.complete else f"not closed: {record.session.state.value}"
    if record.session.state is State.STOPPED:
        state = "stopped before its end"
    yield Heading("Record, software and inputs")
    yield Facts(
        (
            ("head code", case.head),
            ("record", f"{record.last.seq} entries, {state}; the last one has the SHA-256"),
            ("", record.last.hash),
            ("plan SHA-256", opened.plan_sha256),
            ("grammar SHA-256", opened.grammar_sha256),
            (
                "assays SHA-256",
                f"{case.laboratory.sha256} ({case.laboratory.sheet.name})",
            ),
            ("columns not used", listed(case.laboratory.sheet.ignored)),
            ("recorded with", f"{opened.software}; {opened.engine}"),
            ("devices", f"microphone {opened.microphone}; speaker {opened.speaker}"),
            ("evaluated with", case.software),
        )
    )
    yield Text(
        "The record is a chain of entries, each with the SHA-256 of the one before it in RFC 8785 "
        "form; it was verified from its first entry, sound clips included, when this report was "
        "made, and is intact. " + " ".join(f"{line[0].upper()}{line[1:]}." for line in case.shown),
        "small",
    )


def signatures(case: Case) -> Iterator[Block]:
    """Who signed the record, when and why."""
    yield Heading("Signatures under the record")
    if not case.signatures:
        yield Text("Nobody has signed the record electronically.")
        return
    statements = [signature.statement for signature in case.signatures]
    yield table(
        [
            ("printed name", 0.25, "left"),
            ("meaning", 0.15, "left"),
            ("signed", 0.25, "left"),
            ("at entry", 0.1, "right"),
            ("key", 0.25, "left"),
        ],
        [(s.name, s.meaning, moment(s.utc), str(s.count), s.key[:16]) for s in statements],
        note="Each was checked with the public key of the named person when this report was made; "
        "each covers the one before it, and all belong to this record.",
    )


def sources(case: Case) -> Iterator[Block]:
    """How every number was computed, and the sources."""
    yield Heading("Methods and sources")
    yield table(
        [("figure", 0.22, "left"), ("method", 0.42, "left"), ("source", 0.36, "left")],
        [*_METHODS, *_mixture(case)],
        note="Where a formula was read in a secondary text, the original paper was not at hand.",
    )


def _mixture(case: Case) -> Iterator[tuple[str, str, str]]:
    limit = case.study.options.random_rsd
    if limit is not None:
        yield (
            "random mixture",
            f"RSD {fixed(limit)} % in samples of the mean mass, for the particles of the plan",
            "derived: Poisson numbers of particles, to the first order",
        )


_METHODS = (
    (
        "mean, SD, RSD",
        "exact rational sums of the decimals of the sheet, rounded once; n - 1 in the divisor",
        "definition",
    ),
    (
        "components of variance",
        "one-way random effects: within = MSW, between = (MSB - MSW)/n0, not below zero",
        "ISO Guide 35:2017, formula (3)",
    ),
    ("n0", "[N - sum(n²)/N]/(a - 1) for N results in a locations", "ISO Guide 35:2017"),
    ("interval within", "exact: df MSW/chi-squared", "textbook"),
    (
        "interval between",
        "modified large-sample limits, cut at zero",
        "Ting et al. 1990, formula read in a secondary text; coverage simulated",
    ),
    (
        "interval of both",
        "MSB/n + (1 - 1/n) MSW, with Satterthwaite's degrees of freedom",
        "Satterthwaite 1946, formula read in a secondary text",
    ),
    (
        "upper limit of both",
        "the same sum, one-sided, conservative",
        "Graybill and Wang 1980, formula read in a secondary text",
    ),
    ("share between", "exact: L/(1 + L) with L = (F/F-quantile - 1)/n", "textbook"),
    ("REML", "closed form of the restricted likelihood in the location means", "derived"),
    (
        "acceptance value",
        "|M - mean| + k SD; M is the mean cut to 98.5 to 101.5; k = 2.4 for 10, 2.0 for 30",
        "USP <905>",
    ),
    (
        "acceptance limits",
        "bound on passing USP <905> over a joint confidence region of mean and SD",
        "Bergum 1990; Bergum and Li 2007; Lindgren 1968; of ASTM E2709/E2810 excerpts were read",
    ),
    (
        "acceptance limits, plan 2",
        "interval of the mean by Student's t on the location means, of the SD as its upper limit",
        "this program's choice for the mean; Graybill and Wang 1980 for the SD",
    ),
    ("normality", "Shapiro-Wilk", "Shapiro and Wilk 1965"),
    (
        "farthest value",
        "Grubbs, two-sided",
        "Grubbs' test as in the NIST/SEMATECH e-Handbook, 1.3.5.17",
    ),
    (
        "trends",
        "Pearson's r, Fisher's interval, least-squares slope, Spearman's rank correlation, Holm",
        "textbook; Holm 1979",
    ),
    (
        "operating characteristics",
        "simulation of the one-way normal model with common random numbers",
        "derived",
    ),
)
