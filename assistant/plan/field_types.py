"""The kinds of value a plan is made of: names, codes, lengths, densities; and mistaken units."""

import unicodedata
from typing import Annotated

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

LONGEST_NAME = 80
"""Characters; a longer one neither fits a label nor can be spoken in one breath."""

DENSEST_BLEND_G_ML = 5.0
"""Denser than any blend of unit doses; a larger number is in another unit. Our choice."""

DENSEST_SUBSTANCE_G_ML = 23.0
"""No substance is denser; a larger number is in another unit. Our choice."""


LEAST = 1e-6
"""Of any quantity in its unit; no length, mass or density of a plan is anywhere near it."""


class Part(BaseModel):
    """Base of all parts of a plan: frozen, and no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


def _printable(text: str) -> str:
    """Refuse what cannot be read on paper: control, direction and unassigned characters."""
    for mark in text:
        if unicodedata.category(mark).startswith("C"):
            msg = f"holds U+{ord(mark):04X}, which cannot be printed; remove it"
            raise ValueError(msg)
    return unicodedata.normalize("NFC", text)


def _ascii(text: str) -> str:
    """Refuse what a machine-readable label cannot carry."""
    for mark in text:
        if not mark.isascii():
            msg = f"holds {mark!r}; labels and barcodes carry plain ASCII characters only"
            raise ValueError(msg)
    return text


def _not_nothing(value: float) -> float:
    """Refuse what only looks like a quantity: with 1e-308 no volume can be reckoned."""
    if value < LEAST:
        msg = f"is next to nothing; {LEAST:g} is the least; check the exponent"
        raise ValueError(msg)
    return value


def _bulk(value: float) -> float:
    if value > DENSEST_BLEND_G_ML:
        hint = f"if it is in kg/m3, write {value / 1000:g}"
        msg = f"no blend is that dense; the unit is g/mL; {hint}"
        raise ValueError(msg)
    return value


def _true(value: float) -> float:
    if value > DENSEST_SUBSTANCE_G_ML:
        hint = f"if it is in kg/m3, write {value / 1000:g}"
        msg = f"no substance is that dense; the unit is g/mL; {hint}"
        raise ValueError(msg)
    return value


Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=LONGEST_NAME),
    AfterValidator(_printable),
]
"""Free text on one line, as people write it."""

Mark = Annotated[Name, AfterValidator(_ascii)]
"""A name that also goes into a barcode: batch, protocol, identity of a tool."""

Code = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,11}$")]
"""A short code of at most twelve letters and digits."""

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Positive = Annotated[
    float, Field(strict=True, gt=0, allow_inf_nan=False), AfterValidator(_not_nothing)
]
NotNegative = Annotated[float, Field(strict=True, ge=0, allow_inf_nan=False)]

Length = Annotated[
    float, Field(strict=True, gt=0, le=20_000, allow_inf_nan=False), AfterValidator(_not_nothing)
]
"""Millimetres; no vessel or sampler of the trade exceeds twenty metres."""

Place = Annotated[float, Field(strict=True, ge=-20_000, le=20_000, allow_inf_nan=False)]
"""A coordinate in millimetres, in the vessel's own axes."""

BulkDensity = Annotated[Positive, AfterValidator(_bulk)]
TrueDensity = Annotated[Positive, AfterValidator(_true)]
