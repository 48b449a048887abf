"""Work over every record of the archive, spread by Dask over processes or machines.

A run is resumable: each result is kept with its run, and a run that was broken off is continued by
the next one of the same work. A record that is bad, or whose worker dies, is a result like any
other and stops nothing.
"""

import logging
from collections.abc import Callable, Generator, Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any, Final

from distributed import Client, LocalCluster, as_completed
from sqlalchemy import func, insert, select, update
from sqlalchemy.exc import IntegrityError

from assistant.archive.database import Archive
from assistant.archive.tables import checks, places, runs, sessions, signatures
from assistant.errors import AssistantError, DeviceError, InputError, RecordBroken
from assistant.record import open_record, prove

__all__ = ["FAILED", "INTACT", "Done", "Found", "Task", "begin_run", "check_record", "run_over"]

INTACT: Final = "intact"
FAILED: Final = "failed"
"""The work itself failed: its process died, or met what it was not made for."""
_AHEAD: Final = 8
"""Records handed to each worker at a time; bounds memory."""
_KEPT_TOGETHER: Final = 50
"""Results per transaction: what a kill costs at most."""
_PATIENCE_S: Final = 10


@dataclass(frozen=True, slots=True)
class Task:
    """One record to be worked on."""

    head: str
    folder: str
    signed: tuple[tuple[str, str, str, str], ...] = ()
    """Name, meaning, time and key of each signature that the archive knows."""


@dataclass(frozen=True, slots=True)
class Found:
    """What the work on one record came to."""

    answer: str
    """A word or two, such as "intact"."""
    statement: str
    """One sentence."""


@dataclass(frozen=True, slots=True)
class Done:
    """A record with its result."""

    task: Task
    found: Found


Work = Callable[[Task], Found]


@dataclass(frozen=True, slots=True)
class Run:
    """A run with what is left of it."""

    number: int
    before: int
    """Results that an earlier start of this run left."""
    left: tuple[Task, ...]


def check_record(task: Task) -> Found:
    """Prove a record where it stands and compare it with the archive."""
    folder = Path(task.folder)
    try:
        proof = prove(open_record(folder))
    except RecordBroken as fault:
        return Found("does not hold", str(fault))
    except AssistantError as fault:
        return Found("cannot be read" if folder.exists() else "not there", str(fault))
    head = proof.last.entry.hash if proof.last else ""
    if head != task.head:
        return Found("another copy", f"{folder} ends with another entry than the archive knows.")
    said = [signature.statement for signature in proof.signatures]
    stand = tuple((one.name, one.meaning, one.utc, one.key) for one in said)
    if stand[: len(task.signed)] != task.signed:
        return Found("signature missing", f"{folder} lacks a signature that the archive knows.")
    return Found(INTACT, f"{proof.last.entry.seq if proof.last else 0} entries, all in order")


def begin_run(archive: Archive, work: str) -> Run:
    """Begin a run, or continue the one that was broken off.

    Args:
        archive: the index.
        work: its name, such as "check".

    Raises:
        ArchiveError: the database refused.
    """
    with archive.writing() as connection:
        number = connection.scalar(
            select(func.max(runs.c.run)).where(runs.c.work == work, runs.c.ended_utc == "")
        )
        if number is None:
            row = {"work": work, "began_utc": _now(), "ended_utc": ""}
            number = connection.execute(insert(runs).returning(runs.c.run), row).scalar_one()
        before = connection.scalar(
            select(func.count()).select_from(checks).where(checks.c.run == number)
        )
        done = select(checks.c.head).where(checks.c.run == number)
        signed: dict[str, list[tuple[str, str, str, str]]] = {}
        columns = [signatures.c[name] for name in ("head", "name", "meaning", "utc", "key")]
        for head, *one in connection.execute(
            select(*columns).order_by(signatures.c.head, signatures.c.number)
        ):
            signed.setdefault(head, []).append((one[0], one[1], one[2], one[3]))
        latest = select(places.c.head, func.max(places.c.added_utc).label("utc")).group_by(
            places.c.head
        )
        last = latest.subquery()
        rows = connection.execute(
            select(sessions.c.head, func.max(places.c.folder))
            .join(last, last.c.head == sessions.c.head)
            .join(places, (places.c.head == last.c.head) & (places.c.added_utc == last.c.utc))
            .where(sessions.c.head.not_in(done))
            .group_by(sessions.c.head, sessions.c.opened_utc)
            .order_by(sessions.c.opened_utc, sessions.c.head)
        )
        left = tuple(Task(head, folder, tuple(signed.get(head, ()))) for head, folder in rows)
    return Run(int(number), int(before or 0), left)


