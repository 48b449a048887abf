"""Several writers, a kill, a full disk: no row half there, nothing lost, nothing twice."""

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from time import sleep

import pytest
from sqlalchemy import func, select

from assistant.archive.database import Archive, connect, migrate
from assistant.archive.tables import RECORD_TABLES, places, samples, sessions
from tests.archive import made_site
from tests.archive.made_site import Made
from tests.archive.test_adding import everything

ROOT = Path(__file__).parents[2]
Tell = Callable[..., tuple[int, str, str]]


def adding(url: str, folders: list[Path], env: dict[str, str]) -> "subprocess.Popen[str]":
    """Start a booth that adds records."""
    return subprocess.Popen(
        [sys.executable, "-m", "assistant", "archive", "add", *folders, "--archive", url],
        cwd=ROOT,
        env=env,
        text=True,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


@pytest.fixture
def env() -> dict[str, str]:
    """The environment of a booth."""
    return {**os.environ, "PYTHONPATH": str(ROOT)}


def whole(archive: Archive) -> int:
    """Return how many records there are, each with all of its rows."""
    with archive.reading() as connection:
        if connection.dialect.name == "postgresql":
            # All three from one moment, while others write.
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        count = connection.scalar(select(func.count()).select_from(sessions))
        by_head = select(samples.c.head, func.count()).group_by(samples.c.head)
        rows = {row[0]: row[1] for row in connection.execute(by_head)}
        placed = connection.scalar(select(func.count(places.c.head.distinct())))
    assert set(rows.values()) <= {6}
    assert len(rows) == placed == count
    return int(count or 0)


@pytest.mark.slow
def test_ten_booths_add_at_once(
    url: str, archive: Archive, tmp_path: Path, env: dict[str, str]
) -> None:
    """Every booth adds its own records and one that all of them have."""
    folders = [made_site.record(tmp_path / "site", Made(n, small=True)) for n in range(21)]
    shared = folders.pop()
    booths = [adding(url, [folders[2 * n], shared, folders[2 * n + 1]], env) for n in range(10)]
    told = [booth.communicate(timeout=300) for booth in booths]
    assert [booth.returncode for booth in booths] == [0] * 10, told
    news = sum(int(out.splitlines()[-1].split(" added")[0]) for out, _ in told)
    assert news == whole(archive) == 21


@pytest.mark.slow
def test_ten_booths_begin_a_file_at_once(tmp_path: Path, env: dict[str, str]) -> None:
    """The tables are made once, by whoever comes first."""
    url = f"sqlite:///{tmp_path / 'new.sqlite'}"
    folders = [made_site.record(tmp_path / "site", Made(n, small=True)) for n in range(10)]
    booths = [adding(url, [folder], env) for folder in folders]
    told = [booth.communicate(timeout=300) for booth in booths]
    assert [booth.returncode for booth in booths] == [0] * 10, told
    with closing(connect(url)) as archive:
        assert whole(archive) == 10


@pytest.mark.slow
def test_an_import_that_is_killed(
    url: str, archive: Archive, tmp_path: Path, env: dict[str, str], tell: Tell
) -> None:
    """At five moments; what is there is whole, and adding again completes it."""
    folders = [made_site.record(tmp_path / "site", Made(n, small=True)) for n in range(40)]
    seen = []
    for moment in range(5):
        booth = adding(url, folders, env)
        while whole(archive) < 4 + 7 * moment and booth.poll() is None:
            sleep(0.005)
        booth.send_signal(signal.SIGKILL)
        booth.communicate()
        seen.append(whole(archive))
    assert seen == sorted(seen)
    assert 0 < seen[0] < 40
    code, out, _ = tell("archive", "add", *folders, "--archive", url)
    assert code == 0
    assert f"{40 - seen[-1]} added, 0 completed, {seen[-1]} known already" in out
    assert whole(archive) == 40


@pytest.mark.slow
def test_a_disk_that_fills_up(tmp_path: Path, env: dict[str, str], tell: Tell) -> None:
    """A real small disk: what was added before stays, and the rest is added when there is room."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount, unmount = (shutil.which(name) for name in ("mount", "umount"))
    if mount is None or unmount is None:
        pytest.skip("no disk can be mounted here")
    small = [mount, "-t", "tmpfs", "-o", "size=700k", "tmpfs", str(disk)]
    if subprocess.run(small, capture_output=True, check=False).returncode:
        pytest.skip("no disk can be mounted here")
    try:
        url = f"sqlite:///{disk / 'archive.sqlite'}"
        migrate(url)
        folders = [made_site.record(tmp_path / "site", Made(n, small=True)) for n in range(60)]
        booth = adding(url, folders, env)
        out, err = booth.communicate(timeout=300)
        assert booth.returncode == 2, out
        assert "has no room left on its disk: make room" in err
        assert "Traceback" not in err
        with closing(connect(url)) as archive:
            before = whole(archive)
            assert 0 < before < 60
        subprocess.run([mount, "-o", "remount,size=8m", str(disk)], check=True)
        assert tell("archive", "add", *folders, "--archive", url)[0] == 0
        with closing(connect(url)) as archive:
            assert whole(archive) == 60
    finally:
        subprocess.run([unmount, str(disk)], check=True)


def test_the_index_is_made_anew_from_the_folders(
    url: str, archive: Archive, tmp_path: Path, tell: Tell
) -> None:
    """Record by record into one archive, by the tree into another: equal to the last row."""
    work = []
    for number in range(8):
        made = Made(number, small=True)
        folder = made_site.record(tmp_path / "site", made)
        work.append(f"{folder}={made_site.sheet(folder, made)}" if number % 2 else folder)
    assert tell("archive", "add", *reversed(work), "--archive", url)[0] == 0
    anew = f"sqlite:///{tmp_path / 'anew.sqlite'}"
    code, out, _ = tell("archive", "rebuild", tmp_path / "site", "--archive", anew)
    assert (code, out) == (0, "8 added, 0 completed, 0 known already, 0 not added\n")
    with closing(connect(anew)) as other:
        rows = everything(archive)
        assert everything(other) == rows
        assert all(
            rows[table.name]
            for table in RECORD_TABLES
            if table.name
            not in (
                "signatures",
                "anchors",
            )
        )
    code, out, _ = tell("archive", "rebuild", tmp_path / "site", "--archive", anew)
    assert (code, out) == (0, "0 added, 0 completed, 8 known already, 0 not added\n")
    assert tell("archive", "rebuild", tmp_path / "none", "--archive", anew)[0] == 2
