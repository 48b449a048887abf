"""Adding a proved record: one transaction, so that no row of it is there without the others."""

from collections.abc import Mapping
from datetime import UTC, datetime
from enum import StrEnum
from typing import Final

from sqlalchemy import Connection, RowMapping, Table, and_, func, insert, or_, select
from sqlalchemy.exc import IntegrityError

from assistant.archive.database import Archive
from assistant.archive.proved import Proved, Row
from assistant.archive.tables import (
    RECORD_TABLES,
    anchors,
    assays,
    places,
    sessions,
    signatures,
    verdicts,
)
from assistant.errors import ArchiveError, RecordBroken

__all__ = ["CLOCK_S", "Added", "add"]

CLOCK_S: Final = 60.0
"""Seconds by which a machine's clock may differ from the database's before it is said."""

_LATER = (signatures, anchors, assays, verdicts)
"""What may come to a record after its end."""


class Added(StrEnum):
    """What adding a record came to."""

    NEW = "added"
    MORE = "completed"
    """Known, and something came to it: a signature, an anchor, assays, another place."""
    KNOWN = "known already"


def add(archive: Archive, proved: Proved, *, now: datetime) -> tuple[Added, float]:
    """Add a record; the same one twice changes nothing.

    Args:
        archive: where to.
        proved: what `verify` passes.
        now: this machine's clock, aware.

    Returns:
        What it came to, and this machine's clock minus the database's, in seconds.

    Raises:
        RecordBroken: the archive holds another copy of this session, or another sheet of assays.
        ArchiveError: the database refused; ArchiveUnreachable if it did not answer.
    """
    try:
        return _add(archive, proved, now)
    except IntegrityError:
        # Another writer was faster with the same record; now it is known.
        try:
            return _add(archive, proved, now)
        except IntegrityError as fault:
            raise ArchiveError(f"{archive.name} refused {proved.folder}: {fault.orig}.") from None


def _add(archive: Archive, proved: Proved, now: datetime) -> tuple[Added, float]:
    (session,) = proved.rows["sessions"]
    folder = str(proved.folder.absolute())
    with archive.writing() as connection:
        clock_s = _clock_s(connection, now)
        known = _known(connection, session)
        if known is None:
            done = Added.NEW
            for table in RECORD_TABLES:
                _insert(connection, table, proved.rows[table.name])
        else:
            _same(connection, known, proved)
            done = Added.KNOWN
            for table in _LATER:
                if _complete(connection, table, proved):
                    done = Added.MORE
        place: Row = {
            "head": proved.head,
            "folder": folder,
            "added_utc": _utc(now),
            "clock_s": clock_s,
        }
        if done is Added.NEW:
            _insert(connection, places, [place])
        elif _new_place(connection, place) and done is Added.KNOWN:
            done = Added.MORE
    return done, clock_s


def _clock_s(connection: Connection, now: datetime) -> float:
    """Return this machine's clock minus the database's; an SQLite file has no clock of its own."""
    if connection.dialect.name == "sqlite":
        return 0.0
    theirs = connection.scalar(select(func.clock_timestamp()))
    return round((now - theirs).total_seconds(), 1) if isinstance(theirs, datetime) else 0.0


def _known(connection: Connection, session: Row) -> RowMapping | None:
    same = or_(
        sessions.c.session == session["session"],
        and_(
            sessions.c.opened_utc == session["opened_utc"],
            sessions.c.boot == session["boot"],
        ),
    )
    return connection.execute(select(sessions).where(same)).mappings().first()


def _same(connection: Connection, known: RowMapping, proved: Proved) -> None:
    """Refuse another copy of a known session, and another sheet of assays."""
    if known["head"] != proved.head:
        where = connection.scalar(
            select(places.c.folder)
            .where(places.c.head == known["head"])
            .order_by(places.c.added_utc.desc())
        )
        raise RecordBroken(
            f"{proved.folder} is a changed copy of a session that the archive holds from {where}: "
            f"its head code is {proved.rows['sessions'][0]['head_code']}, not "
            f"{known['head_code']}; compare both with what was noted."
        )
    for row in proved.rows["verdicts"][:1]:
        held = connection.scalar(
            select(verdicts.c.sheet).where(
                verdicts.c.head == proved.head, verdicts.c.sheet_sha256 != row["sheet_sha256"]
            )
        )
        if held is not None:
            raise RecordBroken(
                f"The archive holds other assays of {proved.folder}, from {held}: {row['sheet']} "
                "was not added."
            )


def _complete(connection: Connection, table: Table, proved: Proved) -> bool:
    """Insert the rows of a known record that are not there yet; tell whether there were any."""
    key = [column.name for column in table.primary_key]
    found = connection.execute(
        select(*(table.c[name] for name in key)).where(table.c.head == proved.head)
    )
    there = {tuple(row) for row in found}
    missing = [
        row for row in proved.rows[table.name] if tuple(row[name] for name in key) not in there
    ]
    _insert(connection, table, missing)
    return bool(missing)


def _new_place(connection: Connection, place: Row) -> bool:
    """Note where a known record stands; tell whether that is new."""
    same = (places.c.head == place["head"]) & (places.c.folder == place["folder"])
    if connection.scalar(select(places.c.head).where(same)) is not None:
        return False
    _insert(connection, places, [place])
    return True


def _utc(now: datetime) -> str:
    return now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def _insert(connection: Connection, table: Table, rows: list[Row]) -> None:
    if rows:
        values: list[Mapping[str, object]] = list(rows)
        connection.execute(insert(table), values)