def run_over(
    archive: Archive, run: Run, work: Work, *, workers: int, scheduler: str | None
) -> Generator[Done]:
    """Work on what is left of a run and yield each result; it is kept before the next batch is.

    Args:
        archive: receives the results.
        run: of `begin_run`.
        work: done in the workers' processes; a function of a module, which they import.
        workers: processes to start here, without a scheduler.
        scheduler: address of a Dask scheduler, such as tcp://HOST:8786; None to start one here.

    Raises:
        DeviceError: the scheduler does not answer.
        InputError: its address is none.
        ArchiveError: the database refused.
    """
    kept: list[Done] = []
    try:
        for done in _spread(run.left, work, workers, scheduler) if run.left else ():
            kept.append(done)
            if len(kept) >= _KEPT_TOGETHER:
                _keep(archive, run.number, kept)
            yield done
    finally:
        _keep(archive, run.number, kept)
    with archive.writing() as connection:
        ended = update(runs).where(runs.c.run == run.number).values(ended_utc=_now())
        connection.execute(ended)


def _spread(
    tasks: tuple[Task, ...], work: Work, workers: int, scheduler: str | None
) -> Iterator[Done]:
    waiting = iter(tasks)
    with _client(workers, scheduler) as client:
        count = max(1, len(client.scheduler_info(n_workers=-1)["workers"]))
        futures = {
            client.submit(work, task, pure=False): task for task in islice(waiting, count * _AHEAD)
        }
        arriving = as_completed(list(futures))
        for future in arriving:
            yield Done(futures.pop(future), _found(future))
            for task in islice(waiting, 1):
                more = client.submit(work, task, pure=False)
                futures[more] = task
                arriving.add(more)


def _found(future: Any) -> Found:  # noqa: ANN401 - distributed has no types
    fault = future.exception()
    if fault is None:
        found: Found = future.result()
        return found
    return Found(FAILED, f"{type(fault).__name__}: {fault}".partition("\n")[0])


@contextmanager
def _client(workers: int, scheduler: str | None) -> Iterator[Client]:
    with ExitStack() as stack:
        if scheduler is None:
            cluster = LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                processes=True,
                host="127.0.0.1",
                dashboard_address="127.0.0.1:0",
                silence_logs=logging.CRITICAL,
            )
            yield stack.enter_context(closing(Client(stack.enter_context(closing(cluster)))))
            return
        try:
            client = Client(scheduler, timeout=_PATIENCE_S)
        except ValueError:
            raise InputError(
                f"{scheduler!r} is no address of a Dask scheduler: write tcp://HOST:8786."
            ) from None
        except (OSError, TimeoutError):
            raise DeviceError(
                f"No Dask scheduler answers at {scheduler}: start one with `dask scheduler`, and "
                "workers with `dask worker`."
            ) from None
        yield stack.enter_context(closing(client))


def _keep(archive: Archive, run: int, done: list[Done]) -> None:
    """Keep results, each once; `done` is empty afterwards."""
    if done:
        rows: list[dict[str, object]] = [
            {
                "head": one.task.head,
                "run": run,
                "utc": _now(),
                "answer": one.found.answer,
                "statement": one.found.statement,
            }
            for one in done
        ]
        try:
            _insert(archive, run, rows)
        except IntegrityError:
            # Somebody continues the same run elsewhere and was faster with one of them.
            _insert(archive, run, rows)
        done.clear()


def _insert(archive: Archive, run: int, rows: list[dict[str, object]]) -> None:
    with archive.writing() as connection:
        heads = select(checks.c.head).where(
            checks.c.run == run, checks.c.head.in_([row["head"] for row in rows])
        )
        there = set(connection.scalars(heads))
        if missing := [row for row in rows if row["head"] not in there]:
            connection.execute(insert(checks), missing)


def _now() -> str:
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")
