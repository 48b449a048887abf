"""Work over many records: planted faults are found, runs are resumed, workers may be elsewhere."""

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from itertools import islice
from pathlib import Path

import pytest
from sqlalchemy import func, select

from assistant.archive.database import Archive
from assistant.archive.fleet import (
    FAILED,
    INTACT,
    Done,
    Found,
    Task,
    begin_run,
    check_record,
    run_over,
)
from assistant.archive.tables import checks, runs
from assistant.cli.archive_re_hear import ALIKE, rehear_record
from assistant.errors import DeviceError, InputError
from tests.archive import made_site
from tests.archive.made_site import Made

ROOT = Path(__file__).parents[2]
GOLDEN = ROOT / "tests" / "golden" / "schema-2"
Site = Callable[..., Path]
Tell = Callable[..., tuple[int, str, str]]


def head_of(folder: Path) -> str:
    """Return the hash of the last entry as the record has it."""
    import json  # noqa: PLC0415 - only here

    return str(json.loads((folder / "record.jsonl").read_bytes().splitlines()[-1])["hash"])


@pytest.fixture
def planted(tmp_path: Path) -> dict[str, Path]:
    """Records by the fault that is planted in them after they were added."""
    names = (
        "intact",
        "cut off",
        "entry changed",
        "rewritten",
        "plan exchanged",
        "gone",
        "clip changed",
        "clip gone",
        "unsigned",
        "no record",
    )
    found = {}
    for number, name in enumerate(names):
        if name in ("clip changed", "clip gone", "unsigned"):
            found[name] = Path(shutil.copytree(GOLDEN / "record", tmp_path / "golden" / name))
        else:
            found[name] = made_site.record(tmp_path / "site", Made(number, small=True))
    return found


def plant(planted: dict[str, Path]) -> None:
    """Damage each record as its name says."""

    def change(name: str, file: str, old: bytes, new: bytes) -> None:
        path = planted[name] / file
        data = path.read_bytes()
        assert old in data
        path.write_bytes(data.replace(old, new))

    lines = (planted["cut off"] / "record.jsonl").read_bytes().splitlines(keepends=True)
    (planted["cut off"] / "record.jsonl").write_bytes(b"".join(lines[:-3]))
    change("entry changed", "record.jsonl", b'"seq":20,', b'"seq":21,')
    forged = made_site.lines_of(Made(3, small=True), departures=[])
    (planted["rewritten"] / "record.jsonl").write_bytes(b"".join(forged))
    change("plan exchanged", "plan.toml", b"PV-0417 rev 2", b"PV-0417 rev 3")
    planted["gone"].rename(planted["gone"].with_name("elsewhere"))
    clips = sorted((planted["clip changed"] / "clips").iterdir())
    clips[0].write_bytes(clips[0].read_bytes()[:-1] + b"\0")
    for clip in (planted["clip gone"] / "clips").iterdir():
        clip.unlink()
    (planted["unsigned"] / "signatures.jsonl").unlink()
    (planted["no record"] / "record.jsonl").write_bytes(b"\xff\x00" * 500)


EXPECTED = {
    "intact": INTACT,
    "cut off": "another copy",
    "entry changed": "does not hold",
    "rewritten": "another copy",
    "plan exchanged": "does not hold",
    "gone": "not there",
    "clip changed": "does not hold",
    "clip gone": "does not hold",
    "unsigned": "signature missing",
    "no record": "does not hold",
}


def task_of(folder: Path, head: str) -> Task:
    """Return a record's task with the signatures that the golden record has."""
    from assistant.storage.signatures import load_signatures  # noqa: PLC0415 - only here

    said = [one.statement for one in load_signatures(folder)]
    return Task(head, str(folder), tuple((s.name, s.meaning, s.utc, s.key) for s in said))


def test_every_planted_fault_is_found(planted: dict[str, Path]) -> None:
    """Each by itself, as a worker sees it."""
    tasks = {name: task_of(folder, head_of(folder)) for name, folder in planted.items()}
    assert {check_record(task).answer for task in tasks.values()} == {INTACT}
    plant(planted)
    found = {name: check_record(task).answer for name, task in tasks.items()}
    assert found == EXPECTED


