"""The tables of the archive.

Every table of a record has its head, the hash of its last entry. The first eight follow the
published schema of an export (`assistant.report.export`); `places`, `runs` and `checks` are about
the archive itself. Times are text as in the record: RFC 3339, UTC, microseconds, ending in Z, so
that their order as text is their order in time.
"""

from sqlalchemy import (
    Column,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    UniqueConstraint,
)

__all__ = [
    "METADATA",
    "RECORD_TABLES",
    "anchors",
    "assays",
    "checks",
    "deviations",
    "insertions",
    "places",
    "runs",
    "samples",
    "sessions",
    "signatures",
    "verdicts",
]

METADATA = MetaData()


def _text(name: str) -> Column[str]:
    return Column(name, String, nullable=False)


def _texts(names: str) -> list[Column[str]]:
    return [_text(name) for name in names.split()]


def _head() -> Column[str]:
    return Column("head", String, ForeignKey("sessions.head"), primary_key=True)


def _number(name: str) -> Column[int]:
    return Column(name, Integer, primary_key=True, autoincrement=False)


sessions = Table(
    "sessions",
    METADATA,
    Column("head", String, primary_key=True),
    Column("session", String, nullable=False, unique=True),
    Column("entries", Integer, nullable=False),
    *_texts(
        "head_code kind state product batch stage title protocol sampler die_set software booth "
        "operator opened_utc ended_utc boot plan_sha256 grammar_sha256 statement"
    ),
    Column("doubtful_times", Integer, nullable=False),
    # A session begins once: the same moment of the same program start is a copy of it.
    UniqueConstraint("opened_utc", "boot", name="one_opening"),
    Index("sessions_by_product", "product", "opened_utc"),
    Index("sessions_by_plan", "plan_sha256"),
)
"""One row per record.

`session` is the hash of the first entry, `statement` what `verify` showed when it was added.
"""

insertions = Table(
    "insertions",
    METADATA,
    _head(),
    _number("insertion"),
    _text("location"),
    _text("description"),
    Column("attempt", Integer, nullable=False),
    Column("depth_mm", Integer, nullable=False),
)

samples = Table(
    "samples",
    METADATA,
    _head(),
    _number("vial"),
    Column("insertion", Integer, nullable=False),
    _text("position"),
    Column("port", Integer, nullable=False),
    *_texts(
        "status mass_mg taken_utc taken_by emptied_utc emptied_by weighed_utc weighed_by "
        "voided_utc voided_by"
    ),
    ForeignKeyConstraint(["head", "insertion"], ["insertions.head", "insertions.insertion"]),
)

deviations = Table(
    "deviations",
    METADATA,
    _head(),
    _number("number"),
    _text("kind"),
    _text("detail"),
    _text("vials"),
    _text("location"),
    Column("insertion", Integer, nullable=False),
    *_texts("status raised_utc raised_by disposed_utc disposed_by reason reason_clip"),
    Column("raised_seq", Integer, nullable=False),
    Index("deviations_by_kind", "kind"),
)

signatures = Table(
    "signatures",
    METADATA,
    _head(),
    _number("number"),
    _text("name"),
    _text("meaning"),
    _text("utc"),
    Column("count", Integer, nullable=False),
    _text("key"),
)

anchors = Table(
    "anchors",
    METADATA,
    _head(),
    _number("count"),
    Column("by", String, primary_key=True),
    _text("name"),
    _text("meaning"),
    _text("utc"),
)
"""What vouches for a record up to an entry, as far as it was checked when the record was added."""

assays = Table(
    "assays",
    METADATA,
    _head(),
    _number("vial"),
    Column("assay", Float, nullable=False),
    Column("mass_mg", Float),
)
"""One row per vial with a result, in % of target."""

verdicts = Table(
    "verdicts",
    METADATA,
    _head(),
    Column("scheme", String, primary_key=True),
    _text("verdict"),
    _text("sentence"),
    _text("sheet"),
    _text("sheet_sha256"),
    _text("made_up"),
    _text("software"),
)
"""One row per scheme. `made_up` names what is simulated, "" for nothing."""

places = Table(
    "places",
    METADATA,
    _head(),
    Column("folder", String, primary_key=True),
    _text("added_utc"),
    Column("clock_s", Float, nullable=False),
)
"""Where a record stood when it was added.

`clock_s` is the clock of the machine that added it minus the database's, in seconds.
"""

runs = Table(
    "runs",
    METADATA,
    Column("run", Integer, primary_key=True),
    _text("work"),
    _text("began_utc"),
    _text("ended_utc"),
)
"""One row per `archive check` or `archive re-hear`; `ended_utc` is "" until all of it is done."""

checks = Table(
    "checks",
    METADATA,
    _head(),
    Column("run", Integer, ForeignKey("runs.run"), primary_key=True),
    _text("utc"),
    _text("answer"),
    _text("statement"),
)

RECORD_TABLES = (
    sessions,
    insertions,
    samples,
    deviations,
    signatures,
    anchors,
    assays,
    verdicts,
)
"""What the folders alone decide, in the order in which rows are inserted."""
