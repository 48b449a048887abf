"""Connecting to the archive by URL, and what the database says in plain sentences.

SQLite serves one machine, PostgreSQL a site. Passwords are taken from where PostgreSQL's own
programs take them (`PGPASSWORD`, `PGPASSFILE`, `~/.pgpass`) and never from the URL, which every
user of a machine can read in its list of processes.
"""

import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from filelock import FileLock
from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, IntegrityError, SQLAlchemyError

from assistant.archive import schema
from assistant.errors import ArchiveError, ArchiveUnreachable, InputError

__all__ = ["Archive", "connect", "migrate"]

PATIENCE_S: Final = 30.0
"""How long a writer waits for another one."""
CONNECT_S: Final = 5

_FORMS = "sqlite:///FILE or postgresql+psycopg://USER@HOST/DATABASE"


class Archive:
    """An open archive: reads and writes in transactions, each fault one sentence."""

    def __init__(self, engine: Engine) -> None:
        """Hold an engine whose schema was checked."""
        self._engine = engine

    @property
    def name(self) -> str:
        """Return how the archive is called in messages."""
        return _name(self._engine.url)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Open a transaction that only reads.

        Raises:
            ArchiveError: the database refused; ArchiveUnreachable if it did not answer.
        """
        with _sentences(self._engine.url), self._engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Open a transaction that is kept as a whole or not at all.

        Raises:
            ArchiveError: the database refused; ArchiveUnreachable if it did not answer.
            IntegrityError: another writer was faster with the same rows; to be tried again.
        """
        writer = self._engine.execution_options(writes=True)
        with _sentences(self._engine.url), writer.begin() as connection:
            yield connection

    def close(self) -> None:
        """Give the connections back."""
        self._engine.dispose()


def connect(url: str, *, begin: bool = False) -> Archive:
    """Open an archive.

    Args:
        url: of the database.
        begin: make the tables if it is an SQLite file that is not there yet.

    Raises:
        InputError: the URL is none, or holds a password.
        ArchiveError: the database refused, or its tables are not those of this version.
        ArchiveUnreachable: no server answered.
    """
    parsed = _parse(url)
    path = _file(parsed)
    if path is not None and not begin and not path.exists():
        raise ArchiveError(f"There is no archive {path}: `archive add RECORD` begins one.")
    if path is not None and begin and (not path.exists() or _lock(path).exists()):
        # A file may be there whose tables another booth is just making.
        with _held(path):
            if not path.exists():
                _migrate(parsed)
    archive = Archive(_engine(parsed))
    try:
        _require_schema(archive, parsed)
    except ArchiveError:
        archive.close()
        raise
    return archive


def _require_schema(archive: Archive, url: URL) -> None:
    with archive.reading() as connection:
        has, wanted = schema.standing(connection)
    if has != wanted:
        raise ArchiveError(_other_schema(url, has))


def migrate(url: str) -> bool:
    """Make the tables, or bring older ones up to this version; tell whether anything changed.

    Raises:
        InputError: the URL is none, or holds a password.
        ArchiveError: the database refused, or its tables are of a newer version.
    """
    parsed = _parse(url)
    path = _file(parsed)
    if path is None:
        return _migrate(parsed)
    with _held(path):
        return _migrate(parsed)


def _lock(path: Path) -> Path:
    return path.with_name(f"{path.name}.lock")


def _held(path: Path) -> FileLock:
    """Return the lock of an SQLite file whose tables are made or changed.

    Raises:
        InputError: there is no folder for it.
    """
    if not path.parent.is_dir():
        raise InputError(f"There is no folder {path.parent} for the archive: make it first.")
    return FileLock(_lock(path), timeout=PATIENCE_S)


def _migrate(url: URL) -> bool:
    engine = _engine(url)
    try:
        with (
            _sentences(url),
            engine.execution_options(writes=True).begin() as connection,
        ):
            has, wanted = schema.standing(connection)
            if has not in schema.known():
                raise ArchiveError(_other_schema(url, has))
            if has == wanted:
                return False
            if has == "" and inspect(connection).get_table_names():
                raise ArchiveError(
                    f"{_name(url)} holds tables that are no archive: name an empty database."
                )
            schema.upgrade(connection)
            return True
    finally:
        engine.dispose()


def _other_schema(url: URL, has: str) -> str:
    if has not in schema.known():
        return f"{_name(url)} was made by a newer version of this program: update this one."
    what = "is of an older version" if has else "holds no archive"
    return (
        f"{_name(url)} {what}: its owner runs "
        f"`sampling-assistant archive migrate --archive {_shown(url)}`."
    )


