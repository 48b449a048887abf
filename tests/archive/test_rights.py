"""A booth may add only, a reader may read only: real roles on a real server."""

import subprocess
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import text

from assistant.archive.adding import Added, add
from assistant.archive.database import Archive, connect
from assistant.archive.fleet import begin_run, check_record, run_over
from assistant.archive.proved import Witnesses, proved_record
from assistant.archive.tables import METADATA
from assistant.errors import ArchiveError
from tests.archive.cluster import Cluster, binaries

pytestmark = pytest.mark.site
Tell = Callable[..., tuple[int, str, str]]
FORMS = {
    "insert": "INSERT INTO {table} SELECT * FROM {table} WHERE false",
    "update": "UPDATE {table} SET {column} = {column}",
    "delete": "DELETE FROM {table}",
    "truncate": "TRUNCATE {table} CASCADE",
    "drop": "DROP TABLE {table} CASCADE",
}
OWN = ("runs", "checks")
"""Tables that only a checker writes."""


@pytest.fixture
def site_users(
    cluster: Cluster, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Callable[[str], Archive]]:
    """Return a function that opens the archive as a booth, a reader or a checker.

    The roles are made as the README says: the printed SQL through psql, then users.
    """
    database = cluster.database("made")
    code, sql, _ = tell("archive", "roles")
    assert code == 0
    programs = binaries()
    assert programs is not None
    where = [f"--host={cluster.folder}", f"--port={cluster.port}", "--username=owner"]
    command = [str(programs / "psql"), *where, "-v", "ON_ERROR_STOP=1", "-q", database]
    for _ in range(2):
        subprocess.run(command, input=sql.encode(), check=True)
    opened: list[Archive] = []

    def enter(role: str) -> Archive:
        cluster.execute(f"DROP ROLE IF EXISTS some_{role}")
        cluster.execute(f"CREATE USER some_{role} PASSWORD 'secret' IN ROLE sampling_{role}")
        monkeypatch.setenv("PGPASSWORD", "secret")
        opened.append(connect(cluster.tcp_url(database, f"some_{role}")))
        return opened[-1]

    yield enter
    for archive in opened:
        archive.close()


def refused(archive: Archive, statement: str) -> bool:
    """Tell whether the server refuses a statement for want of rights."""
    try:
        with archive.writing() as connection:
            connection.execute(text(statement))
    except ArchiveError as fault:
        assert "does not let this user do that" in str(fault)  # noqa: PT017 - either way is an answer
        return True
    return False


def statements(*kinds: str) -> Iterator[str]:
    """Yield a statement of each kind for every table."""
    for table in METADATA.tables.values():
        words = {"table": table.name, "column": next(iter(table.c)).name}
        yield from (FORMS[kind].format_map(words) for kind in kinds)


def test_a_booth_may_add_only(
    site_users: Callable[[str], Archive], site: Callable[..., Path]
) -> None:
    """It adds a record, sees that it is known, and can change or delete nothing."""
    booth = site_users("writer")
    proved = proved_record(site(3), Witnesses())
    now = datetime.now(UTC)
    assert add(booth, proved, now=now)[0] is Added.NEW
    assert add(booth, proved, now=now)[0] is Added.KNOWN
    forbidden = [*statements("update", "delete", "truncate", "drop")]
    forbidden += [one for one in statements("insert") if any(f" {name} " in one for name in OWN)]
    forbidden += ["CREATE TABLE mine (a int)", "UPDATE alembic_version SET version_num = '9'"]
    assert [one for one in forbidden if not refused(booth, one)] == []


def test_a_reader_may_read_only(
    site_users: Callable[[str], Archive], site: Callable[..., Path]
) -> None:
    """It sees what a booth added and can write nothing."""
    add(site_users("writer"), proved_record(site(0), Witnesses()), now=datetime.now(UTC))
    reader = site_users("reader")
    with reader.reading() as connection:
        assert connection.scalar(text("SELECT count(*) FROM samples")) == 6
    forbidden = [*statements("insert", "update", "delete", "truncate", "drop")]
    assert [one for one in forbidden if not refused(reader, one)] == []
    with pytest.raises(ArchiveError, match="does not let this user do that"):
        add(reader, proved_record(site(1), Witnesses()), now=datetime.now(UTC))


def test_a_checker_keeps_what_it_finds(
    site_users: Callable[[str], Archive], site: Callable[..., Path]
) -> None:
    """Its runs and answers, and no record."""
    proved = proved_record(site(0), Witnesses())
    add(site_users("writer"), proved, now=datetime.now(UTC))
    checker = site_users("checker")
    run = begin_run(checker, "check")
    with closing(run_over(checker, run, check_record, workers=1, scheduler=None)) as done:
        assert [one.found.answer for one in done] == ["intact"]
    forbidden = [*statements("delete", "truncate", "drop")]
    forbidden += [one for one in statements("insert") if not any(f" {n} " in one for n in OWN)]
    assert [one for one in forbidden if not refused(checker, one)] == []
