"""`verify`: what holds is proven, what does not is named, with the exit code of the answer."""

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from pydantic import JsonValue

from assistant.journal.chain import line, read, seal
from assistant.journal.head_code import head_code
from assistant.ports import Instant
from assistant.record import software
from assistant.session.station import program_sha256
from assistant.storage.record_reader import RecordReader

Make = Callable[[str], Path]
Run = Callable[..., CompletedProcess[str]]
Refused = Callable[..., None]


def code_at(record: Path, seq: int = 0) -> str:
    """The head code at an entry of a record, or at its end."""
    entry = list(read(RecordReader(record).lines()))[seq - 1]
    return head_code(entry.seq, entry.hash).text


@pytest.mark.parametrize(
    ("kind", "state"),
    [
        ("whole", "closed"),
        ("deviations", "closed"),
        ("stopped", "stopped"),
        ("open", "withdrawing"),
    ],
)
def test_a_record_that_holds_is_proven(kind: str, state: str, taken: Make, command: Run) -> None:
    """Count, state and head code are shown; so is what cannot be known without a code."""
    record = taken(kind)
    last = code_at(record)
    done = command("verify", record)
    assert done.returncode == 0
    first = done.stdout.splitlines()[0]
    assert first.startswith(f"intact: {last.split('-')[0]} entries in order, 0 clips unchanged")
    assert first.endswith(f"; head code {last}")
    assert done.stdout.splitlines()[1].startswith(
        ("session: " + state, "session: open in " + state)
    )
    assert "nobody has signed it" in done.stdout
    assert done.stdout.splitlines()[2].startswith("self-consistent only: ")


def test_the_head_code_of_any_moment_is_taken(taken: Make, command: Run) -> None:
    """As typed: small letters and spaces do not matter; the caution about the end is gone."""
    record = taken("whole")
    for code in (code_at(record), code_at(record, 20).lower().replace("-", " ")):
        done = command("verify", record, "--head", code)
        assert done.returncode == 0
        assert "cut off" not in done.stdout
        last = code_at(record).split("-")[0]
        if code == code_at(record):
            assert f"anchored to the end, entry {last}, by the head code {code}" in done.stdout
        else:
            assert f"anchored up to entry 20 of {last} by the head code" in done.stdout
            assert f"entries 21 to {last} are self-consistent only" in done.stdout


def test_a_head_code_shows_a_cut_and_a_rewriting(
    taken: Make, command: Run, refused: Refused
) -> None:
    """The truncated record is sound in itself; only the code gives it away."""
    record, other = taken("whole"), taken("deviations")
    code = code_at(record)
    path = record / "record.jsonl"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:40]))
    assert command("verify", record).returncode == 0
    refused(command("verify", record, "--head", code), 1, "ends at entry 40", code, "cut off")
    refused(command("verify", other, "--head", code), 1, f"does not lead to the head code {code}")


def test_a_head_code_that_is_none_is_bad_input(taken: Make, command: Run, refused: Refused) -> None:
    """A mistyped character is found before the record is doubted."""
    record = taken("whole")
    code = code_at(record)
    slipped = code[:-1] + ("7" if code[-1] != "7" else "8")
    refused(
        command("verify", record, "--head", slipped), 2, "A character of the head code", slipped
    )
    refused(command("verify", record, "--head", "sesame"), 2, "is not a head code")


