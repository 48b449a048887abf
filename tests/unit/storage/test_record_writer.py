"""A record folder: begun once, written by one, continued after a crash, read by anybody."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.errors import RecordBroken, RecordError
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder

PCM = b"\x01\x00\xff\xff" * 800


def create(path: Path) -> RecordFolder:
    """Begin a record with invented files."""
    return RecordFolder.create(path, b"plan \r\n", b"grammar \xff")


def test_folder_holds_the_exact_files(tmp_path: Path) -> None:
    """Plan and grammar are kept byte for byte, missing folders are made."""
    with create(tmp_path / "a" / "b") as folder:
        folder.append(b"one\n")
        assert (folder.plan, folder.grammar) == (b"plan \r\n", b"grammar \xff")
        assert folder.torn is None
        assert folder.asides() == ()
    assert (tmp_path / "a" / "b" / "record.jsonl").read_bytes() == b"one\n"


def test_a_begun_record_is_not_begun_again(tmp_path: Path) -> None:
    """A second session takes another folder or resumes."""
    with create(tmp_path) as folder:
        folder.append(b"one\n")
    with pytest.raises(RecordError, match="already holds a record"):
        create(tmp_path)
    assert (tmp_path / "record.jsonl").read_bytes() == b"one\n"


def test_what_a_crash_at_the_very_start_left_is_no_obstacle(tmp_path: Path) -> None:
    """An empty record with the same files begins again; with other files it does not."""
    create(tmp_path).close()
    create(tmp_path).close()
    with pytest.raises(RecordError, match=r"plan\.toml exists and is another file"):
        RecordFolder.create(tmp_path, b"other", b"grammar \xff")
    assert (tmp_path / "plan.toml").read_bytes() == b"plan \r\n"


def test_there_is_one_writer(tmp_path: Path) -> None:
    """A second one is turned away, also when it is another process; closing lets it in."""
    with create(tmp_path) as folder:
        folder.append(b"one\n")
        for attempt in (RecordFolder.open, create):
            with pytest.raises(RecordError, match="Another run"):
                attempt(tmp_path)
        code = (
            "import pathlib, sys; from assistant.storage.record_writer import RecordFolder\n"
            "RecordFolder.open(pathlib.Path(sys.argv[1]))"
        )
        other = subprocess.run(
            [sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, check=False
        )
        assert "Another run" in other.stderr
        assert list(RecordReader(tmp_path).lines()) == [b"one"]
    with RecordFolder.open(tmp_path) as folder:
        folder.append(b"two\n")
        assert list(folder.lines()) == [b"one", b"two"]


@pytest.mark.parametrize("torn", [b"x", b"half a li", b"a\0b\n", b"\0" * 70_000, b"\0\n"])
@pytest.mark.parametrize("good", [b"", b"one\n", b"one\ntwo\n" + b"3" * 70_000 + b"\n"])
def test_a_torn_tail_is_set_aside(tmp_path: Path, good: bytes, torn: bytes) -> None:
    """It is kept in a side file, told to the caller, and the next line stands by itself."""
    create(tmp_path).close()
    (tmp_path / "record.jsonl").write_bytes(good + torn)
    seen = RecordReader(tmp_path).tail()
    with RecordFolder.open(tmp_path) as folder:
        assert folder.torn is not None
        assert folder.torn == seen
        assert folder.torn.data == torn
        assert folder.asides() == (folder.torn,)
        folder.append(b"next\n")
        assert list(folder.lines()) == [*good.splitlines(), b"next"]
    with RecordFolder.open(tmp_path) as folder:
        assert folder.torn is None
        assert len(folder.asides()) == 1
    assert (tmp_path / "record.jsonl").read_bytes() == good + b"next\n"


def test_a_changed_side_file_is_refused(tmp_path: Path) -> None:
    """What was set aside is proved like everything else."""
    create(tmp_path).close()
    (tmp_path / "record.jsonl").write_bytes(b"half")
    with RecordFolder.open(tmp_path) as folder:
        [side] = (tmp_path / "aside").iterdir()
        side.write_bytes(b"other")
        with pytest.raises(RecordBroken, match="side file"):
            folder.asides()


def test_a_reader_is_told_of_a_torn_line(tmp_path: Path) -> None:
    """Whole lines come first, then the error: nothing is dropped in silence."""
    create(tmp_path).close()
    (tmp_path / "record.jsonl").write_bytes(b"one\ntwo\nthr")
    lines = RecordReader(tmp_path).lines()
    assert [next(lines), next(lines)] == [b"one", b"two"]
    with pytest.raises(RecordBroken, match="middle of a line"):
        next(lines)


def test_a_folder_without_a_record_is_told(tmp_path: Path) -> None:
    """Whether to read it or to continue it."""
    for attempt in (RecordReader, RecordFolder.open):
        with pytest.raises(RecordError, match="There is no record"):
            attempt(tmp_path / "nowhere")


def test_missing_files_are_told(tmp_path: Path) -> None:
    """A folder that lost a file names it."""
    create(tmp_path).close()
    view = RecordReader(tmp_path)
    (tmp_path / "plan.toml").unlink()
    (tmp_path / "record.jsonl").unlink()
    with pytest.raises(RecordError, match=r"Cannot read .*plan\.toml: it is not there"):
        _ = view.plan
    with pytest.raises(RecordError, match=r"Cannot read .*record\.jsonl"):
        list(view.lines())
    with pytest.raises(RecordError, match=r"Cannot read .*record\.jsonl"):
        view.tail()


def test_clips_are_kept_under_their_hash(tmp_path: Path) -> None:
    """The same samples come back, and the same name for the same samples."""
    with create(tmp_path) as folder:
        name = folder.save_clip(PCM)
        assert folder.save_clip(PCM) == name
        assert folder.clip(name) == PCM
    assert [path.name for path in (tmp_path / "clips").iterdir()] == [f"{name}.flac"]


def test_a_vanished_folder_is_told_and_its_return_is_enough(tmp_path: Path) -> None:
    """A disk that is unplugged and plugged in again does not need a restart."""
    path = tmp_path / "record"
    with create(path) as folder:
        folder.append(b"one\n")
        path.rename(tmp_path / "elsewhere")
        for _ in range(2):
            with pytest.raises(RecordError, match="bring the folder or its disk back"):
                folder.append(b"two\n")
        with pytest.raises(RecordError, match="Cannot write"):
            folder.save_clip(PCM)
        (tmp_path / "elsewhere").rename(path)
        folder.append(b"two\n")
        assert list(folder.lines()) == [b"one", b"two"]


def test_another_file_in_its_place_is_refused(tmp_path: Path) -> None:
    """A copy that is not what was written is not added to; the right copy is."""
    record = tmp_path / "record.jsonl"
    with create(tmp_path) as folder:
        folder.append(b"one\n")
        record.unlink()
        record.write_bytes(b"0ne\n")
        for _ in range(2):
            with pytest.raises(RecordError, match="no longer the file that was written"):
                folder.append(b"two\n")
        assert record.read_bytes() == b"0ne\n"
        record.unlink()
        record.write_bytes(b"one\n")
        folder.append(b"two\n")
    assert record.read_bytes() == b"one\ntwo\n"


@pytest.mark.parametrize(("content", "change"), [(b"one\ntwo\nX", "longer"), (b"one\n", "shorter")])
def test_another_hand_in_the_file_is_noticed(tmp_path: Path, content: bytes, change: str) -> None:
    """Nothing is added to, and nothing taken from, a file that others write to."""
    record = tmp_path / "record.jsonl"
    with create(tmp_path) as folder:
        folder.append(b"one\n")
        folder.append(b"two\n")
        descriptor = os.open(record, os.O_RDWR)
        os.pwrite(descriptor, content, 0)
        os.ftruncate(descriptor, len(content))
        os.close(descriptor)
        with pytest.raises(RecordError, match=f"made {change} by another program"):
            folder.append(b"three\n")
    assert record.read_bytes() == content


def test_a_closed_folder_takes_no_more_entries(tmp_path: Path) -> None:
    """Another run may hold the lock by then; reading still works, closing twice does no harm."""
    folder = create(tmp_path)
    folder.append(b"one\n")
    folder.close()
    folder.close()
    with pytest.raises(RuntimeError, match="closed record"):
        folder.append(b"two\n")
    assert list(folder.lines()) == [b"one"]


def test_a_name_that_the_system_refuses_is_told(tmp_path: Path) -> None:
    """Whether to read, to continue or to begin: one sentence."""
    for attempt in (RecordReader, RecordFolder.open, create):
        with pytest.raises(RecordError, match=r"Cannot .*: File name too long"):
            attempt(tmp_path / ("x" * 300))


def test_a_file_where_the_folder_should_be(tmp_path: Path) -> None:
    """A path that leads through a file is told as such."""
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(RecordError, match="not a folder"):
        create(tmp_path / "file" / "record")
    with pytest.raises(RecordError, match="Cannot"):
        create(tmp_path / "file")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_what_a_killed_program_was_writing_is_cleared_away(tmp_path: Path) -> None:
    """Half a clip is no clip; everything else in the folder stays."""
    with create(tmp_path) as folder:
        name = folder.save_clip(PCM)
    half = [tmp_path / ".plan.toml.tmp", tmp_path / "clips" / f".{'0' * 64}.flac.tmp"]
    kept = [tmp_path / "notes.tmp", tmp_path / ".hidden", tmp_path / "clips" / f"{name}.flac"]
    for path in half + kept[:2]:
        path.write_bytes(b"half")
    with RecordFolder.open(tmp_path) as folder:
        assert [path.exists() for path in half + kept] == [False, False, True, True, True]
        assert folder.clip(name) == PCM
