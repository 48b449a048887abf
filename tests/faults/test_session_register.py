"""The register of a station: what was begun is remembered where the record cannot be reached."""

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from assistant.cli import main
from assistant.errors import InputError, RecordBroken
from assistant.journal.chain import read
from assistant.ports import Instant
from assistant.procedure.enums import State
from assistant.session.register_writer import RegisterWriter
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder
from assistant.storage.register import Note, Register, sessions
from tests.faults.driver import SMALL, Technician, begin_in


def worked(folder: Path, register: Path, *, seed: int = 1, answers: int | None = None) -> State:
    """Work a session, or begin one, with the register on."""
    keeper = RegisterWriter(Register(register), folder)
    opening = RecordFolder.open if folder.exists() else lambda path: begin_in(path, SMALL)
    with opening(folder) as record:
        session = Technician(seed=seed).work(record, observers=(keeper,), answers=answers)
    assert keeper.missing == 0
    return session.state


@pytest.fixture
def station(tmp_path: Path) -> tuple[Path, Path]:
    """A record and the register that it is noted in."""
    record, register = tmp_path / "records" / "one", tmp_path / "other medium" / "register"
    register.parent.mkdir()
    assert worked(record, register) is State.CLOSED
    return record, register


def verified(capsys: pytest.CaptureFixture[str], record: Path, register: Path) -> tuple[int, str]:
    """Return exit code and output of `verify --register`."""
    capsys.readouterr()
    code = main(["verify", str(record), "--register", str(register)])
    said = capsys.readouterr()
    return code, said.out + said.err


