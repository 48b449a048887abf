"""The questions for a new plan and the answers they accept."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from assistant.errors import PlanError
from assistant.plan.field_types import BulkDensity, Mark, Name, Part, Positive
from assistant.plan.vessel import KINDS


@dataclass(frozen=True, slots=True)
class Question:
    """One question.

    Attributes:
        key: of the answer.
        text: what to ask, with the unit.
        default: what an empty answer means; "" where nothing is meant by it.
        choices: all allowed answers; empty where any will do.
    """

    key: str
    text: str
    default: str
    choices: tuple[str, ...] = ()


QUESTIONS = (
    Question("vessel", "What stands before you?", "double-cone", KINDS),
    Question("fill_mass_kg", "How much powder is in it, kg?", "120"),
    Question("bulk_density_g_ml", "Its bulk density as it lies, g/mL?", "0.45"),
    Question("tapped_density_g_ml", "Its tapped density, g/mL?", "0.58"),
    Question("vessel_litres", "How much does the vessel hold, L? (empty: 60 % filled)", ""),
    Question("dose_mg", "Mass of one unit dose, mg?", "250"),
    Question("claim_mg", "Active substance in it, mg?", "20"),
    Question("sampler", "Which sampler?", "triplicate", ("single", "duplicate", "triplicate")),
    Question("ports", "How many ports has it?", "1", ("1", "2", "3", "4")),
    Question("product", "Product?", "Demonol 20 mg tablets"),
    Question("batch", "Batch?", "DM0001"),
    Question("protocol", "Protocol?", "PV-0000"),
    Question("operator", "Who samples?", "Ada Winter"),
    Question("witness", "Who witnesses? (empty: nobody)", ""),
)


class Answers(Part):
    """The answers, checked."""

    vessel: Literal[
        "double-cone",
        "v-blender",
        "drum",
        "cylinder",
        "rectangular-bin",
        "conical-bin",
        "trough",
    ]
    fill_mass_kg: Positive
    bulk_density_g_ml: BulkDensity
    tapped_density_g_ml: BulkDensity
    vessel_litres: Annotated[Positive, Field(ge=5, le=20_000)] | None = None
    dose_mg: Positive
    claim_mg: Positive
    sampler: Literal["single", "duplicate", "triplicate"]
    ports: Annotated[int, Field(ge=1, le=4)] = 1
    product: Name
    batch: Mark
    protocol: Mark
    operator: Name
    witness: Name | None = None


def answers_of(given: Mapping[str, str]) -> Answers:
    """Turn typed answers into checked ones; what is not given takes its default.

    Raises:
        PlanError: an answer is not among the choices, not a number, or out of range.
    """
    typed: dict[str, object] = {}
    asked = {question.key for question in QUESTIONS}
    for key in given:
        if key not in asked:
            raise PlanError(f"new plan: there is no question '{key}'; leave it out")
    for question in QUESTIONS:
        text = given.get(question.key, "").strip() or question.default
        if question.choices and text not in question.choices:
            allowed = ", ".join(question.choices)
            raise PlanError(f"new plan: {question.key} has '{text[:40]}'; choose one of {allowed}")
        if text:
            typed[question.key] = _number(question.key, text)
    try:
        return Answers.model_validate(typed)
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        why = str(first["msg"]).removeprefix("Value error, ")
        found = str(first["input"])[:40]
        raise PlanError(f"new plan: {first['loc'][0]} has '{found}': {why}.") from None


def _number(key: str, text: str) -> object:
    if key == "ports":
        return int(text)
    if not key.endswith(_UNITS):
        return text
    try:
        return float(text.replace(",", "."))
    except ValueError:
        raise PlanError(f"new plan: {key} has '{text[:40]}', which is not a number") from None


_UNITS = ("_kg", "_ml", "_litres", "_mg")
"""Endings of the keys whose answers are numbers."""
