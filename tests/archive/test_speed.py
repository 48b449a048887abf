"""What the archive costs: adding beside verifying, questions over 10 000 sessions, memory.

Figures are ratios in the same run, except for the questions, whose limit is a second; of several
tries the fastest counts, so that a busy machine fails no test. The scaling of `archive check` needs
two idle processors and is measured by hand over a site that
`python -m tests.archive.made_site FOLDER COUNT` has made:

    nice python tests/archive/test_speed.py FOLDER
"""

import contextlib
import io
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from assistant.archive.adding import add
from assistant.archive.database import Archive, connect
from assistant.archive.fleet import begin_run, check_record, run_over
from assistant.archive.proved import Witnesses, proved_record
from assistant.archive.questions import QUESTIONS, Filters, ask
from assistant.archive.trend import trend
from assistant.cli import verify
from assistant.cli.archive_common import show
from assistant.cli.archive_rebuild import Options as Rebuild
from assistant.cli.archive_rebuild import run as rebuild
from tests.archive import made_site
from tests.archive.made_site import BOOTHS, PRODUCTS, Made
from tests.archive.many_rows import fill

pytestmark = pytest.mark.slow
SESSIONS = 10_000
FIRST, LAST = date(2025, 3, 1), date(2025, 3, 31)
TRIES = 3


def verified(folder: Path) -> None:
    """Verify a record as the command does, without a process of its own."""
    options = verify.Options(
        record=folder,
        head=None,
        keys=None,
        authority=None,
        signed=None,
        register=None,
        require=[],
        re_hear=False,
    )
    with contextlib.redirect_stdout(io.StringIO()):
        assert verify.run(options) == 0


def seconds(work: Callable[[], object]) -> float:
    """Return how long something takes."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def fastest(work: Callable[[], object]) -> float:
    """Return how long something takes when it is disturbed least."""
    return min(seconds(work) for _ in range(TRIES))


def test_adding_costs_little_more_than_verifying(
    archive: Archive, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Record by record in turn: adding reaches at least 0.8 of the speed of `verify`."""
    folders = [made_site.record(tmp_path, Made(number)) for number in range(40)]
    alone, both = [], []
    # Never the same record: what is worked out from its plan is kept for a while.
    for one, other in zip(folders[::2], folders[1::2], strict=True):
        alone.append(seconds(lambda: verified(one)))  # noqa: B023 - called at once
        both.append(
            seconds(
                lambda: add(archive, proved_record(other, Witnesses()), now=datetime.now(UTC))  # noqa: B023 - the same
            )
        )
    ratio = min(alone) / min(both)
    with capsys.disabled():
        print(f"\nverify / add: {ratio:.2f} over {archive.name}")  # noqa: T201 - a result
    assert ratio > 0.8


def questions(archive: Archive, folder: Path) -> dict[str, float]:
    """Return how long each question takes, written as CSV."""
    limits = {
        "samples": Filters(product=PRODUCTS[0], first=FIRST, last=LAST),
        "deviations": Filters(kind="short-die", booth=BOOTHS[1]),
        "plan": Filters(plan=_some_plan(archive)),
    }
    took = {}
    for name in QUESTIONS:
        filters = limits.get(name, Filters())
        took[name] = fastest(
            lambda: show(ask(archive, name, filters), "csv", folder / "a.csv", overwrite=True)  # noqa: B023 - called at once
        )
    took["trend"] = fastest(lambda: trend(archive, PRODUCTS[0], last=100, rehearsals=True))
    return took


def _some_plan(archive: Archive) -> str:
    answer = ask(archive, "plan", Filters(batch=Made(0).batch))
    return str(answer.rows[0][answer.headings.index("plan_sha256")])


def test_questions_over_ten_thousand_sessions(
    url: str, archive: Archive, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Any of them in under a second; the rows are multiplied from 24 real records with assays."""
    from assistant.cli.archive_add import Options, run  # noqa: PLC0415 - beside its use

    work = []
    for made in map(Made, range(24)):
        folder = made_site.record(tmp_path, made)
        work.append(f"{folder}={made_site.sheet(folder, made)}")
    nothing = {"keys": None, "register": None, "authority": None, "partial": False, "unit": None}
    assert run(Options(records=work, archive=url, **nothing)) == 0  # type: ignore[arg-type]  # as named
    answer = ask(archive, "sessions", Filters())
    heads = [str(row[answer.headings.index("head")]) for row in answer.rows]
    fill(archive, heads, SESSIONS - len(heads))
    assert len(ask(archive, "sessions", Filters()).rows) == SESSIONS
    took = questions(archive, tmp_path)
    with capsys.disabled():
        figures = ", ".join(f"{name} {each:.2f} s" for name, each in took.items())
        print(f"\n{SESSIONS} sessions, {archive.name}: {figures}")  # noqa: T201 - a result
    assert {name: each for name, each in took.items() if each >= 1} == {}


def test_memory_does_not_grow_with_the_records(
    archive: Archive, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The peak of adding forty records is that of five."""
    folders = [made_site.record(tmp_path, Made(number)) for number in range(50)]

    def peak(some: list[Path]) -> int:
        tracemalloc.start()
        for folder in some:
            add(archive, proved_record(folder, Witnesses()), now=datetime.now(UTC))
        found = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return found

    peak(folders[:5])
    few, many = peak(folders[5:10]), peak(folders[10:])
    with capsys.disabled():
        print(f"\npeak of adding 5 and 40 records: {few} and {many} bytes")  # noqa: T201 - a result
    assert many < 1.2 * few + 100_000


def by_hand(root: Path) -> None:
    """Index a made site, check it with one worker and with two, and print the figures."""
    import resource  # noqa: PLC0415 - only by hand

    with tempfile.TemporaryDirectory() as place:
        url = f"sqlite:///{place}/archive.sqlite"
        options = Rebuild(
            roots=[root],
            archive=url,
            keys=None,
            register=None,
            authority=None,
            partial=False,
            unit=None,
        )
        print(f"rebuild: {seconds(lambda: rebuild(options)):.1f} s")  # noqa: T201 - a result
        with closing(connect(url)) as archive:
            for workers in (1, 2, 1, 2):
                run = begin_run(archive, "check")
                arrived = []
                for done in run_over(archive, run, check_record, workers=workers, scheduler=None):
                    assert done.found.answer == "intact", done
                    arrived.append(time.perf_counter())
                rate = (len(arrived) - 100) / (arrived[-1] - arrived[100])
                print(f"{workers} workers: {rate:.1f} records/s, {len(arrived)} records")  # noqa: T201 - a result
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak of this process: {peak:.0f} MiB")  # noqa: T201 - a result


if __name__ == "__main__":
    by_hand(Path(sys.argv[1]))
