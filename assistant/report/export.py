"""Export format: one frozen model of a whole record, as JSON with a published schema.

It contains everything a reviewer needs, above all the condition of the record: whole,
incomplete or damaged. The schema is stored beside this module (`export_schema.json`) and generated
from the models below (`schema`).
"""

import json
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, JsonValue

__all__ = [
    "SCHEMA_FILE",
    "Condition",
    "Deviation",
    "Entry",
    "Export",
    "Head",
    "Moment",
    "Person",
    "Sample",
    "Session",
    "Signature",
    "Transcript",
    "schema",
    "to_json",
]

SCHEMA_FILE = "export_schema.json"
"""Name of the published schema, in the folder of this module."""

Condition = Literal["whole", "incomplete", "damaged"]
"""Closed and intact; intact but open or stopped; or not to be relied on."""


class _Part(BaseModel):
    """Base: nothing changes, nothing unknown is let in."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Moment(_Part):
    """When something was done, by whom, and where it stands in the record."""

    utc: str
    """RFC 3339, microseconds, ending in Z."""
    by: str
    """Printed name."""
    seq: Annotated[int, Field(ge=1)]
    """Number of the entry."""


class Head(_Part):
    """The end of the record as far as it could be proved."""

    seq: int
    hash: str
    code: str
    """To be compared with the one that was spoken and written down."""


class Session(_Part):
    """What was sampled, with what, and how it ended."""

    title: str
    protocol: str
    product: str
    batch: str
    stage: str
    sampler: str
    die_set: str
    software: str = ""
    engine: str = ""
    microphone: str = ""
    speaker: str = ""
    kind: str = ""
    """"live" or "rehearsal"; "" in records that do not say."""
    plan_sha256: str = ""
    grammar_sha256: str = ""
    opened: Moment | None = None
    ended: Moment | None = None
    """Closing or stopping; None while the session is open."""
    state: str
    """Where the work stood at the last entry that holds."""


class Person(_Part):
    """Somebody whom the plan names."""

    name: str
    role: str
    call: str


class Sample(_Part):
    """One vial, planned or filled. Void never means deleted."""

    vial: int
    location: str
    """Code of the location."""
    description: str
    insertion: int
    """Count from 1 in the order in which the plan and its repetitions list them."""
    attempt: int
    """2 and more where the location was entered again."""
    position: str
    port: int
    """Counted from the tip, 1 first."""
    depth_mm: int
    """Along the sampler from the rim to the tip, as it was spoken."""
    status: str
    mass_mg: str = ""
    """As spoken and affirmed; "" where it was not weighed."""
    taken: Moment | None = None
    """The port was closed over the filled die."""
    emptied: Moment | None = None
    """The die was pushed into the vial."""
    weighed: Moment | None = None
    voided: Moment | None = None
    deviations: tuple[int, ...] = ()
    """Numbers of those that name this vial."""


class Deviation(_Part):
    """Something that did not go by the plan."""

    number: int
    kind: str
    detail: str
    vials: tuple[int, ...]
    location: str
    insertion: int
    status: str
    raised: Moment
    disposed: Moment | None = None
    reason: str = ""
    """The remark at its disposal, as typed."""
    reason_clip: str = ""
    """The remark at its disposal, as spoken: name of the clip."""


class Signature(_Part):
    """Printed name, time and meaning (21 CFR 11.50), bound to an entry (11.70)."""

    name: str
    meaning: str
    utc: str
    count: int
    """Entries in the record when it was signed."""
    head: str
    key: str
    """SHA-256 of the public key."""
    standing: str
    """"genuine", "not checked", or what is wrong with it."""


class Transcript(_Part):
    """The text of a spoken remark, typed later by a person who listened to its clip."""

    seq: Annotated[int, Field(ge=1)]
    """Number of the entry that names the clip; the last text of an entry counts."""
    text: str
    name: str
    """Printed name of the person who listened."""
    utc: str
    """When it was typed."""
    key: str
    """SHA-256 of the public key."""
    standing: str
    """As for a signature."""


class Entry(_Part):
    """One line of the record."""

    seq: int
    utc: str
    mono_ns: str
    boot: str
    by: str
    event: dict[str, JsonValue]
    outcome: dict[str, JsonValue]
    hash: str


class Export(_Part):
    """A record as other programs read it."""

    format: Literal["powder-sampling-record"] = "powder-sampling-record"
    version: Literal[1] = 1
    condition: Condition
    faults: tuple[str, ...] = ()
    """What does not hold, one sentence each; nothing behind the first broken entry is exported."""
    shown: tuple[str, ...] = ()
    """How the session ended and how far the record is anchored; nothing of a damaged record."""
    head: Head | None
    session: Session
    people: tuple[Person, ...]
    totals: dict[str, int]
    """Reconciliation: samples by status, insertions, deviations by standing."""
    samples: tuple[Sample, ...]
    deviations: tuple[Deviation, ...]
    signatures: tuple[Signature, ...]
    transcripts: tuple[Transcript, ...] = ()
    entries: tuple[Entry, ...]


def to_json(export: Export) -> str:
    """Return the export as JSON text, UTF-8, with every field present."""
    return json.dumps(export.model_dump(mode="json"), ensure_ascii=False, indent=1) + "\n"


def schema() -> str:
    """Return the JSON Schema (2020-12) of what `to_json` writes."""
    whole = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **Export.model_json_schema(mode="serialization"),
    }
    return json.dumps(whole, ensure_ascii=False, indent=1) + "\n"
