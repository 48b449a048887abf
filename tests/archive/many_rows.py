"""Ten thousand sessions in a database without ten thousand records: rows multiplied by SQL.

A few real records are added as usual; every further session has the rows of one of them under
another head, batch and time, with its assays shifted. For measuring questions only: no folder
stands behind them.
"""

from datetime import timedelta
from typing import Final

from sqlalchemy import Connection, text

from assistant.archive.database import Archive
from assistant.archive.tables import RECORD_TABLES, places
from tests.archive.made_site import START

EVERY_MINUTES: Final = 47
_NEW: Final = {
    "head": "map.head",
    "session": "map.head || 's'",
    "batch": "map.batch",
    "assay": "a.assay + map.shift",
    "folder": "a.folder || '/' || map.batch",
}
_DATED: Final = ("_utc",)


def fill(archive: Archive, heads: list[str], count: int) -> None:
    """Multiply the rows of some records.

    Args:
        archive: holds the records.
        heads: of the records.
        count: sessions to be added.
    """
    with archive.writing() as connection:
        _map(connection, heads, count)
        for table in (*RECORD_TABLES, places):
            columns = [column.name for column in table.c]
            chosen = ", ".join(_chosen(name) for name in columns)
            names = ", ".join(f'"{name}"' for name in columns)
            connection.execute(
                text(
                    f"INSERT INTO {table.name} ({names}) "  # noqa: S608 - names of our own tables
                    f"SELECT {chosen} FROM {table.name} a JOIN map ON map.old = a.head"
                )
            )
        connection.execute(text("DROP TABLE map"))
        connection.execute(text("ANALYZE"))


def _chosen(name: str) -> str:
    if name.endswith(_DATED):
        # The day is the new session's, the time of day that of the record.
        return f"CASE a.{name} WHEN '' THEN '' ELSE map.day || substr(a.{name}, 11) END"
    return _NEW.get(name, f'a."{name}"') if name != "boot" else "map.head"


def _map(connection: Connection, heads: list[str], count: int) -> None:
    connection.execute(
        text("CREATE TEMPORARY TABLE map (old text, head text, batch text, day text, shift float)")
    )
    rows = [
        {
            "old": heads[number % len(heads)],
            "head": f"{number:064x}",
            "batch": f"M{number:05d}",
            "day": (START + timedelta(minutes=EVERY_MINUTES * number)).date().isoformat(),
            "shift": number % 11 / 10 - 0.5,
        }
        for number in range(count)
    ]
    connection.execute(text("INSERT INTO map VALUES (:old, :head, :batch, :day, :shift)"), rows)
