"""What reading and proving a record costs per entry, from a thousand entries to a million."""

import json
import time
import tracemalloc
from collections import deque
from collections.abc import Iterator
from hashlib import sha256
from itertools import islice
from pathlib import Path

import pytest

from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.journal.head_code import head_code, watch
from assistant.ports import Instant
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder

pytestmark = pytest.mark.slow


def typical(previous: Entry | None, by: str) -> Entry:
    """Return an entry of the size and shape that a session writes."""
    return seal(
        previous,
        at=Instant("2026-03-04T05:06:07.891011Z", 123_456_789_012_345),
        boot="5f2c9a04",
        by=by,
        event={"name": "heard", "text": "bottom port open", "clip": "ab" * 32, "fit": "0.87"},
        outcome={
            "state": "fill",
            "say": ["Bottom port open. Wait for the signal."],
            "timer": "5.0",
        },
    )


def many(count: int, by: str) -> Iterator[bytes]:
    """Yield the lines of a sound chain, made by filling in one line: sealing each takes too long.

    The canonical order of the fields puts the hash behind the event and number and link near the
    end, so the four pieces around them are cut from one real line.
    """
    second = typical(typical(None, by), by)
    whole = line(second).decode().rstrip("\n")
    before, rest = whole.split(f'"hash":"{second.hash}",')
    after, rest = rest.split(f'"prev":"{second.prev}","seq":2,')
    prev = "0" * 64
    for seq in range(1, count + 1):
        tail = f'{after}"prev":"{prev}","seq":{seq},{rest}'
        prev = sha256(f"{before}{tail}".encode()).hexdigest()
        yield f'{before}"hash":"{prev}",{tail}'.encode()


def show(capsys: pytest.CaptureFixture[str], text: str) -> None:
    """Print past pytest's capture."""
    with capsys.disabled():
        print(f"\n{text}")  # noqa: T201 - a benchmark's figures are its result


def exhaust(entries: Iterator[Entry]) -> Entry:
    """Return the last entry."""
    return deque(entries, maxlen=1)[0]


def test_cost_per_entry_is_constant(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """From the file to proved entries, head code included: at most 8 x parsing and hashing."""
    RecordFolder.create(tmp_path, b"", b"").close()
    record = tmp_path / "record.jsonl"
    with record.open("wb") as file:
        file.writelines(raw + b"\n" for raw in many(1_000_000, "J\u00fcrgen Beispiel"))
    costs = {}
    for count in (1_000, 10_000, 100_000, 1_000_000):
        view = RecordReader(tmp_path)
        hash_ = exhaust(read(islice(view.lines(), count))).hash
        code = head_code(count, hash_).text
        start = time.process_time()
        last = exhaust(watch(code, read(islice(view.lines(), count))))
        costs[count] = (time.process_time() - start) / count * 1e6
        assert last.seq == count
    size = record.stat().st_size / 1_000_000
    start = time.process_time()
    for raw in islice(RecordReader(tmp_path).lines(), 100_000):
        json.loads(raw)
        sha256(raw).hexdigest()
    bare = (time.process_time() - start) / 100_000 * 1e6
    record.unlink()
    figures = ", ".join(f"{count:,}: {cost:.1f} us" for count, cost in costs.items())
    figures += f"; parsing and hashing alone: {bare:.1f} us"
    show(capsys, f"verify per entry of {size:.0f} bytes: {figures}")
    assert costs[1_000_000] < 8 * bare
    assert costs[1_000_000] < 2 * costs[10_000]


def test_memory_is_flat(capsys: pytest.CaptureFixture[str]) -> None:
    """The peak while reading does not grow with the record."""
    peaks = []
    for count in (1_000, 20_000):
        tracemalloc.start()
        exhaust(read(many(count, "Ada Muster")))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    show(capsys, f"peak of reading 1,000 and 20,000 entries: {peaks[0]} and {peaks[1]} bytes")
    assert peaks[1] < 1.5 * peaks[0] + 50_000


def test_sealing_is_cheap_beside_one_spoken_word(capsys: pytest.CaptureFixture[str]) -> None:
    """Seal and spell one entry, in processor time: far below the time of one sync."""
    entry = None
    start = time.process_time()
    for _ in range(2_000):
        entry = typical(entry, "Ada Muster")
        line(entry)
    cost = (time.process_time() - start) / 2_000 * 1e6
    show(capsys, f"seal and spell one entry: {cost:.0f} us")
    assert cost < 2_000
