"""Every number of an evaluation as JSON, at full precision, for other programs.

Numbers have enough digits to read the same double back. Missing values are null. The same case
gives the same bytes.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import cast

import numpy as np
from pydantic import JsonValue

from assistant.procedure.events import dump
from assistant.report.campaign import Comparison
from assistant.report.evaluation_run import Case, axis_estimate

EVALUATION, CAMPAIGN = "evaluation 1", "campaign 1"
"""Names of the file layouts."""


def case_json(case: Case) -> bytes:
    """An evaluation as JSON, UTF-8."""
    outcome, sheet = case.outcome, case.laboratory.sheet
    return _written(
        {
            "format": EVALUATION,
            "software": case.software,
            "made_up": list(case.made_up),
            "unit_doses_in_a_sample": list(case.doses),
            "verdict": {
                "scheme": outcome.scheme.key,
                "verdict": outcome.verdict.value,
                "met": case.met,
                "answer": case.answer.value,
                "open_points": list(case.open_points),
                "sentence": outcome.sentence,
                "partial": case.request.partial,
                "problems": list(case.joined.problems),
            },
            "record": _record(case),
            "laboratory": {
                "name": sheet.name,
                "sha256": case.laboratory.sha256,
                "unit": case.joined.unit.value,
                "injections": plain(case.joined.injections),
                "columns_not_used": list(sheet.ignored),
            },
            "study": plain(case.study),
            "dosage_units": _units(case),
            "tolerance_interval": plain(case.tolerance),
            "prediction": plain(case.prediction),
            "operating_characteristic": {
                **cast("dict[str, JsonValue]", plain(case.curve)),
                "estimate": axis_estimate(case.study),
            },
            "signatures": [
                {**dict(one.statement), "signature": one.signature} for one in case.signatures
            ],
        }
    )


def _record(case: Case) -> dict[str, JsonValue]:
    record = case.record
    return {
        "head_code": case.head,
        "entries": record.last.seq,
        "hash": record.last.hash,
        "began": record.first.utc,
        "ended": record.last.utc,
        "state": record.session.state.value,
        "complete": record.complete,
        "opened": dump(record.opened),
        "product": record.plan.study.product,
        "batch": record.plan.study.batch,
        "protocol": record.plan.study.protocol,
        "people": list(record.people),
        "vials": [plain(vial) for vial in record.vials],
        "deviations": [plain(one) for one in record.deviations],
    }


def _units(case: Case) -> JsonValue:
    laboratory = case.units_laboratory
    if laboratory is None:
        return None
    return {
        "answer": case.units_answer.value,
        "name": laboratory.sheet.name,
        "sha256": laboratory.sha256,
        "study": plain(case.units),
    }


def campaign_json(comparison: Comparison) -> bytes:
    """A comparison of batches as JSON, UTF-8."""
    return _written(
        {
            "format": CAMPAIGN,
            "software": comparison.software,
            "made_up": list(comparison.made_up),
            "alike": comparison.alike,
            "differences": list(comparison.differences),
            "significance": comparison.significance,
            "batches": [
                {
                    "batch": member.record.plan.study.batch,
                    "entries": member.record.last.seq,
                    "hash": member.record.last.hash,
                    "plan_sha256": member.record.opened.plan_sha256,
                    "assays": member.laboratory.sheet.name,
                    "assays_sha256": member.laboratory.sha256,
                    "problems": list(member.problems),
                }
                for member in comparison.members
            ],
            "tests": plain(comparison.questions),
            "trends": plain(comparison.trends),
            "campaign": plain(comparison.campaign),
        }
    )


def plain(value: object) -> JsonValue:
    """Convert a frozen value to JSON; numbers that are not finite become null.

    Raises:
        TypeError: it contains a value that JSON cannot represent.
    """
    if is_dataclass(value):
        named = [field.name for field in fields(value)] + _derived(type(value))
        return {name: plain(getattr(value, name)) for name in named}
    if isinstance(value, Mapping):
        return {str(name): plain(part) for name, part in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(part) for part in value]
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    if isinstance(value, str | int | float):
        # A member of an enumeration becomes its plain text.
        return str(value) if isinstance(value, str) else value
    msg = f"{type(value).__name__} cannot be written as JSON"
    raise TypeError(msg)


def _derived(kind: type) -> list[str]:
    """Derived properties of a frozen value, such as a component from mean squares."""
    return [
        name
        for name, part in vars(kind).items()
        if isinstance(part, property) and not name.startswith("_") and name not in _REPEATED
    ]


_REPEATED = ("spot", "site")
"""Derived properties that only repeat other fields."""


def _written(whole: dict[str, JsonValue]) -> bytes:
    return (json.dumps(whole, ensure_ascii=False, allow_nan=False, indent=1) + "\n").encode()
