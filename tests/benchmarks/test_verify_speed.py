"""What proving a whole record costs per entry and in memory, however long the record is.

A long record is a session in which the technician asks again and again before he goes on: where are
we, say that again, what can I say; noises that are no phrase, an unclear one, lost sound. In the
test suite 1 000 entries are compared with 100 000. The longest ones are measured by hand:

    nice python tests/benchmarks/test_verify_speed.py 1000 10000 100000 1000000
"""

import sys
import tempfile
import time
import tracemalloc
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache
from hashlib import sha256
from itertools import cycle, islice
from pathlib import Path

import pytest

from assistant.clock import ManualClock
from assistant.conformance import outcome_on_record, retell
from assistant.grammar.language import parse_grammar
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.plan import parse_plan
from assistant.ports import Instant
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import AudioLost, Event, Heard, Meaning, dump
from assistant.procedure.machine import step
from assistant.procedure.model import Session
from assistant.record import open_record, prove
from assistant.storage import bundled_files
from assistant.storage.memory import MemoryJournal
from assistant.storage.record_writer import RecordFolder
from assistant.testing import quick_record, typed

pytestmark = pytest.mark.slow

PLAN = b"[[locations]]".join(bundled_files.read_plan("double-cone").split(b"[[locations]]")[:2])
"""One location only, so that most of even a short record is what repeats."""
GRAMMAR = bundled_files.read_grammar("en")
ENGLISH = parse_grammar(GRAMMAR, "en")
SCORES = {"ahead": "3.25", "fit": "-41.7", "snr-db": "17.9", "speech-ms": "840"}


@cache
def genuine() -> tuple[bytes, ...]:
    """Return the lines of a whole session."""
    journal = MemoryJournal()
    quick_record(journal, ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC)), PLAN, GRAMMAR)
    return tuple(journal.lines())


def asides() -> list[Event]:
    """Return what happens over and over and changes nothing."""
    questions = (Intent.WHERE_ARE_WE, Intent.SAY_AGAIN, Intent.WHAT_CAN_I_SAY)
    asked = [typed(Meaning(intent=intent), ENGLISH) for intent in questions]
    noise = Heard(
        source="voice",
        text="",
        decision="refuse",
        reason="no-phrase",
        engine="an engine of some length, with its model",
        scores=SCORES,
    )
    unclear = noise.model_copy(update={"text": "dies are seated", "reason": "unclear"})
    return [*asked, noise, unclear, AudioLost(milliseconds=120)]


def long_record(count: int) -> Iterator[bytes]:
    """Yield the lines of a sound record of `count` entries, newlines included.

    Sealing each would take longer than proving it: the entries that repeat differ in their number,
    link and hash only, and these are put into one line of each kind. The canonical order of the
    fields has the hash behind the event, link and number near the end.
    """
    told = list(retell(genuine(), parse_plan(PLAN, "plan"), ENGLISH))
    here = next(n for n, one in enumerate(told) if one.outcome.session.state is State.SEATING)
    yield from (line(one.entry) for one in told[: here + 1])
    last = told[here].entry
    kinds = [_pieces(last, told[here].outcome.session, event) for event in asides()]
    numbers = range(last.seq + 1, count - len(told) + last.seq + 1)
    digest = last.hash
    for seq, (before, middle, after) in zip(numbers, cycle(kinds), strict=False):
        tail = f'{middle}"prev":"{digest}","seq":{seq},{after}'
        digest = sha256(f"{before}{tail}".encode()).hexdigest()
        yield f'{before}"hash":"{digest}",{tail}\n'.encode()
    last = last.model_copy(update={"seq": numbers.stop - 1, "hash": digest})
    for one in told[here + 1 :]:
        entry = one.entry
        last = _follow(last, entry.by, dict(entry.event), dict(entry.outcome), entry)
        yield line(last)


def _follow(last: Entry, by: str, event: dict, outcome: dict, when: Entry) -> Entry:  # type: ignore[type-arg]  # JSON
    at = Instant(when.utc, int(when.mono))
    return seal(last, at=at, boot=when.boot, by=by, event=event, outcome=outcome)


def _pieces(last: Entry, session: Session, event: Event) -> tuple[str, str, str]:
    """Return the text of an entry before its hash, between hash and link, and behind the number."""
    outcome = step(session, event)
    assert outcome.session == session
    entry = _follow(last, last.by, dump(event), outcome_on_record(outcome, ENGLISH), last)
    before, rest = line(entry).decode().rstrip("\n").split(f'"hash":"{entry.hash}",')
    middle, after = rest.split(f'"prev":"{entry.prev}","seq":{entry.seq},')
    return before, middle, after


def folder_with(path: Path, count: int) -> Path:
    """Return a record folder with so many entries."""
    RecordFolder.create(path, PLAN, GRAMMAR).close()
    with (path / "record.jsonl").open("wb") as file:
        file.writelines(long_record(count))
    return path


def cost(path: Path, count: int) -> float:
    """Return processor time per entry of proving a record, in microseconds."""
    record = open_record(path)
    start = time.process_time()
    proof = prove(record)
    spent = time.process_time() - start
    assert proof.last is not None
    assert proof.last.entry.seq == count
    assert proof.last.outcome.session.state is State.CLOSED
    return spent / count * 1e6


def test_proving_costs_the_same_per_entry(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """1 000 entries and 100 000: a long record costs no more per entry than a short one."""
    short, long = (folder_with(tmp_path / str(n), n) for n in (1_000, 100_000))
    cost(short, 1_000)
    brief = min(cost(short, 1_000) for _ in range(5))
    whole = cost(long, 100_000)
    with capsys.disabled():
        print(f"\nverify per entry: 1,000: {brief:.1f} us, 100,000: {whole:.1f} us")  # noqa: T201 - a result
    assert whole < 1.5 * brief


def test_proving_a_long_record_takes_no_more_memory(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The peak of 20 000 entries is that of 1 000."""
    peaks = []
    cost(folder_with(tmp_path / "first", 1_000), 1_000)
    for count in (1_000, 20_000):
        record = open_record(folder_with(tmp_path / str(count), count))
        tracemalloc.start()
        prove(record)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    with capsys.disabled():
        print(f"\npeak of proving 1,000 and 20,000 entries: {peaks[0]} and {peaks[1]} bytes")  # noqa: T201 - a result
    assert peaks[1] < 1.2 * peaks[0] + 50_000


def test_the_long_record_is_a_chain() -> None:
    """What is put together from pieces is what sealing gives."""
    entries = list(read(raw[:-1] for raw in long_record(400)))
    assert len(entries) == 400
    assert {str(entry.event["type"]) for entry in islice(entries, 60)} == {
        "opened",
        "heard",
        "audio-lost",
    }


if __name__ == "__main__":
    import resource

    for wanted in map(int, sys.argv[1:]):
        with tempfile.TemporaryDirectory() as place:
            each = cost(folder_with(Path(place) / "record", wanted), wanted)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        figures = f"{each:.1f} us each, {each * wanted / 1e6:.1f} s, {peak:.0f} MiB at most"
        print(f"{wanted:>9,} entries: {figures}")  # noqa: T201 - as above
