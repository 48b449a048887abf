"""Every system call of the record folder fails once, at every place, in every way it can.

What was acknowledged (the call returned) stays; what was not leaves nothing behind.
"""

import errno
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.errors import RecordError
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.journal.signing import sign
from assistant.ports import Instant
from assistant.storage.atomic import replace_file
from assistant.storage.filesystem import Disk
from assistant.storage.keys import load_private, load_public, make_keys
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder
from assistant.storage.signatures import add_signature, load_signatures
from assistant.storage.torn_tail import find_tail
from tests.faults.disks import FailingDisk, ShortDisk, from_then_on, never, only

PCM = b"\x01\x00" * 400
CAUSES = {
    errno.ENOSPC: "disk is full",
    errno.EROFS: "mounted read-only",
    errno.EIO: "input/output error",
    errno.EACCES: "permission is denied",
    errno.ENODEV: "disk is gone",
}


def entries(count: int) -> list[Entry]:
    """Return a chain of invented entries."""
    made: list[Entry] = []
    for number in range(count):
        at = Instant("2026-03-04T05:06:07.000000Z", number)
        event: dict[str, Any] = {"name": "heard", "n": number}
        previous = made[-1] if made else None
        made.append(seal(previous, at=at, boot="b", by="", event=event, outcome={}))
    return made


LINES = [line(entry) for entry in entries(6)]


def session(path: Path, disk: Disk, acknowledged: list[bytes], clips: list[str]) -> None:
    """Begin, append with clips, crash in mid-line, continue, append: everything a session does."""
    with RecordFolder.create(path, b"plan", b"grammar", disk) as folder:
        for number, raw in enumerate(LINES[:4]):
            if number % 2:
                clips.append(folder.save_clip(PCM + bytes([number, 0])))
            folder.append(raw)
            acknowledged.append(raw)
    with (path / "record.jsonl").open("ab") as file:
        file.write(LINES[4][:20])
    with RecordFolder.open(path, disk) as folder:
        for raw in LINES[4:]:
            folder.append(raw)
            acknowledged.append(raw)


def count_calls(work: Callable[[Disk], None]) -> dict[str, int]:
    """Return how often each call is made when nothing fails."""
    disk = FailingDisk(never)
    work(disk)
    return disk.counts


def strays(path: Path) -> list[Path]:
    """Return the temporary files under a folder."""
    return list(path.rglob("*.tmp"))


def every_failure(path: Path) -> Iterator[tuple[str, int]]:
    """Yield every call of a session by name and number."""
    counts = count_calls(lambda disk: session(path / "sound", disk, [], []))
    assert sum(counts.values()) > 60
    for name, count in counts.items():
        yield from ((name, number) for number in range(1, count + 1))


@pytest.mark.parametrize("plan", [only, from_then_on])
def test_a_session_stopped_by_any_failing_call_loses_nothing(
    tmp_path: Path, plan: Callable[[str, int], Callable[[str, int], bool]]
) -> None:
    """The session ends with one sentence; what it had acknowledged is there when the disk is."""
    calls = list(every_failure(tmp_path))
    stopped = 0
    for name, number in calls:
        path = tmp_path / f"{name}-{number}"
        acknowledged: list[bytes] = []
        clips: list[str] = []
        try:
            session(path, FailingDisk(plan(name, number)), acknowledged, clips)
        except RecordError as error:
            stopped += 1
            assert "input/output error" in str(error)  # noqa: PT017 - it need not be raised
        assert strays(tmp_path) == []
        if not path.exists():
            assert acknowledged == []
            continue
        with RecordFolder.open(path) as folder:
            stored = list(folder.lines())
            assert stored[: len(acknowledged)] == [raw[:-1] for raw in acknowledged]
            assert len(list(read(stored))) - len(acknowledged) in (0, 1)
            assert [len(folder.clip(clip)) for clip in clips] == [802] * len(clips)
            assert (folder.plan, folder.grammar) == (b"plan", b"grammar")
    assert stopped == len(calls)


