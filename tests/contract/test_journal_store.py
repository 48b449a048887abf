"""Every journal store keeps the same promises: memory and record folder alike."""

from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.ports import JournalStore
from assistant.storage.record_writer import RecordFolder
from tests.memory_journal import MemoryJournal

MAKERS: dict[str, Callable[[Path], JournalStore]] = {
    "memory": lambda _: MemoryJournal(),
    "folder": lambda path: RecordFolder.create(path / "record", b"plan", b"grammar"),
}


@pytest.fixture(params=sorted(MAKERS))
def store(request: pytest.FixtureRequest, tmp_path: Path) -> JournalStore:
    """Return a fresh store of each kind in turn."""
    return MAKERS[request.param](tmp_path)


def test_new_store_is_empty(store: JournalStore) -> None:
    """Nothing is there before something was appended."""
    assert list(store.lines()) == []


def test_lines_come_back_in_order_without_their_newline(store: JournalStore) -> None:
    """What went in comes out, byte for byte, as often as one asks."""
    lines = [b"one\n", b"two\n", b"\n", "drei \u00fc\n".encode(), b"one\n"]
    for line in lines:
        store.append(line)
    assert list(store.lines()) == [line[:-1] for line in lines]
    assert list(store.lines()) == [line[:-1] for line in lines]


def test_each_line_can_be_read_as_soon_as_it_is_appended(store: JournalStore) -> None:
    """A reader between two appends sees exactly what was appended."""
    for number in range(1, 6):
        store.append(b"%d\n" % number)
        assert len(list(store.lines())) == number


@pytest.mark.parametrize(
    "bad", [b"", b"no newline", b"two\nlines\n", b"\n\n", b"x" * (1 << 20) + b"\n"]
)
def test_anything_but_one_line_is_refused_and_leaves_nothing(
    store: JournalStore, bad: bytes
) -> None:
    """A programmer's slip does not reach the store."""
    store.append(b"good\n")
    with pytest.raises(ValueError, match="one line"):
        store.append(bad)
    assert list(store.lines()) == [b"good"]
    store.append(b"better\n")
    assert list(store.lines()) == [b"good", b"better"]


def test_longest_line_is_kept(store: JournalStore) -> None:
    """The limit itself is allowed."""
    line = b"x" * ((1 << 20) - 1) + b"\n"
    store.append(line)
    assert list(store.lines()) == [line[:-1]]
