"""A full session's record, damaged in every simple way: each damage is caught, its entry named.

What decides is what `verify` runs. For single bytes it is asked from the damaged entry on: the
entries before it are the same bytes as in the sound record, and their proof does not look ahead.
"""

import random
import re
from collections.abc import Iterator

import pytest

from assistant.errors import AssistantError, RecordBroken
from assistant.journal.chain import read
from assistant.journal.head_code import head_code
from assistant.record import OpenRecord, open_record, prove
from tests.faults.driver import FULL, broken_off, whole

LINES = whole(FULL)
ENTRIES = tuple(read(LINES))
CODE = head_code(len(ENTRIES), ENTRIES[-1].hash).text


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> OpenRecord:
    """A record folder with the whole session in it, opened as `verify` opens it."""
    return open_record(broken_off(tmp_path_factory.mktemp("damage") / "record", FULL, LINES))


def fault(record: OpenRecord, lines: list[bytes], code: str = "") -> str:
    """Return why `verify` refuses the record with these lines in it, "" when it does not.

    The file is written over, not anew: some file systems wait for the medium when a file that was
    emptied is closed.
    """
    with (record.view.path / "record.jsonl").open("r+b") as file:
        file.writelines(lines)
        file.truncate()
    try:
        prove(record, code)
    except RecordBroken as broken:
        return str(broken)
    return ""


def test_the_sound_record_is_proved(record: OpenRecord) -> None:
    """With its code and without; thirty samples' worth of entries."""
    assert len(LINES) > 250
    assert fault(record, list(LINES)) == ""
    assert fault(record, list(LINES), CODE) == ""


@pytest.mark.slow
def test_every_changed_byte_is_caught_and_its_entry_named() -> None:
    """Every byte of the file: its three commonest slips and one value by chance."""
    chance = random.Random(151)  # noqa: S311 - repeatable values, no secret
    tried = 0
    for number, line in enumerate(LINES):
        after = ENTRIES[number - 1] if number else None
        following = LINES[number + 1] if number + 1 < len(LINES) else b""
        assert next(read(split(line + following), after)).seq == number + 1
        for place, byte in enumerate(line):
            for change in {1, 32, 128, chance.randrange(1, 256)}:
                bad = line[:place] + bytes([byte ^ change]) + line[place + 1 :] + following
                tried += 1
                with pytest.raises(RecordBroken, match=rf"^Entry {number + 1} "):
                    next(read(split(bad), after))
    assert tried > 3 * sum(map(len, LINES))


def split(data: bytes) -> list[bytes]:
    """Cut a file into lines as its reader does; a last part without its newline is refused."""
    return [part + b"\n" for part in data.split(b"\n") if part]


@pytest.mark.slow
def test_a_changed_byte_of_any_line_in_the_file_is_caught(record: OpenRecord) -> None:
    """Two bytes of each line, one of them its newline, through the whole of `verify`."""
    chance = random.Random(152)  # noqa: S311 - as above
    for number, line in enumerate(LINES):
        for place in (chance.randrange(len(line) - 1), len(line) - 1):
            value = (line[place] + chance.randrange(1, 256)) % 256
            bad = line[:place] + bytes([value]) + line[place + 1 :]
            found = fault(record, [*LINES[:number], bad, *LINES[number + 1 :]])
            last = number + 1 == len(LINES)
            named = found.startswith(f"Entry {number + 1} ")
            assert named or (last and "middle of a line" in found)


def rearranged() -> Iterator[tuple[int, list[bytes]]]:
    """Yield the number of the first bad entry, and the lines: deleted, exchanged, doubled."""
    count = len(LINES)
    for n in range(count - 1):
        yield n + 1, [*LINES[:n], *LINES[n + 1 :]]
        yield n + 1, [*LINES[:n], LINES[n + 1], LINES[n], *LINES[n + 2 :]]
    for n in range(count):
        yield n + 2, [*LINES[: n + 1], *LINES[n:]]
        yield 1 if n else 2, [LINES[n], *LINES]
        if n % 25 == 0:
            yield count + 1, [*LINES, LINES[n]]


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_every_deletion_exchange_and_copy_of_a_line_is_caught(record: OpenRecord) -> None:
    """All deletions but that of the end, all swaps of neighbours, each line doubled in two ways."""
    tried = 0
    for bad, lines in rearranged():
        tried += 1
        assert fault(record, lines).startswith(f"Entry {bad} ")
    assert tried > 4 * len(LINES)


@pytest.mark.slow
def test_every_truncation_is_caught_by_the_head_code(record: OpenRecord) -> None:
    """After any line the chain alone holds; with the code the missing end shows."""
    for count in range(1, len(LINES)):
        lines = list(LINES[:count])
        assert f"ends at entry {count}, but the head code" in fault(record, lines, CODE)
        if count % 10 == 0:
            assert fault(record, lines) == ""
    assert "ends at entry 0" in fault(record, [], CODE)


@pytest.mark.slow
@pytest.mark.parametrize(("name", "stride"), [("plan.toml", 11), ("grammar.toml", 97)])
def test_changed_bytes_of_plan_and_grammar_are_refused(
    record: OpenRecord, name: str, stride: int
) -> None:
    """The files beside the record are pinned by its first entry; places all over the file."""
    fault(record, list(LINES[:1]))
    file = record.view.path / name
    whole_file = file.read_bytes()
    try:
        for place in range(0, len(whole_file), stride):
            other = bytes([whole_file[place] ^ (1, 4, 32)[place % 3]])
            file.write_bytes(whole_file[:place] + other + whole_file[place + 1 :])
            with pytest.raises(AssistantError, match=re.escape(name)):
                prove(open_record(record.view.path))
    finally:
        file.write_bytes(whole_file)
    assert fault(record, list(LINES)) == ""