Lines = list[bytes]
SPOILT: dict[str, tuple[Callable[[Lines], Lines], str]] = {
    "changed": (
        lambda lines: [*lines[:30], lines[30].replace(b"2026", b"2025"), *lines[31:]],
        "Entry 31 ",
    ),
    "swapped": (
        lambda lines: [*lines[:30], lines[31], lines[30], *lines[32:]],
        "Entry 31 ",
    ),
    "deleted": (lambda lines: lines[:9] + lines[10:], "Entry 10 "),
    "doubled": (lambda lines: lines[:10] + lines[9:], "Entry 11 "),
    "torn": (lambda lines: [*lines[:-1], lines[-1][:-20]], "stops in the middle of a line"),
    "empty": (lambda _: [], "holds no entry"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_the_first_bad_entry_is_named(
    name: str, taken: Make, command: Run, refused: Refused
) -> None:
    """Exit code 1, one sentence, and nothing that looks like a proof."""
    change, named = SPOILT[name]
    path = taken("whole") / "record.jsonl"
    path.write_bytes(b"".join(change(path.read_bytes().splitlines(keepends=True))))
    done = command("verify", path.parent)
    refused(done, 1, named)
    assert "intact" not in done.stdout


@pytest.mark.parametrize("file", ["plan.toml", "grammar.toml"])
def test_exchanged_files_are_named(file: str, taken: Make, command: Run, refused: Refused) -> None:
    """Plan and grammar belong to the record, to the byte: a line added to either is seen."""
    path = taken("whole") / file
    path.write_bytes(path.read_bytes() + b"# another copy\n")
    refused(command("verify", path.parent), 1, file, "not the file that was used")


def test_a_clip_is_part_of_the_record(taken: Make, command: Run, refused: Refused) -> None:
    """One that is changed or gone is named; there is no proof without the sound."""
    record = taken("spoken")
    assert ", 1 clips unchanged; " in command("verify", record).stdout
    (clip,) = (record / "clips").iterdir()
    data = bytearray(clip.read_bytes())
    data[-1] ^= 1
    clip.write_bytes(bytes(data))
    refused(command("verify", record), 1, clip.stem)
    clip.unlink()
    refused(command("verify", record), 1, clip.stem)


def test_a_torn_line_set_aside_is_counted(taken: Make, command: Run, refused: Refused) -> None:
    """Its bytes are part of the proof too."""
    record = taken("torn")
    assert "torn lines set aside: 1; their bytes are kept" in command("verify", record).stdout
    (aside,) = (record / "aside").iterdir()
    aside.unlink()
    refused(command("verify", record), 1, "names a torn line that is not in the folder")


def test_there_is_nothing_to_verify(tmp_path: Path, command: Run, refused: Refused) -> None:
    """No folder, a folder without a record, a file."""
    for path in (tmp_path / "nowhere", tmp_path):
        refused(command("verify", path), 2, f"no record in {path}")
    file = tmp_path / "file"
    file.touch()
    refused(command("verify", file), 2, str(file))


def test_what_is_required_and_missing_is_exit_1(taken: Make, command: Run) -> None:
    """The record is intact all the same; what is missing is named."""
    record = taken("whole")
    need = ("--require", "anchored-to-end", "--require", "closed")
    done = command("verify", record, *need)
    assert done.returncode == 1
    assert done.stdout.startswith("intact: ")
    assert "required and missing: The record is not anchored to its end" in done.stdout
    early = command("verify", record, *need, "--head", code_at(record, 20))
    assert early.returncode == 1
    assert command("verify", record, *need, "--head", code_at(record)).returncode == 0


def test_one_person_cannot_sign_what_two_must(
    taken: Make, command: Run, sign: Callable[..., int], public: Path
) -> None:
    """Nor does an unchecked signature count, nor one that was taken away."""
    record = taken("whole")
    need = ("--require", "reviewed", "--require", "performed", "--keys", public)
    assert sign(record, "Ada Lindqvist", "reviewed") == 0
    assert command("verify", record, *need).returncode == 1
    assert sign(record, "Mira Oostveld", "performed") == 0
    assert command("verify", record, *need).returncode == 0
    assert command("verify", record, *need[:-2]).returncode == 1
    (record / "signatures.jsonl").unlink()
    assert command("verify", record, *need).returncode == 1


def test_a_rehearsal_is_not_live(taken: Make, command: Run) -> None:
    """What does not say that it was live does not pass as live."""
    done = command("verify", taken("whole"), "--require", "live")
    assert done.returncode == 1
    assert "is not live but" in done.stdout


def test_a_session_by_keyboard_is_typed_and_not_live(
    process: Run, command: Run, tmp_path: Path
) -> None:
    """No microphone was open: it does not pass as live, and every export says so."""
    record = tmp_path / "typed"
    process("run", "bin", "--keyboard", "--silent", "--engine", "embedded", "--into", record)
    done = command("verify", record, "--require", "live")
    assert done.returncode == 1
    assert "is not live but typed" in done.stdout
    assert 'first entry: typed, microphone "keyboard", loudspeaker "' in done.stdout
    command("export", record, "--as", "csv", "-o", tmp_path / "out")
    assert "typed without a microphone" in (tmp_path / "out" / "events.csv").read_text("utf-8")


def test_the_first_entry_names_program_and_machine(process: Run, tmp_path: Path) -> None:
    """Version, hash over the program's files, model, host and account, zone of the clock."""
    words = ("--keyboard", "--silent", "--engine", "embedded", "--into")
    process("run", "bin", *words, tmp_path / "r")
    event = next(read(RecordReader(tmp_path / "r").lines())).event
    assert event["software"] == software()
    assert event["program_sha256"] == program_sha256()
    for name in ("engine_version", "model_sha256", "host", "account", "utc_offset"):
        assert event[name], name


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"kind": "live", "host": "bench-3", "account": "sampler"}, 0),
        ({"kind": "live", "host": "bench-3"}, 1),
        ({"kind": "live", "account": "sampler"}, 1),
        ({"kind": "live"}, 1),
    ],
)
def test_live_needs_host_and_account(
    fields: dict[str, str],
    code: int,
    taken: Make,
    command: Run,
) -> None:
    """A word alone does not make a session live."""
    record = taken("whole")
    resealed(record, lambda seq, event: {**event, **fields} if seq == 1 else event)
    done = command("verify", record, "--require", "live")
    assert done.returncode == code
    assert ("is not live but called live without host and account" in done.stdout) == bool(code)


