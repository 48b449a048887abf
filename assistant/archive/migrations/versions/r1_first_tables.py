"""The first tables.

A migration is history: it is never edited once it was released, also where a later one makes the
tables other than they stand here.
"""

from typing import Final

import sqlalchemy as sa
from alembic import op

revision: Final = "1"
down_revision: Final = None


def _text(names: str) -> list[sa.Column[str]]:
    return [sa.Column(name, sa.String(), nullable=False) for name in names.split()]


def _count(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), autoincrement=False, nullable=False)


def _of_a_record(table: str, *parts: sa.schema.SchemaItem, key: tuple[str, ...]) -> None:
    op.create_table(
        table,
        *_text("head"),
        *parts,
        sa.ForeignKeyConstraint(["head"], ["sessions.head"]),
        sa.PrimaryKeyConstraint("head", *key),
    )


def upgrade() -> None:
    """Make the tables."""
    _sessions()
    _sampling()
    _outside()
    _own()


def _sessions() -> None:
    op.create_table(
        "sessions",
        *_text("head session"),
        _count("entries"),
        *_text(
            "head_code kind state product batch stage title protocol sampler die_set software "
            "booth operator opened_utc ended_utc boot plan_sha256 grammar_sha256 statement"
        ),
        _count("doubtful_times"),
        sa.PrimaryKeyConstraint("head"),
        sa.UniqueConstraint("opened_utc", "boot", name="one_opening"),
        sa.UniqueConstraint("session"),
    )
    op.create_index("sessions_by_plan", "sessions", ["plan_sha256"])
    op.create_index("sessions_by_product", "sessions", ["product", "opened_utc"])


def _sampling() -> None:
    _of_a_record(
        "insertions",
        _count("insertion"),
        *_text("location description"),
        _count("attempt"),
        _count("depth_mm"),
        key=("insertion",),
    )
    _of_a_record(
        "samples",
        _count("vial"),
        _count("insertion"),
        *_text("position"),
        _count("port"),
        *_text(
            "status mass_mg taken_utc taken_by emptied_utc emptied_by weighed_utc weighed_by "
            "voided_utc voided_by"
        ),
        sa.ForeignKeyConstraint(["head", "insertion"], ["insertions.head", "insertions.insertion"]),
        key=("vial",),
    )
    _of_a_record(
        "deviations",
        _count("number"),
        *_text("kind detail vials location"),
        _count("insertion"),
        *_text("status raised_utc raised_by disposed_utc disposed_by reason reason_clip"),
        _count("raised_seq"),
        key=("number",),
    )
    op.create_index("deviations_by_kind", "deviations", ["kind"])


def _outside() -> None:
    """What comes from outside the session: signers, authorities, laboratory, evaluation."""
    _of_a_record(
        "signatures",
        _count("number"),
        *_text("name meaning utc"),
        _count("count"),
        *_text("key"),
        key=("number",),
    )
    _of_a_record("anchors", _count("count"), *_text("by name meaning utc"), key=("count", "by"))
    _of_a_record(
        "assays",
        _count("vial"),
        sa.Column("assay", sa.Float(), nullable=False),
        sa.Column("mass_mg", sa.Float(), nullable=True),
        key=("vial",),
    )
    _of_a_record(
        "verdicts",
        *_text("scheme verdict sentence sheet sheet_sha256 made_up software"),
        key=("scheme",),
    )


def _own() -> None:
    """What is about the archive itself."""
    _of_a_record(
        "places",
        *_text("folder added_utc"),
        sa.Column("clock_s", sa.Float(), nullable=False),
        key=("folder",),
    )
    op.create_table(
        "runs",
        sa.Column("run", sa.Integer(), nullable=False),
        *_text("work began_utc ended_utc"),
        sa.PrimaryKeyConstraint("run"),
    )
    _of_a_record(
        "checks",
        sa.Column("run", sa.Integer(), nullable=False),
        *_text("utc answer statement"),
        sa.ForeignKeyConstraint(["run"], ["runs.run"]),
        key=("run",),
    )
