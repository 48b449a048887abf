"""Which sessions the registers of the stations name and the archive lacks."""

from collections.abc import Sequence
from pathlib import Path

from sqlalchemy import select

from assistant.archive.database import Archive
from assistant.archive.questions import Answer
from assistant.archive.tables import sessions as records
from assistant.storage.register import sessions

__all__ = ["missing"]

_HEADINGS = ("register", "began_utc", "entries", "ended", "why", "folder")


def missing(archive: Archive, registers: Sequence[Path]) -> Answer:
    """Return every session of the registers that the archive lacks or holds otherwise.

    Args:
        archive: the index.
        registers: files of the stations.

    Raises:
        InputError: a register cannot be read.
        RecordBroken: a register was changed.
        ArchiveError: the database refused.
    """
    with archive.reading() as connection:
        found = connection.execute(select(records.c.session, records.c.entries, records.c.head))
        held = {session: (entries, head) for session, entries, head in found}
    rows: list[tuple[str | int | float | None, ...]] = []
    for register in registers:
        for session in sessions(register).values():
            count = max(session.heads)
            if session.session not in held:
                why = "not in the archive"
            elif (
                session.heads.get(held[session.session][0], held[session.session][1])
                != (held[session.session][1])
            ):
                why = "another copy is in the archive"
            elif held[session.session][0] < count:
                why = "the archive holds fewer entries"
            else:
                continue
            ended = "yes" if session.ended else "no"
            rows.append((str(register), session.began, count, ended, why, session.folder))
    return Answer(_HEADINGS, rows)
