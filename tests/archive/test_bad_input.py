"""Everything that can be wrong with a database ends in one sentence that says what to do."""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import text

from assistant.archive import database
from assistant.archive.database import connect, migrate
from assistant.cli import main
from assistant.errors import ArchiveError, ArchiveUnreachable, InputError
from tests.archive import made_site
from tests.archive.cluster import Cluster
from tests.archive.made_site import Made

Site = Callable[..., Path]
Tell = Callable[..., tuple[int, str, str]]


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("nonsense", "no database URL: write sqlite:///FILE or postgresql"),
        ("mysql://u@h/d", "No archive can be kept in 'mysql'"),
        ("postgresql://u@h/d", "No archive can be kept in 'postgresql'"),
        ("postgresql+psycopg://u@h", "names no database"),
        ("sqlite://", "names no database"),
        ("postgresql+psycopg://u:hidden@h/d", "holds a password"),
        ("postgresql+psycopg://u@h/d?password=hidden", "holds a password"),
        ("postgresql+psycopg//u:hidden@h/d", "no database URL"),
        ("sqlite:////nowhere/at/all.sqlite", "There is no folder /nowhere/at"),
    ],
)
def test_a_url_that_is_none(url: str, said: str) -> None:
    """It is refused before anything is opened, and a password in it is not repeated."""
    with pytest.raises(InputError) as told:
        connect(url, begin=True)
    assert said in str(told.value)
    assert "hidden" not in str(told.value)


def test_a_reader_begins_no_archive(tmp_path: Path, tell: Tell) -> None:
    """A mistyped name makes no empty file."""
    path = tmp_path / "typo.sqlite"
    code, _, err = tell("archive", "list", "--archive", f"sqlite:///{path}")
    assert (code, path.exists()) == (2, False)
    assert "There is no archive" in err


@pytest.mark.parametrize("content", [b"This is a letter, no database, and it is long enough." * 9])
def test_a_file_that_is_no_database(tmp_path: Path, content: bytes) -> None:
    """Nothing of it is touched."""
    path = tmp_path / "letter.txt"
    path.write_bytes(content)
    for use in (connect, migrate):
        with pytest.raises(ArchiveError, match="is no SQLite database: name another file"):
            use(f"sqlite:///{path}")
    assert path.read_bytes() == content


def test_another_programs_database(tmp_path: Path) -> None:
    """Its tables are left alone."""
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE letters (text)")
    other.close()
    with pytest.raises(ArchiveError, match=r"holds no archive: its owner runs .*archive migrate"):
        connect(f"sqlite:///{path}")
    with pytest.raises(ArchiveError, match="holds tables that are no archive"):
        migrate(f"sqlite:///{path}")


def test_a_schema_of_another_version(url: str) -> None:
    """An older one names the command that brings it up, a newer one is refused."""
    archive = connect(url)
    for version, said in (("9", "newer version of this program: update this one"), ("0", "newer")):
        with archive.writing() as connection:
            connection.execute(text("UPDATE alembic_version SET version_num = :v"), {"v": version})
        for use in (connect, migrate):
            with pytest.raises(ArchiveError, match=said):
                use(url)
    with archive.writing() as connection:
        connection.exec_driver_sql("DELETE FROM alembic_version")
    with pytest.raises(ArchiveError, match="archive migrate --archive"):
        connect(url)
    archive.close()


def test_migrating_twice_does_nothing(url: str, tell: Tell) -> None:
    """The command says so."""
    assert tell("archive", "migrate", "--archive", url) == (
        0,
        "The archive already has the tables of this version.\n",
        "",
    )


def test_what_a_database_refuses_is_said(url: str, site: Site, tell: Tell) -> None:
    """A rule of its owner's that no row satisfies: one sentence, and nothing was added."""
    archive = connect(url)
    with archive.writing() as connection:
        if connection.dialect.name == "sqlite":
            connection.exec_driver_sql(
                "CREATE TRIGGER stop BEFORE INSERT ON samples BEGIN "
                "SELECT RAISE(ABORT, 'not on a Sunday'); END"
            )
        else:
            connection.exec_driver_sql("ALTER TABLE samples ADD CONSTRAINT sunday CHECK (port > 9)")
    archive.close()
    code, _, err = tell("archive", "add", site(0), "--archive", url)
    assert code == 2
    assert "sunday" in err.lower()
    assert tell("archive", "list", "--archive", url)[1] == "0 rows\n"


@pytest.mark.parametrize(
    ("pragma", "said"),
    [
        ("query_only=ON", "check the rights of its file and folder"),
        ("max_page_count=31", "has no room left on its disk: make room"),
    ],
)
def test_a_file_that_cannot_be_written(
    tmp_path: Path,
    tell: Tell,
    monkeypatch: pytest.MonkeyPatch,
    pragma: str,
    said: str,
) -> None:
    """SQLite itself refuses, as for a reader and on a full disk; nothing was added."""
    url = f"sqlite:///{tmp_path / 'archive.sqlite'}"
    migrate(url)
    before = tell("archive", "list", "--archive", url)

    def prepare(connection: Any, record: object) -> None:  # noqa: ANN401 - as the program's own
        usual(connection, record)
        connection.execute(f"PRAGMA {pragma}")

    usual = database._prepare  # noqa: SLF001 - the one place where a connection is made
    monkeypatch.setattr(database, "_prepare", prepare)
    record = made_site.record(tmp_path, Made(0))
    code, _, err = tell("archive", "add", record, "--archive", url)
    assert code == 2
    assert said in err
    assert tell("archive", "list", "--archive", url) == before


