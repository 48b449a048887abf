"""A record of a hundred entries, cut at every byte and damaged in every simple way."""

import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.errors import RecordBroken
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.journal.head_code import head_code, watch
from assistant.ports import Instant
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder
from tests.faults.disks import QuickDisk

pytestmark = pytest.mark.slow


def follow(previous: Entry | None, number: int) -> Entry:
    """Return the entry after `previous`, invented, with text in two scripts."""
    return seal(
        previous,
        at=Instant(f"2026-03-04T05:06:07.{number:06d}Z", 10**16 + number),
        boot="b1",
        by="J\u00fcrgen Beispiel",
        event={"name": "heard", "text": "vial seven full", "n": number},
        outcome={"state": "discharge", "say": ["\u039f\u03ba. Vial seven is full."]},
    )


def make(count: int) -> list[Entry]:
    """Return a chain of invented entries."""
    entries: list[Entry] = []
    for number in range(count):
        entries.append(follow(entries[-1] if entries else None, number))
    return entries


def write(folder: Path, data: bytes) -> None:
    """Put these bytes where the record's lines are.

    The file is written over, not anew: some file systems wait for the medium when a file that was
    emptied is closed, and here that happens tens of thousands of times.
    """
    with (folder / "record.jsonl").open("r+b") as file:
        file.write(data)
        file.truncate()


def caught(folder: Path, data: bytes, code: str | None = None) -> bool:
    """Tell whether reading a record with these bytes refuses it."""
    write(folder, data)
    entries = read(RecordReader(folder).lines())
    try:
        for _ in watch(code, entries) if code else entries:
            pass
    except RecordBroken:
        return True
    return False


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a record folder without entries."""
    RecordFolder.create(tmp_path / "record", b"plan", b"grammar").close()
    return tmp_path / "record"


def test_cut_at_every_byte_every_whole_line_survives(folder: Path) -> None:
    """At every byte of thirty entries: whole lines are there, the rest is kept, it goes on."""
    entries = make(30)
    lines = [line(entry) for entry in entries]
    whole = b"".join(lines)
    disk = QuickDisk()
    ends = [sum(map(len, lines[:count])) for count in range(len(lines) + 1)]
    count = 0
    for cut in range(len(whole) + 1):
        while count < len(entries) and ends[count + 1] <= cut:
            count += 1
        write(folder, whole[:cut])
        with RecordFolder.open(folder, disk) as record:
            assert list(record.lines()) == [raw[:-1] for raw in lines[:count]]
            torn = whole[ends[count] : cut]
            assert (record.torn.data if record.torn else b"") == torn
            if record.torn:
                side = folder / "aside" / f"{record.torn.sha256}.torn"
                assert side.read_bytes() == torn
                side.unlink()
            upcoming = follow(entries[count - 1] if count else None, count)
            record.append(line(upcoming))
            if cut in (ends[count], ends[count] + 1):  # every count, with and without a torn tail
                assert list(read(record.lines())) == [*entries[:count], upcoming]
        assert (folder / "record.jsonl").read_bytes() == whole[: ends[count]] + line(upcoming)
    assert count == 30


def test_every_changed_byte_of_a_file_is_caught(folder: Path) -> None:
    """One change at each byte of a record of twelve entries on disk, the newlines included."""
    whole = b"".join(line(entry) for entry in make(12))
    assert not caught(folder, whole)
    chance = random.Random(20260304)  # noqa: S311 - a repeatable choice, no secret
    for place, byte in enumerate(whole):
        other = bytes([byte ^ chance.randrange(1, 256)])
        assert caught(folder, whole[:place] + other + whole[place + 1 :]), place


def test_every_changed_byte_of_a_long_record_is_caught() -> None:
    """Three changes at each byte of a hundred entries; reading starts at the damaged entry."""
    entries = make(100)
    lines = [line(entry) for entry in entries]
    for number in range(99):
        after = entries[number - 1] if number else None
        pair = lines[number] + lines[number + 1]
        assert list(read(pair[:-1].split(b"\n"), after)) == entries[number : number + 2]
        for place in range(len(lines[number])):
            for change in (1, 32, 128):
                bad = pair[:place] + bytes([pair[place] ^ change]) + pair[place + 1 :]
                with pytest.raises(RecordBroken, match=rf"^Entry {number + 1} "):
                    next(read(bad.split(b"\n"), after))


def test_every_change_of_every_byte_is_caught() -> None:
    """All 255 other values at each byte of the second of three entries."""
    first, second, third = (line(entry)[:-1] for entry in make(3))
    assert len(list(read([first, second, third]))) == 3
    for place in range(len(second)):
        for value in range(256):
            if value == second[place]:
                continue
            bad = second[:place] + bytes([value]) + second[place + 1 :]
            entries = read([first, bad, third])
            next(entries)
            with pytest.raises(RecordBroken, match=r"^Entry 2 "):
                next(entries)


def rearranged(lines: list[bytes]) -> Iterator[list[bytes]]:
    """Yield every deletion but that of the end, every swap, every copy of a line elsewhere."""
    for place in range(len(lines) - 1):
        yield lines[:place] + lines[place + 1 :]
    for one in range(len(lines)):
        for two in range(one + 1, len(lines)):
            swapped = list(lines)
            swapped[one], swapped[two] = lines[two], lines[one]
            yield swapped
        for place in range(len(lines) + 1):
            yield [*lines[:place], lines[one], *lines[place:]]


def test_every_deletion_swap_and_copy_of_a_line_is_caught(folder: Path) -> None:
    """All of them on forty entries."""
    lines = [line(entry) for entry in make(40)]
    tried = 0
    for damaged in rearranged(lines):
        tried += 1
        assert caught(folder, b"".join(damaged))
    assert tried == 39 + 780 + 40 * 41
    assert not caught(folder, b"".join(lines))


def test_every_truncation_is_caught_with_the_head_code(folder: Path) -> None:
    """Cut after any line the chain alone holds, the code does not; inside a line both fail."""
    entries = make(100)
    lines = [line(entry) for entry in entries]
    code = head_code(100, entries[-1].hash).text
    for count in range(100):
        assert not caught(folder, b"".join(lines[:count]))
        assert caught(folder, b"".join(lines[:count]), code)
        assert caught(folder, b"".join(lines[:count]) + lines[count][:-1])
    assert not caught(folder, b"".join(lines), code)
