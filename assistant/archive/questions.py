"""The questions that a quality unit asks, each one SELECT; the same on SQLite and PostgreSQL."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, fields
from datetime import date, timedelta
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, case, cast, exists, func, or_, select
from sqlalchemy import Integer as Whole

from assistant.archive.database import Archive
from assistant.archive.tables import (
    anchors,
    checks,
    deviations,
    insertions,
    places,
    runs,
    samples,
    sessions,
    signatures,
    verdicts,
)
from assistant.errors import InputError
from assistant.procedure.model import Status

__all__ = ["QUESTIONS", "Answer", "Filters", "ask"]

Cell = str | int | float | None
PART_FILLED: Final = (Status.SHORT.value, Status.EMPTY.value)
EMPTIED: Final = (Status.FULL.value, *PART_FILLED)
"""A die that was pushed into its vial: full, short or empty."""
CLOCK_S: Final = 60.0
GOOD: Final = ("intact", "alike")
"""Answers of a check and of a re-hearing that leave nothing to do."""


@dataclass(frozen=True, slots=True)
class Filters:
    """What an answer is limited to; "" and None limit nothing."""

    product: str = ""
    batch: str = ""
    booth: str = ""
    operator: str = ""
    sampler: str = ""
    kind: str = ""
    """Of a deviation."""
    plan: str = ""
    """Beginning of the SHA-256 of a plan."""
    first: date | None = None
    """Day, UTC, inclusive."""
    last: date | None = None

    @property
    def given(self) -> frozenset[str]:
        """Names of those that limit something."""
        return frozenset(one.name for one in fields(self) if getattr(self, one.name))


@dataclass(frozen=True, slots=True)
class Answer:
    """Rows under headings."""

    headings: tuple[str, ...]
    rows: list[tuple[Cell, ...]]
    narrow: tuple[str, ...] = ()
    """Headings that are enough where there is little room; none for all of them."""


def ask(archive: Archive, question: str, filters: Filters) -> Answer:
    """Answer one of the questions.

    Args:
        archive: the index.
        question: a key of `QUESTIONS`.
        filters: what the answer is limited to.

    Raises:
        InputError: a filter says nothing about this question.
        ArchiveError: the database refused.
    """
    one = QUESTIONS[question]
    for name in sorted(filters.given - one.filters):
        raise InputError(f"--{_OPTIONS.get(name, name)} does not limit the question {question!r}.")
    with archive.reading() as connection:
        result = connection.execute(one.select(filters))
        return Answer(tuple(result.keys()), [tuple(row) for row in result], one.narrow)


_OPTIONS = {"first": "from", "last": "to"}

_SESSION = ("product", "batch", "booth", "operator", "sampler")
_DAYS = ("first", "last")


def _limits(filters: Filters, utc: ColumnElement[str]) -> list[ColumnElement[bool]]:
    """Return the conditions on a session, and on the day of a moment."""
    return [*_of_session(filters), *_days(filters, utc)]


def _of_session(filters: Filters) -> list[ColumnElement[bool]]:
    found = [
        sessions.c[name] == getattr(filters, name) for name in _SESSION if getattr(filters, name)
    ]
    if filters.plan:
        found.append(sessions.c.plan_sha256.startswith(filters.plan, autoescape=True))
    return found


def _days(filters: Filters, utc: ColumnElement[str]) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = []
    if filters.first is not None:
        found.append(utc >= filters.first.isoformat())
    if filters.last is not None:
        found.append(utc < (filters.last + timedelta(days=1)).isoformat())
    return found


def _named(*names: str) -> list[ColumnElement[str]]:
    return [sessions.c[name] for name in names]


_PLACE = (
    select(places.c.folder)
    .where(places.c.head == sessions.c.head)
    .order_by(places.c.added_utc.desc(), places.c.folder)
    .limit(1)
    .scalar_subquery()
    .label("folder")
)
"""Where a record stood when it was last added."""

_ABOUT = ("opened_utc", "kind", "state", "product", "batch", "booth", "operator")


def _sessions(filters: Filters, *conditions: ColumnElement[bool]) -> Select[*tuple[Any, ...]]:
    return (
        select(
            *_named(*_ABOUT), sessions.c.entries, *_named("head_code", "head", "statement"), _PLACE
        )
        .where(*_limits(filters, sessions.c.opened_utc), *conditions)
        .order_by(sessions.c.opened_utc, sessions.c.head)
    )


def _samples(filters: Filters) -> Select[*tuple[Any, ...]]:
    """Samples by the day on which they were taken; planned ones that never were are left out."""
    joined = sessions.join(samples).join(
        insertions,
        (insertions.c.head == samples.c.head) & (insertions.c.insertion == samples.c.insertion),
    )
    return (
        select(
            samples.c.taken_utc,
            samples.c.taken_by,
            *_named("kind", "product", "batch", "booth", "sampler", "die_set"),
            samples.c.vial,
            insertions.c.location,
            insertions.c.attempt,
            samples.c.position,
            samples.c.port,
            insertions.c.depth_mm,
            samples.c.status,
            samples.c.mass_mg,
            sessions.c.head_code,
        )
        .select_from(joined)
        .where(samples.c.taken_utc != "", *_limits(filters, samples.c.taken_utc))
        .order_by(samples.c.taken_utc, samples.c.head, samples.c.vial)
    )


def _deviation_limits(filters: Filters) -> list[ColumnElement[bool]]:
    found = _limits(filters, deviations.c.raised_utc)
    return [*found, deviations.c.kind == filters.kind] if filters.kind else found


def _deviations(filters: Filters) -> Select[*tuple[Any, ...]]:
    return (
        select(
            deviations.c.raised_utc,
            deviations.c.raised_by,
            sessions.c.kind.label("session"),
            *_named("product", "batch", "booth", "operator", "sampler"),
            *(
                deviations.c[name]
                for name in ("number", "kind", "detail", "vials", "location", "status", "reason")
            ),
            sessions.c.head_code,
        )
        .select_from(sessions.join(deviations))
        .where(*_deviation_limits(filters))
        .order_by(deviations.c.raised_utc, deviations.c.head, deviations.c.number)
    )


def _deviation_counts(filters: Filters) -> Select[*tuple[Any, ...]]:
    by = (deviations.c.kind, *_named("booth", "operator", "sampler"))
    count = func.count().label("deviations")
    return (
        select(*by, count, func.count(sessions.c.head.distinct()).label("sessions"))
        .select_from(sessions.join(deviations))
        .where(deviations.c.status != "withdrawn", *_deviation_limits(filters))
        .group_by(*by)
        .order_by(count.desc(), *by)
    )


def _unanchored(filters: Filters) -> Select[*tuple[Any, ...]]:
    to_the_end = exists().where(
        anchors.c.head == sessions.c.head, anchors.c.count == sessions.c.entries
    )
    return _sessions(filters, ~to_the_end)


def _unsigned(filters: Filters) -> Select[*tuple[Any, ...]]:
    return _sessions(filters, ~exists().where(signatures.c.head == sessions.c.head))


def _doubtful_times(filters: Filters) -> Select[*tuple[Any, ...]]:
    """Records whose clocks disagree, or that were added by a machine whose clock was wrong."""
    wrong = exists().where(places.c.head == sessions.c.head, func.abs(places.c.clock_s) > CLOCK_S)
    return _sessions(filters, or_(sessions.c.doubtful_times > 0, wrong))


def _die_wear(filters: Filters) -> Select[*tuple[Any, ...]]:
    """Dies that were emptied by month and port, and how many of them were not full."""
    # Counted per record first: few rows are left to be joined with their sessions.
    month = func.substr(samples.c.taken_utc, 1, 7).label("month")
    per_record = (
        select(
            samples.c.head,
            samples.c.port,
            month,
            func.count().label("dies"),
            func.sum(case((samples.c.status.in_(PART_FILLED), 1), else_=0)).label("part"),
        )
        .where(
            samples.c.status.in_(EMPTIED),
            samples.c.taken_utc != "",
            *_days(filters, samples.c.taken_utc),
        )
        .group_by(samples.c.head, samples.c.port, month)
        .subquery()
    )
    by = (sessions.c.sampler, sessions.c.die_set, per_record.c.port, per_record.c.month)
    dies, part = (cast(func.sum(per_record.c[name]), Whole) for name in ("dies", "part"))
    return (
        select(
            *by,
            dies.label("dies"),
            part.label("part_filled"),
            # Whole numbers to the end: the two databases round halves differently.
            ((2000 * part + dies) // (2 * dies) / 10.0).label("percent"),
        )
        .select_from(sessions.join(per_record, per_record.c.head == sessions.c.head))
        .where(*_of_session(filters))
        .group_by(*by)
        .order_by(*by)
    )


def _plan(filters: Filters) -> Select[*tuple[Any, ...]]:
    """All that rests on a plan revision: sessions, their assays and the verdicts drawn."""
    return (
        select(
            *_named(*_ABOUT, "protocol", "plan_sha256", "head_code"),
            verdicts.c.sheet,
            verdicts.c.scheme,
            verdicts.c.verdict,
            _PLACE,
        )
        .select_from(sessions.outerjoin(verdicts))
        .where(*_limits(filters, sessions.c.opened_utc))
        .order_by(sessions.c.opened_utc, sessions.c.head, verdicts.c.scheme)
    )


def _faults(filters: Filters) -> Select[*tuple[Any, ...]]:
    """Newest answers of the checks and the re-hearings that are not good."""
    last = (
        select(checks.c.head, func.max(checks.c.run).label("run"))
        .select_from(checks.join(runs))
        .group_by(checks.c.head, runs.c.work)
        .subquery()
    )
    return (
        select(
            *_named("opened_utc", "kind", "product", "batch", "booth", "head_code"),
            runs.c.work,
            checks.c.utc.label("checked_utc"),
            checks.c.answer,
            checks.c.statement,
            _PLACE,
        )
        .select_from(sessions.join(checks).join(runs))
        .join(last, (last.c.head == checks.c.head) & (last.c.run == checks.c.run))
        .where(
            checks.c.answer.not_in(GOOD),
            *_limits(filters, sessions.c.opened_utc),
        )
        .order_by(sessions.c.opened_utc, sessions.c.head, runs.c.work)
    )


@dataclass(frozen=True, slots=True)
class Question:
    """A question, by what its answer may be limited, and its columns where there is little room."""

    select: Callable[[Filters], Select[*tuple[Any, ...]]]
    narrow: tuple[str, ...] = ()
    filters: frozenset[str] = frozenset((*_SESSION, *_DAYS, "plan"))


_RECORDS = ("opened_utc", "batch", "kind", "booth", "folder")
_WITH_KIND = frozenset((*_SESSION, *_DAYS, "plan", "kind"))

QUESTIONS: Mapping[str, Question] = {
    "sessions": Question(_sessions, _RECORDS),
    "samples": Question(
        _samples,
        ("taken_utc", "batch", "kind", "vial", "location", "port", "status", "mass_mg"),
    ),
    "deviations": Question(
        _deviations,
        ("raised_utc", "batch", "session", "booth", "kind", "vials", "status"),
        _WITH_KIND,
    ),
    "deviation-counts": Question(_deviation_counts, (), _WITH_KIND),
    "unanchored": Question(_unanchored, _RECORDS),
    "unsigned": Question(_unsigned, _RECORDS),
    "doubtful-times": Question(_doubtful_times, _RECORDS),
    "die-wear": Question(_die_wear),
    "plan": Question(_plan, ("opened_utc", "batch", "kind", "sheet", "scheme", "verdict")),
    "faults": Question(_faults, ("opened_utc", "batch", "work", "answer", "folder")),
}