def test_a_run_finds_the_faults_and_keeps_them(
    url: str, tmp_path: Path, tell: Tell, scheduler: str
) -> None:
    """Two workers in processes of their own; the answers stand in the archive."""
    folders = [made_site.record(tmp_path / "site", Made(n, small=True)) for n in range(5)]
    assert tell("archive", "add", *folders, "--archive", url)[0] == 0
    (folders[1] / "plan.toml").write_bytes(Made(7).plan)
    shutil.rmtree(folders[3])
    code, out, err = tell("archive", "check", "--scheduler", scheduler, "--archive", url)
    assert (code, err) == (1, "")
    assert "run 1: 3 intact" in out
    assert f"does not hold: {folders[1]}" in out
    assert f"not there: {folders[3]}" in out
    code, out, _ = tell("archive", "find", "faults", "--as", "csv", "--archive", url)
    assert [line.split(",")[3] for line in out.splitlines()[1:]] == [Made(1).batch, Made(3).batch]


def loses(task: Task) -> Found:
    """Kill the worker that has the second record."""
    if task.folder.endswith(Made(1).batch):
        os.kill(os.getpid(), signal.SIGKILL)
    return Found(INTACT, "seen")


def stumbles(task: Task) -> Found:
    """Meet what it was not made for."""
    raise LookupError(task.head)


@pytest.fixture
def five(archive: Archive, url: str, tmp_path: Path, tell: Tell) -> Archive:
    """An archive with five records."""
    folders = [made_site.record(tmp_path / "site", Made(n, small=True)) for n in range(5)]
    assert tell("archive", "add", *folders, "--archive", url)[0] == 0
    return archive


def answers(archive: Archive) -> list[str]:
    """Return every answer that is kept."""
    with archive.reading() as connection:
        return sorted(connection.execute(select(checks.c.answer)).scalars())


def test_work_that_fails_is_an_answer(five: Archive, scheduler: str) -> None:
    """An exception that nobody expected stops nothing."""
    run = begin_run(five, "odd")
    done = list(run_over(five, run, stumbles, workers=1, scheduler=scheduler))
    assert {one.found.answer for one in done} == {FAILED}
    assert done[0].found.statement == f"LookupError: {done[0].task.head}"
    assert answers(five) == [FAILED] * 5


@pytest.mark.slow
def test_a_killed_worker_costs_one_record(five: Archive) -> None:
    """Dask starts another worker; after a few tries the record is given up, not the run."""
    run = begin_run(five, "deadly")
    done = list(run_over(five, run, loses, workers=2, scheduler=None))
    failed = [one.task.folder for one in done if one.found.answer == FAILED]
    assert [Path(folder).name for folder in failed] == [Made(1).batch]
    assert len(done) == 5


def test_a_run_that_was_broken_off_is_continued(five: Archive, scheduler: str) -> None:
    """What was found is not worked on again, and nothing is kept twice."""
    first = begin_run(five, "check")
    with closing(run_over(five, first, check_record, workers=1, scheduler=scheduler)) as working:
        seen: list[Done] = list(islice(working, 2))
    assert len(answers(five)) >= len(seen) == 2
    kept = len(answers(five))
    second = begin_run(five, "check")
    assert (second.number, second.before, len(second.left)) == (first.number, kept, 5 - kept)
    rest = list(run_over(five, second, check_record, workers=1, scheduler=scheduler))
    assert len(rest) == 5 - kept
    assert answers(five) == [INTACT] * 5
    assert begin_run(five, "check").number != first.number
    with five.reading() as connection:
        ended = select(func.count()).select_from(runs).where(runs.c.ended_utc != "")
        assert connection.scalar(ended) == 1