def test_opening_heads_and_end_are_noted(
    station: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Each hash is the record's at that entry; the last anchors the record to its end."""
    record, register = station
    entries = list(read(RecordReader(record).lines()))
    (session,) = sessions(register).values()
    assert session.session == entries[0].hash
    assert session.ended
    assert len(session.heads) >= 3
    assert all(entries[count - 1].hash == head for count, head in session.heads.items())
    code, said = verified(capsys, record, register)
    assert code == 0
    assert f"anchored to the end, entry {len(entries)}, by the register register" in said
    assert "missing" not in said
    assert main(["verify", str(record), "--register", str(register), "--require", "closed"]) == 0


def test_the_register_lists_its_sessions(
    station: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each with its end and whether its record is still there and the same; else exit code 1."""
    record, register = station
    begun = tmp_path / "records" / "two"
    worked(begun, register, seed=2, answers=20)
    assert main(["register", str(register)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("2 sessions, 0 whose record does not agree with the register")
    assert said.count("agrees") == 2
    cut_off(record)
    shutil.rmtree(begun)
    assert main(["register", str(register)]) == 1
    said = capsys.readouterr().out
    assert said.startswith("2 sessions, 2 whose")
    assert "differs" in said
    assert "missing" in said
    shutil.copytree(record, begun)
    assert main(["register", str(register)]) == 1
    assert "replaced" in capsys.readouterr().out
    (record / "plan.toml").unlink()
    assert main(["register", str(register)]) == 1
    assert "damaged" in capsys.readouterr().out
    (tmp_path / "empty").touch()
    assert main(["register", str(tmp_path / "empty")]) == 0
    assert "0 sessions" in capsys.readouterr().out


def cut_off(record: Path) -> None:
    """Take the last entry away."""
    path = record / "record.jsonl"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))


def write_anew(record: Path) -> None:
    """Put another whole session in its place."""
    shutil.rmtree(record)
    with begin_in(record, SMALL) as folder:
        Technician(seed=2, spoken_every=7).work(folder)


def begin_alike(record: Path) -> None:
    """Keep the genuine beginning and go on with other answers."""
    path = record / "record.jsonl"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:12]))
    with RecordFolder.open(record) as folder:
        Technician(seed=3).work(folder)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (shutil.rmtree, "missing"),
        (lambda record: (record / "record.jsonl").write_bytes(b""), "missing"),
        (write_anew, "replaced"),
        (lambda record: (record / "record.jsonl").write_bytes(b"{}\n"), "damaged"),
    ],
)
def test_both_commands_say_the_same_of_a_session(
    spoil: Callable[[Path], None],
    said: str,
    station: tuple[Path, Path],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Of a record that is missing, damaged or not the one that was noted."""
    record, register = station
    other = tmp_path / "records" / "two"
    worked(other, register, seed=4, answers=5)
    spoil(record)
    _, told = verified(capsys, other, register)
    assert f"{said}: the record of the session begun" in told
    assert main(["register", str(register)]) == 1
    assert said in capsys.readouterr().out


def test_an_end_that_was_not_noted_shows_as_what_it_is(
    station: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Killed between its last entry and the note of it: closed, by the record alone."""
    record, register = station
    lines = register.read_bytes().splitlines(keepends=True)
    register.write_bytes(b"".join(lines[:-1]))
    assert main(["register", str(register)]) == 0
    assert "by its record only" in capsys.readouterr().out
    code, said = verified(capsys, record, register)
    assert code == 0
    assert "register: no end of this session is noted; its record is closed at entry" in said
    assert "anchored up to entry" in said


def test_the_end_of_the_register_is_anchored_by_its_own_head_code(
    station: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """Cut off, it is a shorter register; only a code that was noted elsewhere shows it."""
    record, register = station
    assert main(["register", str(register)]) == 0
    said = capsys.readouterr().out
    assert "lines cut off its end show only by a head code of the register" in said
    code = said.split("; head code ")[1].split()[0].rstrip(",.;:")
    worked(record.parent / "two", register, seed=4, answers=5)
    assert main(["register", str(register), "--head", code]) == 0
    count = code.split("-")[0]
    assert f"anchored up to line {count} of " in capsys.readouterr().out
    lines = register.read_bytes().splitlines(keepends=True)
    register.write_bytes(b"".join(lines[: int(count) - 1]))
    assert main(["register", str(register)]) == 0
    capsys.readouterr()
    assert main(["register", str(register), "--head", code]) == 1
    assert "its end was cut off" in capsys.readouterr().err
    register.unlink()
    worked(record.parent / "three", register, seed=9)
    assert main(["register", str(register), "--head", code]) == 1
    assert "was written anew" in capsys.readouterr().err
    assert main(["register", str(register), "--head", "17"]) == 2


def test_a_head_that_was_noted_is_never_replaced(
    station: tuple[Path, Path], capsys: pytest.CaptureFixture[str]
) -> None:
    """A record sealed anew and noted again at the same count disagrees with the first note."""
    record, register = station
    entries = list(read(RecordReader(record).lines()))
    (genuine,) = sessions(register).values()
    last = entries[-1]
    note = Note(
        type="head", session=genuine.session, count=last.seq, head="ab" * 32, folder=str(record)
    )
    Register(register).add(note, Instant(last.utc, int(last.mono)), last.boot, last.by)
    (found,) = sessions(register).values()
    assert found.heads == genuine.heads
    assert verified(capsys, record, register)[0] == 0


@pytest.mark.parametrize(
    ("forge", "said"),
    [
        (cut_off, "was rewritten or cut off before that"),
        (begin_alike, "was rewritten or cut off before that"),
        (write_anew, "knows no session that began with this first entry"),
    ],
)
def test_a_record_that_was_changed_no_longer_agrees(
    forge: Callable[[Path], None],
    said: str,
    station: tuple[Path, Path],
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Though it is sound in itself: without the register nothing shows."""
    record, register = station
    forge(record)
    assert main(["verify", str(record)]) == 0
    code, told = verified(capsys, record, register)
    assert code == 1
    assert said in told


def test_a_session_that_vanished_is_named(
    station: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whether it had ended or not; one that was broken off and resumed is there."""
    record, register = station
    worked(tmp_path / "records" / "two", register, seed=4, answers=5)
    shutil.move(tmp_path / "records" / "two", tmp_path / "hidden two")
    code, said = verified(capsys, record, register)
    assert code == 0
    assert "missing: the record of the session begun" in said
    assert "not ended" in said
    shutil.rmtree(record)
    shutil.move(tmp_path / "hidden two", record)
    _, said = verified(capsys, record, register)
    assert "replaced: the record of the session begun" in said


def test_a_broken_off_session_is_resumed_in_the_register(tmp_path: Path) -> None:
    """Both starts belong to one session."""
    record, register = tmp_path / "one", tmp_path / "register"
    worked(record, register, answers=10)
    assert worked(record, register) is State.CLOSED
    (session,) = sessions(register).values()
    assert session.ended
    assert session.folder == str(record)


def test_a_register_that_was_changed_is_refused(station: tuple[Path, Path]) -> None:
    """A line taken out, a changed byte, a line of something else; a torn last line is set aside."""
    record, register = station
    whole = register.read_bytes()
    lines = whole.splitlines(keepends=True)
    for bad in (b"".join(lines[1:]), whole.replace(b'"count":1,', b'"count":2,'), b"{}\n" + whole):
        register.write_bytes(bad)
        with pytest.raises(RecordBroken, match="The register"):
            sessions(register)
    register.write_bytes((record / "record.jsonl").read_bytes())
    with pytest.raises(RecordBroken, match="is none of a register"):
        sessions(register)
    register.write_bytes(whole + b'{"torn')
    assert len(sessions(register)) == 1
    worked(record.parent / "two", register, seed=5)
    assert len(sessions(register)) == 2
    assert [path.read_bytes() for path in (register.parent / "aside").iterdir()] == [b'{"torn']


def test_a_register_that_cannot_be_written_is_told_at_once(tmp_path: Path) -> None:
    """Before a record begins; and one that cannot be read."""
    with pytest.raises(InputError, match="There is no folder"):
        Register(tmp_path / "nowhere" / "register")
    with pytest.raises(InputError, match="cannot be read"):
        sessions(tmp_path / "register")


def test_a_register_lost_on_the_way_does_not_stop_the_work(tmp_path: Path) -> None:
    """What could not be noted is counted, and noted once it can be."""
    register, folder = tmp_path / "medium" / "register", tmp_path / "one"
    register.parent.mkdir()
    keeper = RegisterWriter(Register(register), folder)
    shutil.move(register.parent, tmp_path / "unplugged")
    with begin_in(folder, SMALL) as record:
        Technician().work(record, observers=(keeper,), answers=10)
    assert keeper.missing >= 1
    shutil.move(tmp_path / "unplugged", register.parent)
    with RecordFolder.open(folder) as record:
        Technician().work(record, observers=(keeper,))
    assert keeper.missing == 0
    (session,) = sessions(register).values()
    assert session.ended
