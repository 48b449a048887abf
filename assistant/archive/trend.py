"""Batches of a product over time: mean, spread and components, with control limits.

Figures and charts are those of `compare` (`assistant.evaluation.campaign`), worked out from the
assays in the archive, and a chart of the batch means as single values
(`assistant.evaluation.individuals`).
"""

from collections import Counter
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, select

from assistant.archive.database import Archive
from assistant.archive.tables import assays, insertions, samples, sessions, verdicts
from assistant.errors import InputError
from assistant.evaluation.campaign import Batch, Campaign, Chart, compare
from assistant.evaluation.individuals import individuals_chart
from assistant.evaluation.results import Result
from assistant.plan.model import Position

__all__ = ["Trend", "trend"]

_NUMBER = {position.value: number for number, position in enumerate(Position, start=1)}


@dataclass(frozen=True, slots=True)
class Trend:
    """The batches in the order in which their sessions began."""

    opened_utc: tuple[str, ...]
    campaign: Campaign

    @property
    def charts(self) -> tuple[Chart, ...]:
        """The batch means as single values, then the charts of the campaign."""
        batches = self.campaign.batches
        names, means = [one.name for one in batches], [one.summary.mean for one in batches]
        single = individuals_chart("batch mean, by moving range", names, means)
        return (single, *self.campaign.charts)


def trend(archive: Archive, product: str, *, last: int, rehearsals: bool = False) -> Trend:
    """Return the trend of a product over its last batches.

    Args:
        archive: the index.
        product: as the plans name it.
        last: most batches taken.
        rehearsals: take rehearsals and simulated assays, and nothing else; without it they are
            left out.

    Raises:
        InputError: there are fewer than two batches with assays.
        ArchiveError: the database refused.
    """
    with archive.reading() as connection:
        found = connection.execute(_assays_of(product, last=last, rehearsals=rehearsals))
        heads: dict[str, tuple[str, str, str]] = {}
        results: dict[str, list[Result]] = {}
        for head, opened, batch, code, vial, assay, position, port, location in found:
            heads[head] = (opened, batch, code)
            results.setdefault(head, []).append(
                Result(
                    vial=str(vial),
                    location=location,
                    position=_NUMBER[position],
                    port=port,
                    assay=assay,
                )
            )
    return _compared(product, heads, results)


def _assays_of(product: str, *, last: int, rehearsals: bool) -> Select[*tuple[Any, ...]]:
    """Select every assay of the last batches, in the order in which their sessions began."""
    simulated = sessions.c.head.in_(select(verdicts.c.head).where(verdicts.c.made_up != ""))
    wanted = (
        select(sessions.c.head)
        .where(
            sessions.c.product == product,
            sessions.c.head.in_(select(verdicts.c.head)),
            simulated if rehearsals else ~simulated,
        )
        .order_by(sessions.c.opened_utc.desc(), sessions.c.head)
        .limit(last)
    )
    session = [sessions.c[name] for name in ("head", "opened_utc", "batch", "head_code")]
    same_vial = (samples.c.head == assays.c.head) & (samples.c.vial == assays.c.vial)
    same_insertion = (insertions.c.head == samples.c.head) & (
        insertions.c.insertion == samples.c.insertion
    )
    return (
        select(
            *session,
            assays.c.vial,
            assays.c.assay,
            samples.c.position,
            samples.c.port,
            insertions.c.location,
        )
        .select_from(sessions)
        .join(assays, assays.c.head == sessions.c.head)
        .join(samples, same_vial)
        .join(insertions, same_insertion)
        .where(sessions.c.head.in_(wanted.scalar_subquery()))
        .order_by(sessions.c.opened_utc, sessions.c.head, assays.c.vial)
    )


def _compared(
    product: str, heads: dict[str, tuple[str, str, str]], results: dict[str, list[Result]]
) -> Trend:
    if len(heads) < 2:  # noqa: PLR2004 - a trend needs two
        raise InputError(
            f"The archive holds {len(heads)} batches of {product!r} with assays: a trend needs "
            "two; add records as RECORD=ASSAYS."
        )
    times = Counter(batch for _, batch, _ in heads.values())
    # A batch that was sampled twice is told apart by its record.
    names = {
        head: batch if times[batch] == 1 else f"{batch}, record {code}"
        for head, (_, batch, code) in heads.items()
    }
    return Trend(
        tuple(opened for opened, _, _ in heads.values()),
        compare([Batch(names[head], tuple(results[head])) for head in heads]),
    )