def test_a_server_that_does_not_answer(site: Site, tell: Tell) -> None:
    """The records wait; nothing is lost."""
    url = "postgresql+psycopg://u@127.0.0.1:9/d"
    with pytest.raises(ArchiveUnreachable, match="does not answer"):
        connect(url)
    first = site(0)
    code, _, err = tell("archive", "add", first, "--archive", url)
    assert code == 3
    assert "1 record waits in" in err
    code, _, err = tell("archive", "add", first, site(1), "--archive", url)
    assert "2 records wait in" in err


@pytest.mark.site
@pytest.mark.parametrize(
    ("password", "user", "base", "said"),
    [
        (None, "clerk", "", "asks for a password: put it into ~/.pgpass or PGPASSWORD"),
        ("wrong", "clerk", "", "refused the password: check ~/.pgpass or PGPASSWORD"),
        ("right", "nobody", "", "refused the password"),
        ("right", "clerk", "absent", "is not there: check its name, or"),
        ("right", "clerk", "", "does not let this user do that: ask its owner for the role"),
    ],
)
def test_a_user_who_is_not_let_in(  # noqa: PLR0917 - fixtures and cases
    cluster: Cluster,
    monkeypatch: pytest.MonkeyPatch,
    password: str | None,
    user: str,
    base: str,
    said: str,
) -> None:
    """Wrong or no password, unknown user, unknown database, no rights."""
    database = cluster.database("made")
    cluster.execute(
        "DO $$ BEGIN CREATE ROLE clerk LOGIN PASSWORD 'right'; "
        "EXCEPTION WHEN duplicate_object THEN NULL; END $$"
    )
    if password is not None:
        monkeypatch.setenv("PGPASSWORD", password)
    with pytest.raises(ArchiveError) as told:
        connect(cluster.tcp_url(base or database, user))
    assert type(told.value) is ArchiveError
    assert said in str(told.value)


@pytest.mark.site
def test_an_unknown_role_through_the_socket(cluster: Cluster) -> None:
    """A socket trusts everybody whom the server knows."""
    with pytest.raises(ArchiveError, match="does not know this user"):
        connect(cluster.url("made", "stranger"))


@pytest.mark.site
def test_no_password_is_in_the_process_list(cluster: Cluster, tmp_path: Path) -> None:
    """It comes from the file that PostgreSQL's own programs read."""
    database = cluster.database("made")
    cluster.execute("CREATE ROLE filed LOGIN PASSWORD 'of the file' IN ROLE owner")
    secret = tmp_path / "pgpass"
    secret.write_text(f"127.0.0.1:{cluster.port}:*:filed:of the file\n", "utf-8")
    secret.chmod(0o600)
    url = cluster.tcp_url(database, "filed")
    command = [sys.executable, "-m", "assistant", "archive", "list", "--archive", url]
    done = subprocess.run(
        command,
        env={**os.environ, "PGPASSFILE": str(secret)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "0 rows\n", "")
    assert "of the file" not in " ".join(command)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["find", "samples", "--kind", "spill"], "--kind does not limit the question 'samples'"),
        (["find", "missing"], "--register goes with the question 'missing'"),
        (["find", "samples", "--register", "r"], "--register goes with the question 'missing'"),
        (["find", "plan"], "Name the plan with --plan"),
        (["find", "samples", "--plan", "abc"], "There is no plan file abc"),
        (["find", "samples", "--from", "2026-03-05", "--to", "2026-03-04"], "exchange them"),
        (["find", "missing", "--register", "r", "--batch", "b"], "limited by its registers only"),
        (["find", "missing", "--register", "none"], "The register none cannot be read"),
        (["list", "-o", "a.txt"], "a table is for the terminal"),
        (["trend", "P"], "The archive holds 0 batches of 'P' with assays"),
        (["trend", "P", "--last", "1"], "is not between 2 and 1000"),
        (["add"], "Nothing waits in the queue: name a record"),
        (["add", "nowhere"], ""),
    ],
)
def test_options_that_do_not_fit(tmp_path: Path, words: list[str], said: str, tell: Tell) -> None:
    """One sentence, exit code 2."""
    url = f"sqlite:///{tmp_path / 'archive.sqlite'}"
    migrate(url)
    code, out, err = tell("archive", *words, "--archive", url)
    assert code == 2
    assert said in err
    assert said or "There is no record in" in out


def test_a_day_that_is_none(capsys: pytest.CaptureFixture[str]) -> None:
    """The parser says so."""
    with pytest.raises(SystemExit):
        main(["archive", "list", "--from", "yesterday"])
    assert "invalid day value: 'yesterday'" in capsys.readouterr().err


def test_a_machine_without_the_libraries(tmp_path: Path) -> None:
    """The sentence names what to install."""
    hidden = (
        "import importlib.util as u, sys; f = u.find_spec\n"
        "u.find_spec = lambda n, *a: None if n == 'sqlalchemy' else f(n, *a)\n"
        "from assistant.cli import main; sys.exit(main(['archive', 'list']))"
    )
    done = subprocess.run(
        [sys.executable, "-c", hidden], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 3
    assert "pip install 'sampling-assistant[site]'" in done.stderr
