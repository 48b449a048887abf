"""One entry of the record: who, when by both clocks, what, what followed, and its place."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, JsonValue, SkipValidation

__all__ = ["FIRST_PREV", "METHOD", "Entry"]

METHOD: Literal["sha256-jcs"] = "sha256-jcs"
"""SHA-256 over the RFC 8785 form of the entry without its own hash."""

FIRST_PREV = "0" * 64
"""What stands in `prev` of the first entry."""


def _real_moment(utc: str) -> str:
    """Refuse the thirtieth of February."""
    datetime.fromisoformat(utc)
    return utc


Digest = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Utc = Annotated[
    str,
    Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{6}Z$"),
    AfterValidator(_real_moment),
]
# What stands inside is checked by the canonical form, which is stricter and needed anyway.
JsonObject = dict[str, Annotated[JsonValue, SkipValidation]]


class Entry(BaseModel):
    """One line of the record; a line is this model's RFC 8785 form and a newline."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    seq: int = Field(ge=1)
    """Place in the record, from 1; also the number of the line and the count up to here."""
    utc: Utc
    """Wall clock, RFC 3339, microseconds, ending in Z; it may step."""
    mono: str = Field(pattern=r"^(0|[1-9][0-9]*)$")
    """Nanoseconds of a clock that never steps, as digits: it outgrows 2**53."""
    boot: str
    """Identifies the program start that wrote it; `mono` compares within one only."""
    by: str
    """The person answerable for it."""
    event: JsonObject
    """What happened."""
    outcome: JsonObject
    """What the program did with it."""
    method: Literal["sha256-jcs"]
    """How `hash` was made."""
    prev: Digest
    """`hash` of the entry before, or 64 zeros."""
    hash: Digest
    """Over everything above."""

    def plain(self) -> dict[str, JsonValue]:
        """Return the fields as a dict, as they stand on the line."""
        return dict(self)
