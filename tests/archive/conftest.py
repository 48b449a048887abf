"""An archive over each database, and commands that use it.

Without the libraries of the `site` and `test-site` extras these tests are left out, except where
they are required: there the missing import is a failure.
"""

import os
from collections.abc import Callable, Iterator
from contextlib import closing
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant.cli import main
from tests.archive import made_site
from tests.archive.made_site import Made

if TYPE_CHECKING:
    from assistant.archive.database import Archive
    from tests.archive.cluster import Cluster

_NEEDED = ("alembic", "bagit", "distributed", "httpx", "psycopg", "sqlalchemy", "starlette")
_REQUIRED = os.environ.get("SAMPLING_ASSISTANT_SITE") == "required"
if not _REQUIRED and any(find_spec(name) is None for name in _NEEDED):
    collect_ignore_glob = ["test_*.py"]

DATABASES = ("sqlite", pytest.param("postgresql", marks=pytest.mark.site))


@pytest.fixture(scope="session")
def cluster() -> "Iterator[Cluster]":
    """A PostgreSQL server, started when the first test asks for it."""
    from assistant.archive.database import migrate  # noqa: PLC0415 - perhaps not installed
    from tests.archive.cluster import Cluster, binaries  # noqa: PLC0415 - the same

    programs = binaries()
    if programs is None:
        pytest.skip("PostgreSQL is not installed")
    server = Cluster(programs)
    try:
        server.execute("CREATE DATABASE made")
        migrate(server.url("made"))
        yield server
    finally:
        server.remove()


@pytest.fixture(autouse=True)
def _own_user(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep queue and default archive away from those of whoever runs the tests."""
    monkeypatch.setenv("SAMPLING_ASSISTANT_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("SAMPLING_ASSISTANT_ARCHIVE", raising=False)
    for name in ("PGPASSWORD", "PGHOST", "PGUSER", "PGDATABASE", "PGSERVICE"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("PGPASSFILE", str(tmp_path / "none"))


@pytest.fixture(params=DATABASES)
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The URL of an empty archive."""
    from assistant.archive.database import migrate  # noqa: PLC0415 - perhaps not installed

    if request.param == "postgresql":
        server: Cluster = request.getfixturevalue("cluster")
        return server.url(server.database("made"))
    found = f"sqlite:///{tmp_path / 'archive.sqlite'}"
    migrate(found)
    return found


@pytest.fixture
def archive(url: str) -> "Iterator[Archive]":
    """The same, open."""
    from assistant.archive.database import connect  # noqa: PLC0415 - perhaps not installed

    with closing(connect(url)) as found:
        yield found


@pytest.fixture
def site(tmp_path: Path) -> Callable[..., Path]:
    """Return a function that makes the small record of a number."""

    def make(number: int, **more: object) -> Path:
        made = Made(number, small=True)
        return made_site.record(tmp_path / "site", made, **more)  # type: ignore[arg-type]  # passed on

    return make


@pytest.fixture
def tell(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Return a function that runs a command: exit code, output, complaint."""

    def run(*words: object) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main([str(word) for word in words])
        said = capsys.readouterr()
        return code, said.out, said.err

    return run
