"""A power cut at every byte of a full session's record, and the session goes on.

Thirty samples, as a technician who types leaves them. At every byte the folder is opened as a new
start of the program opens it; at every line, and inside every line, a live session resumes as well.
"""

import random
from collections.abc import Iterator
from dataclasses import replace
from itertools import accumulate
from pathlib import Path

import pytest

from assistant.conformance import retell
from assistant.errors import RecordError
from assistant.journal.chain import read
from assistant.journal.entry import Entry
from assistant.procedure.enums import END, State
from assistant.procedure.events import Resumed
from assistant.procedure.model import Session, begin
from assistant.record import open_record, prove
from assistant.storage.record_writer import RecordFolder
from tests.faults.disks import QuickDisk
from tests.faults.driver import FULL, Technician, begin_in, broken_off, english, plan_of, whole

LINES = whole(FULL)
ENDS = tuple(accumulate(map(len, LINES), initial=0))
"""Length of the file after so many lines."""


def states() -> tuple[Session, ...]:
    """Return the session after so many lines; the first one before any."""
    told = retell((line[:-1] for line in LINES), plan_of(FULL), english())
    return (begin(plan_of(FULL)), *(one.outcome.session for one in told))


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_cut_at_every_byte_every_whole_entry_survives(tmp_path: Path) -> None:
    """Each byte: the whole lines stand, the rest is set aside, and the next entry fits on."""
    whole_file, bare = b"".join(LINES), [line[:-1] for line in LINES]
    begin_in(tmp_path, FULL).close()
    record, disk, count = tmp_path / "record.jsonl", QuickDisk(), 0
    for cut in range(len(whole_file) + 1):
        count += count < len(LINES) and ENDS[count + 1] == cut
        with record.open("r+b") as file:
            file.write(whole_file[:cut])
            file.truncate()
        torn = whole_file[ENDS[count] : cut]
        with RecordFolder.open(tmp_path, disk) as folder:
            assert (folder.torn.data if folder.torn else b"") == torn
            assert [tail.data for tail in folder.asides()] == ([torn] if torn else [])
            if cut % 7 == 0 or not torn:
                assert list(folder.lines()) == bare[:count]
        assert record.read_bytes() == whole_file[: ENDS[count]]
        if folder.torn:
            (tmp_path / "aside" / f"{folder.torn.sha256}.torn").unlink()
    assert count == len(LINES)


def cuts() -> Iterator[tuple[int, bytes]]:
    """Yield how many lines are whole and what stands behind them: at and inside every line."""
    chance = random.Random(30)  # noqa: S311 - repeatable places, no secret
    for count in range(len(LINES) + 1):
        yield count, b""
        if count < len(LINES):
            yield count, LINES[count][: chance.randrange(1, len(LINES[count]))]


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_a_live_session_resumes_in_the_exact_state(tmp_path: Path) -> None:
    """It proves what is there, notes the torn tail, asks how things are, and stands where it did.

    After the answer everything is as it was but the number of the running timer.
    """
    after, resumed = states(), 0
    for number, (count, torn) in enumerate(cuts()):
        before = after[count]
        path = broken_off(tmp_path / str(number), FULL, LINES[:count], torn)
        with RecordFolder.open(path, QuickDisk()) as folder:
            if before.state in END:
                with pytest.raises(RecordError, match="is closed; begin one in a new folder"):
                    Technician().work(folder)
                continue
            session = Technician().work(folder, answers=1 if count else 0)
            stored = list(folder.lines())
        assert stored[:count] == [line[:-1] for line in LINES[:count]]
        assert session.deviations == before.deviations
        if count:
            same = replace(session.progress, timer=before.progress.timer)
            assert same == before.progress
            last = next(read(LINES[count - 1 : count], after=_entry(count - 1)))
            added = list(read(stored[count:], after=last))
            event = added[0].event
            assert event["type"] == Resumed(software="", engine="", microphone="", speaker="").type
            assert event.get("torn_bytes", 0) == len(torn)
        else:
            assert session.step is State.BRIEFING
        resumed += 1
    assert resumed == 2 * len(LINES)


def _entry(count: int) -> Entry | None:
    """Return entry `count`, without proving those before it once more."""
    return Entry.model_validate_json(LINES[count - 1]) if count else None


@pytest.mark.slow
def test_a_cut_session_is_worked_to_its_end(tmp_path: Path) -> None:
    """At every fifteenth line, cut inside the next one: all thirty samples, and proved."""
    for count in range(0, len(LINES) - 1, 15):
        path = broken_off(tmp_path / str(count), FULL, LINES[:count], LINES[count][:100])
        with RecordFolder.open(path, QuickDisk()) as folder:
            session = Technician(spoken_every=50).work(folder)
            assert session.state is State.CLOSED
            assert {sample.status.value for sample in session.progress.samples} == {"full"}
            assert list(folder.lines())[:count] == [line[:-1] for line in LINES[:count]]
        proof = prove(open_record(path))
        assert proof.torn == 1