def _parse(url: str) -> URL:
    try:
        parsed = make_url(url)
    except (ArgumentError, ValueError):
        raise InputError(f"What was named is no database URL: write {_FORMS}.") from None
    if parsed.password is not None or "password" in parsed.query:
        raise InputError(
            "The URL holds a password, which every user of this machine can see: put it into "
            "~/.pgpass or PGPASSWORD."
        )
    if parsed.drivername not in ("sqlite", "postgresql+psycopg"):
        raise InputError(f"No archive can be kept in {parsed.drivername!r}: write {_FORMS}.")
    if not parsed.database:
        raise InputError(f"The URL {url!r} names no database: write {_FORMS}.")
    return parsed


def _file(url: URL) -> Path | None:
    return Path(str(url.database)) if url.drivername == "sqlite" else None


def _name(url: URL) -> str:
    return f"The archive {url.database if _file(url) else _shown(url)}"


def _shown(url: URL) -> str:
    return url.render_as_string(hide_password=True)


def _engine(url: URL) -> Engine:
    if _file(url) is None:
        arguments = {"connect_timeout": CONNECT_S, "application_name": "sampling-assistant"}
        return create_engine(url, connect_args=arguments, pool_pre_ping=True)
    engine = create_engine(url, connect_args={"timeout": PATIENCE_S})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: Any, _record: object) -> None:  # noqa: ANN401 - the driver's own, wrapped
    """Turn on what SQLite leaves off, and leave the transactions to `_begin`."""
    connection.isolation_level = None
    for pragma in ("journal_mode=WAL", "foreign_keys=ON"):
        connection.execute(f"PRAGMA {pragma}")


def _begin(connection: Connection) -> None:
    """Take the place of the one writer at once: a reader cannot become one while others write."""
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def _sentences(url: URL) -> Iterator[None]:
    """Say what the database refused in one sentence."""
    try:
        yield
    except IntegrityError:
        raise
    except DBAPIError as fault:
        raise _told(url, fault) from None
    except SQLAlchemyError as fault:
        raise ArchiveError(f"{_name(url)} cannot be used: {_first_line(fault)}.") from None


_STATES = {
    "42501": "{name} does not let this user do that: ask its owner for the role",
    "53100": "{name} has no room left on its disk: make room, then run the command again",
    "42P01": "{name} lacks a table: its owner runs `archive migrate`",
}
"""By SQLSTATE."""

_REFUSALS = (
    ("no password supplied", "asks for a password: put it into ~/.pgpass or PGPASSWORD"),
    ("password authentication failed", "refused the password: check ~/.pgpass or PGPASSWORD"),
    ("authentication failed", "does not know this user: check the name in the URL"),
    ('role ".*" does not exist', "does not know this user: check the name in the URL"),
    ('database ".*" does not exist', "is not there: check its name, or have its owner make it"),
    ("pg_hba.conf", "lets nobody in from here: ask its owner (pg_hba.conf)"),
)
"""Sentences by what PostgreSQL says before a session exists, when it gives no code."""

_FILES = (
    ("disk is full", "has no room left on its disk: make room, then run the command again"),
    ("readonly", "may not be written by this user: check the rights of its file and folder"),
    ("locked", f"was held by another program for {PATIENCE_S:.0f} s: run the command again"),
    ("unable to open", "cannot be opened: check the name and the rights of its folder"),
    ("not a database", "is no SQLite database: name another file"),
    ("malformed", "is damaged: move it away and run `archive rebuild`"),
    ("disk i/o", "cannot be read or written: check the disk"),
)


def _told(url: URL, fault: DBAPIError) -> ArchiveError:
    """Return the sentence for a fault; an unreachable server is told apart."""
    name, text = _name(url), str(fault.orig).lower()
    if isinstance(fault.orig, sqlite3.Error):
        said = next((said for piece, said in _FILES if piece in text), None)
        return ArchiveError(f"{name} {said or f'refused: {_first_line(fault.orig)}'}.")
    state = getattr(fault.orig, "sqlstate", None)
    if state in _STATES:
        return ArchiveError(f"{_STATES[state].format(name=name)}.")
    if state is None:
        said = next((said for piece, said in _REFUSALS if re.search(piece, text)), None)
        if said is not None:
            return ArchiveError(f"{name} {said}.")
    if state is None or state[:2] in ("08", "57"):
        return ArchiveUnreachable(f"{name} does not answer: {_first_line(fault.orig)}.")
    return ArchiveError(f"{name} refused: {_first_line(fault.orig)}.")


def _first_line(fault: BaseException | None) -> str:
    return str(fault).strip().partition("\n")[0].rstrip(".")