def test_a_beginning_that_fails_leaves_no_trace(tmp_path: Path) -> None:
    """The folder is not there afterwards, or as empty as it was; then it can be begun."""
    counts = count_calls(lambda disk: RecordFolder.create(tmp_path / "a", b"p", b"g", disk).close())
    for name, count in counts.items():
        for number in range(1, count + 1):
            for path in (tmp_path / "b" / "c", tmp_path):
                before = sorted(tmp_path.rglob("*"))
                disk = FailingDisk(only(name, number), errno.ENOSPC)
                try:
                    RecordFolder.create(path, b"p", b"g", disk).close()
                except RecordError as error:
                    assert "disk is full" in str(error)  # noqa: PT017 - it need not be raised
                    assert sorted(tmp_path.rglob("*")) == before
                else:
                    for made in set(tmp_path.rglob("*")) - set(before):
                        if made.is_file():
                            made.unlink()
                    for made in sorted(set(tmp_path.rglob("*")) - set(before), reverse=True):
                        made.rmdir()


@pytest.mark.parametrize("error", CAUSES)
@pytest.mark.parametrize("short", [False, True])
def test_appending_goes_on_when_the_disk_does(tmp_path: Path, error: int, short: bool) -> None:  # noqa: FBT001 - a table
    """Every call of every append fails in turn; the retry stores the line once, whole."""
    kind = ShortDisk if short else FailingDisk
    for name in ("write",) if short else ("open", "write", "sync", "truncate", "read_at"):
        for number in range(1, 25):
            path = tmp_path / f"{name}-{number}"
            with RecordFolder.create(path, b"", b"", FailingDisk(never)) as folder:
                disk = kind(lambda *_: False, error)
                folder._appender._disk = disk  # noqa: SLF001 - only the record's own calls fail
                refused = 0
                for place, raw in enumerate(LINES):
                    disk._fails = only(name, number)  # noqa: SLF001 - the class is ours
                    for _ in range(3):
                        try:
                            folder.append(raw)
                            break
                        except RecordError as told:
                            refused += 1
                            assert "Cannot store an entry in" in str(told)  # noqa: PT017 - counted
                            assert short or CAUSES[error] in str(told)  # noqa: PT017 - as above
                            assert list(folder.lines()) == [x[:-1] for x in LINES[:place]]
                            assert (path / "record.jsonl").read_bytes() == b"".join(LINES[:place])
                assert refused == (number <= disk.counts[name])
                assert list(folder.lines()) == [raw[:-1] for raw in LINES]


@pytest.mark.parametrize("number", range(1, 7))
def test_a_disk_that_cannot_even_cut_back_is_tidied_later(tmp_path: Path, number: int) -> None:
    """Write and cut fail together; the half line is gone before the next one is written."""
    broken = FailingDisk(lambda name, _: name in {"write", "truncate"}, errno.EIO)
    with RecordFolder.create(tmp_path, b"", b"") as folder:
        for raw in LINES[: number - 1]:
            folder.append(raw)
        sound, folder._appender._disk = folder._appender._disk, broken  # noqa: SLF001 - see above
        for _ in range(3):
            with pytest.raises(RecordError, match="input/output"):
                folder.append(LINES[number - 1])
            assert list(folder.lines()) == [raw[:-1] for raw in LINES[: number - 1]]
        folder._appender._disk = sound  # noqa: SLF001 - see above
        for raw in LINES[number - 1 :]:
            folder.append(raw)
    assert (tmp_path / "record.jsonl").read_bytes() == b"".join(LINES)


def test_a_killed_program_with_an_untidy_file_resumes(tmp_path: Path) -> None:
    """The half line that could not be cut back is set aside by the next start."""
    broken = FailingDisk(lambda name, _: name in {"write", "truncate"}, errno.EIO)
    with RecordFolder.create(tmp_path, b"", b"") as folder:
        folder.append(LINES[0])
        folder._appender._disk = broken  # noqa: SLF001 - only the record's own calls fail
        with pytest.raises(RecordError):
            folder.append(LINES[1])
    with RecordFolder.open(tmp_path) as folder:
        assert folder.torn is not None
        assert LINES[1].startswith(folder.torn.data)
        folder.append(LINES[1])
        assert len(list(read(folder.lines()))) == 2