@contextmanager
def cluster_of_two() -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Start a scheduler and two workers, each a process of its own as on other machines."""
    start = [sys.executable, "-m", "dask"]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    silent = {"env": env, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    port = _free_port()
    address = f"tcp://127.0.0.1:{port}"
    wish = [
        *start,
        "scheduler",
        "--host",
        "127.0.0.1",
        "--port",
        str(port),
        "--dashboard-address",
        "127.0.0.1:0",
    ]
    worker = [*start, "worker", address, "--nthreads", "1", "--no-dashboard", "--no-nanny"]
    processes = [
        subprocess.Popen(command, **silent)  # type: ignore[call-overload]  # the same for all
        for command in (wish, worker, worker)
    ]
    try:
        _wait_for(address, workers=2)
        yield address, processes[1:]
    finally:
        for process in reversed(processes):
            process.kill()
            process.wait(timeout=30)


@pytest.fixture(scope="session")
def scheduler() -> Iterator[str]:
    """The address of a scheduler with two workers."""
    with cluster_of_two() as (address, _):
        yield address


def _free_port() -> int:
    import socket  # noqa: PLC0415 - only here

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait_for(address: str, workers: int) -> None:
    from distributed import Client  # noqa: PLC0415 - heavy

    deadline = time.monotonic() + 60
    while True:
        try:
            with closing(Client(address, timeout=2)) as client:
                client.wait_for_workers(workers, timeout=60)
                return
        except OSError:
            assert time.monotonic() < deadline


@pytest.mark.slow
def test_a_worker_that_is_taken_away(url: str, tmp_path: Path, tell: Tell) -> None:
    """As on a second machine: one that is taken away does no harm."""
    folders = [made_site.record(tmp_path / "site", Made(n, small=True)) for n in range(6)]
    assert tell("archive", "add", *folders, "--archive", url)[0] == 0
    with cluster_of_two() as (address, workers):
        code, out, _ = tell("archive", "check", "--scheduler", address, "--archive", url)
        assert (code, out) == (0, "run 1: 6 intact\n")
        workers[0].terminate()
        code, out, _ = tell("archive", "check", "--scheduler", address, "--archive", url)
        assert (code, out) == (0, "run 2: 6 intact\n")


@pytest.mark.parametrize(
    ("address", "fault"),
    [("nonsense", InputError), ("tcp://127.0.0.1:9", DeviceError)],
)
def test_a_scheduler_that_is_none(
    five: Archive, monkeypatch: pytest.MonkeyPatch, address: str, fault: type[Exception]
) -> None:
    """One sentence; the run can be continued."""
    monkeypatch.setattr("assistant.archive.fleet._PATIENCE_S", 1)
    run = begin_run(five, "check")
    with pytest.raises(fault, match="scheduler"):
        list(run_over(five, run, check_record, workers=1, scheduler=address))
    assert begin_run(five, "check").number == run.number


def test_too_many_workers(url: str, tell: Tell) -> None:
    """Refused before anything is started."""
    code, _, err = tell("archive", "check", "--workers", 0, "--archive", url)
    assert (code, "--workers 0 is not between 1 and 256" in err) == (2, True)


def test_an_empty_archive_has_nothing_to_check(url: str, tell: Tell) -> None:
    """No worker is started for it."""
    assert tell("archive", "check", "--archive", url)[:2] == (0, "run 1: no records\n")


def test_workers_of_this_machine(tmp_path: Path, tell: Tell) -> None:
    """Without a scheduler they are started here, and end with the run."""
    url = f"sqlite:///{tmp_path / 'archive.sqlite'}"
    folder = made_site.record(tmp_path / "site", Made(0, small=True))
    assert tell("archive", "add", folder, "--archive", url)[0] == 0
    said = tell("archive", "check", "--workers", 1, "--archive", url)
    assert said == (0, "run 1: 1 intact\n", "")


@pytest.mark.slow
@pytest.mark.model
def test_a_record_is_heard_again(url: str, tmp_path: Path, tell: Tell) -> None:
    """The golden record: a damaged one is an answer of its own."""
    folder = Path(shutil.copytree(GOLDEN / "record", tmp_path / "golden"))
    assert tell("archive", "add", folder, "--archive", url)[0] == 0
    code, out, _ = tell("archive", "re-hear", "--workers", 1, "--archive", url)
    assert code == 0
    assert "run 1: 1 " in out
    assert rehear_record(Task("", str(tmp_path / "none"))).answer == FAILED
    typed = made_site.record(tmp_path, Made(0, small=True))
    assert rehear_record(Task("", str(typed))) == Found(ALIKE, "0 voice confirmations")