def resealed(
    record: Path, changed: Callable[[int, dict[str, JsonValue]], dict[str, JsonValue]]
) -> None:
    """Seal a record with other events, as anybody who can write the folder could."""
    lines, last = [], None
    for entry in read(RecordReader(record).lines()):
        last = seal(
            last,
            at=Instant(entry.utc, int(entry.mono)),
            boot=entry.boot,
            by=entry.by,
            event=changed(entry.seq, dict(entry.event)),
            outcome=entry.outcome,
        )
        lines.append(line(last))
    (record / "record.jsonl").write_bytes(b"".join(lines))


def sealed_anew(record: Path, moved: Callable[[int, datetime], datetime]) -> None:
    """Seal a record with other wall-clock times, as anybody who can write the folder could."""
    lines, last = [], None
    for entry in read(RecordReader(record).lines()):
        utc = moved(entry.seq, datetime.fromisoformat(entry.utc))
        at = Instant(utc.strftime("%Y-%m-%dT%H:%M:%S.%fZ").rjust(27, "0"), int(entry.mono))
        last = seal(
            last, at=at, boot=entry.boot, by=entry.by, event=entry.event, outcome=entry.outcome
        )
        lines.append(line(last))
    (record / "record.jsonl").write_bytes(b"".join(lines))


@pytest.mark.parametrize(
    ("moved", "said"),
    [
        (lambda seq, utc: utc + timedelta(hours=seq > 20), "differs from the steady clock"),
        (lambda seq, utc: utc - timedelta(hours=seq), "differs from the steady clock"),
        (lambda _, utc: utc.replace(year=2131), "entry 62: UTC is ahead of now"),
    ],
)
def test_times_that_cannot_be_are_pointed_out(
    moved: Callable[[int, datetime], datetime], said: str, taken: Make, command: Run
) -> None:
    """Hours forward, hours backwards and the future: said, and refused where it is required."""
    record = taken("whole")
    assert "times: UTC agrees with the steady clock" in command("verify", record).stdout
    assert command("verify", record, "--require", "steady-time").returncode == 0
    sealed_anew(record, moved)
    done = command("verify", record)
    assert done.returncode == 0
    assert said in done.stdout
    done = command("verify", record, "--require", "steady-time")
    assert done.returncode == 1
    assert "required and missing: At " in done.stdout


def test_files_that_are_no_part_of_a_record_are_named(
    taken: Make, command: Run, sign: Callable[..., int]
) -> None:
    """Beside it, among the clips and deeper down; what belongs there is not named."""
    record = taken("torn")
    assert sign(record, "Ada Lindqvist", "reviewed") == 0
    assert "no part of the record" not in command("verify", record).stdout
    for name in ("notes\x1b.txt", "clips/a.wav", "more/clips/b.flac"):
        (record / name).parent.mkdir(parents=True, exist_ok=True)
        (record / name).write_bytes(b"")
    done = command("verify", record)
    assert done.returncode == 0
    for name in ("notes\\u{1b}.txt", "clips/a.wav", "more/clips/b.flac"):
        assert f"no part of the record: {name}\n" in done.stdout