def test_whole_files_are_old_or_new(tmp_path: Path) -> None:
    """Every call of a replacement fails in turn, a short write is finished, no debris stays."""
    path = tmp_path / "file"
    counts = count_calls(lambda disk: replace_file(path, b"old", disk))
    for name, count in counts.items():
        for number in range(1, count + 1):
            replace_file(path, b"old")
            with pytest.raises(RecordError, match="Cannot write"):
                replace_file(path, b"newer", FailingDisk(only(name, number)))
            assert path.read_bytes() in (b"old", b"newer")
            assert [x.name for x in tmp_path.iterdir()] == ["file"]
    replace_file(path, b"newest!", ShortDisk(lambda name, number: name == "write" and number < 3))
    assert path.read_bytes() == b"newest!"
    with pytest.raises(RecordError, match="takes no bytes"):
        replace_file(path, b"x", ShortDisk(lambda name, _: name == "write"))
    assert path.read_bytes() == b"newest!"


def test_signatures_and_keys_survive_failures(tmp_path: Path) -> None:
    """Signatures that were there still are; half a pair of keys does not stay."""
    make_keys(tmp_path, "Ben", "twelve words")
    key = load_private(tmp_path, "Ben", "twelve words")
    first = sign(
        entries(1)[0],
        name="Ben",
        meaning="reviewed",
        utc="2026-03-04T05:06:07.000000Z",
        key=key,
        previous=None,
    )
    second = sign(
        entries(1)[0],
        name="Ben",
        meaning="approved",
        utc="2026-03-04T05:06:07.000000Z",
        key=key,
        previous=first,
    )
    record = tmp_path / "record"
    RecordFolder.create(record, b"", b"").close()
    add_signature(record, first)
    for name in ("open", "write", "sync", "replace", "read_file"):
        with pytest.raises(RecordError, match="input/output"):
            add_signature(record, second, FailingDisk(from_then_on(name, 1)))
        assert load_signatures(record) == (first,)
        assert strays(tmp_path) == []
    for name, count in {"open": 4, "write": 2, "sync": 4, "replace": 2}.items():
        for number in range(1, count + 1):
            with pytest.raises(RecordError):
                make_keys(tmp_path, "Ada", "twelve words", FailingDisk(only(name, number)))
            assert list(tmp_path.glob("*Ada*")) == []
    make_keys(tmp_path, "Ada", "twelve words", FailingDisk(never))
    assert sorted(load_public(tmp_path)) == ["Ada", "Ben"]


def test_a_locked_out_folder_is_told(tmp_path: Path) -> None:
    """A lock that cannot even be made, because something else stands in its place."""
    (tmp_path / ".lock").mkdir()
    with pytest.raises(RecordError, match="Cannot write to"):
        RecordFolder.create(tmp_path, b"", b"")
    assert [path.name for path in tmp_path.iterdir()] == [".lock"]


def test_a_real_full_disk(tmp_path: Path) -> None:
    """The system's own refusal, where it has a device that is always full."""
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("no /dev/full on this system")
    descriptor = os.open(full, os.O_WRONLY)
    try:
        with pytest.raises(OSError, match="space"):
            Disk().write(descriptor, b"x")
    finally:
        os.close(descriptor)
    (tmp_path / "record.jsonl").symlink_to(full)
    with pytest.raises(OSError, match="symbolic links"):
        Disk().open(tmp_path / "record.jsonl", os.O_RDWR)
    assert find_tail(full.parent / "null", Disk()) == (0, b"")


def test_a_limit_on_file_size_is_a_short_write(tmp_path: Path) -> None:
    """The system really takes a part of a line at the limit; the line is refused and cut back."""
    resource = pytest.importorskip("resource")
    old = resource.getrlimit(resource.RLIMIT_FSIZE)
    with RecordFolder.create(tmp_path, b"", b"") as folder:
        folder.append(LINES[0])
        limit = len(LINES[0]) + 50
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, old[1]))
        try:
            for _ in range(2):
                with pytest.raises(RecordError, match="only a part of the line"):
                    folder.append(LINES[1])
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, old)
        assert (tmp_path / "record.jsonl").read_bytes() == LINES[0]
        folder.append(LINES[1])
    assert len(list(read(RecordReader(tmp_path).lines()))) == 2
