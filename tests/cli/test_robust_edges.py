"""Odd inputs and full outputs end in one sentence: never in a traceback, never in waiting."""

import os
import sys
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from assistant.errors import InputError, RecordBroken
from assistant.ports import SAMPLE_RATE
from assistant.storage import bundled_files
from assistant.storage.clips import MOST_SAMPLES, encode, load_clip
from assistant.storage.keys import MOST_PASSPHRASE, load_private, make_keys

Make = Callable[[str], Path]
Run = Callable[..., CompletedProcess[str]]
Refused = Callable[..., None]

linux = pytest.mark.skipif(sys.platform != "linux", reason="needs the devices of Linux")


def test_the_end_of_the_input_is_an_answer(tmp_path: Path, process: Run, refused: Refused) -> None:
    """`new-plan` without anybody there names the question and both ways out; no file is left."""
    out = tmp_path / "f.toml"
    done = process("new-plan", "-o", out)
    refused(done, 2, "The input ended at ", "--answer ", "--defaults")
    assert not out.exists()


def test_a_passphrase_may_be_long_but_not_too_long(tmp_path: Path) -> None:
    """The most that fits works, one byte more is refused, also where a letter has two bytes."""
    longest = "p" * MOST_PASSPHRASE
    make_keys(tmp_path, "Ada Lindqvist", longest)
    load_private(tmp_path, "Ada Lindqvist", longest)
    for text in (longest + "p", "é" * (MOST_PASSPHRASE // 2 + 1)):
        with pytest.raises(InputError, match="at most 1023 bytes"):
            make_keys(tmp_path, "Jonas Pell", text)


@linux
@pytest.mark.parametrize("words", [("check", "bin"), ("verify", "whole"), ("phrases",)])
def test_an_output_that_is_full_is_told(
    words: tuple[str, ...], taken: Make, process: Run, tmp_path: Path
) -> None:
    """Where the results go nothing fits: one sentence, exit code 2."""
    taken("whole")
    opened = "import os, sys; os.dup2(os.open('/dev/full', os.O_WRONLY), 1)"
    done = process(*words, before=opened)
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert line == "sampling-assistant: The output could not be written: No space left on device."
    assert sorted(path.name for path in tmp_path.iterdir()) == ["whole"]


def test_names_the_terminal_cannot_show_are_spelled(tmp_path: Path, process: Run) -> None:
    """Letters that ASCII lacks come out as their codes, in results and in errors."""
    ascii_only = {**os.environ, "PYTHONIOENCODING": "ascii", "LC_ALL": "C", "PYTHONUTF8": "0"}
    done = process("check", "bin", env=ascii_only)
    assert done.returncode == 0
    assert "\\xb0, tip to" in done.stdout
    done = process("check", tmp_path / "Łagodna.toml", env=ascii_only)
    assert done.returncode == 2
    assert "agodna.toml; check the name." in done.stderr


@linux
@pytest.mark.parametrize("words", [("check",), ("labels",), ("rehearse", "--quiet")])
def test_a_pipe_or_a_device_is_no_plan(
    words: tuple[str, ...], tmp_path: Path, command: Run, refused: Refused
) -> None:
    """Nothing is waited for and nothing read for ever."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/zero"), tmp_path):
        extra = ("-o", tmp_path / "l.pdf") if words == ("labels",) else ()
        refused(command(*words[:1], path, *words[1:], *extra), 2, f"{path} is no file; name a file")


@linux
def test_a_device_is_never_replaced(taken: Make, command: Run, tmp_path: Path) -> None:
    """A pipe that stands where an export should go stays a pipe."""
    record, pipe = taken("whole"), tmp_path / "pipe.json"
    os.mkfifo(pipe)
    for words in ((), ("--overwrite",)):
        done = command("export", record, "--as", "json", "-o", pipe, *words)
        assert done.returncode == 2
        assert "is no file" in done.stderr
    assert pipe.is_fifo()


def test_a_number_of_thousands_of_digits_is_told(
    tmp_path: Path, taken: Make, command: Run, refused: Refused
) -> None:
    """In a plan, a head code, a sheet and a record: in words, not in those of the language."""
    many = "9" * 5000
    plan = tmp_path / "p.toml"
    plan.write_bytes(
        bundled_files.read_plan("bin").replace(
            b"fill_mass_kg = 210.0", f"fill_mass_kg = {many}".encode()
        )
    )
    refused(command("check", plan), 2, "a number has thousands of digits")
    record, sheet = taken("whole"), tmp_path / "s.csv"
    refused(command("verify", record, "--head", f"{many}-AAAA-AAAA-A"), 2, "head code")
    sheet.write_text(f"vial,assay (%)\n1,{many}\n", "utf-8")
    assert command("evaluate", record, sheet).returncode == 2
    lines = (record / "record.jsonl").read_bytes().splitlines()[:4]
    lines[3] = lines[3].replace(b'"seq":4', f'"seq":{many}'.encode())
    (record / "record.jsonl").write_bytes(b"\n".join([*lines, b""]))
    done = command("verify", record)
    assert done.returncode == 1
    assert done.stderr.startswith("sampling-assistant: Entry 4")


def test_a_clip_that_claims_to_be_endless_is_refused(tmp_path: Path) -> None:
    """A header of 2**36 samples would ask for 137 GB of memory."""
    flac = bytearray(encode(bytes(2 * SAMPLE_RATE)))
    # STREAMINFO follows the mark of 4 bytes and a block header of 4; in its bytes 13 to 17 the last
    # 36 bits count the samples (RFC 9639, section 8.2).
    flac[4 + 4 + 13] |= 0x0F
    flac[4 + 4 + 14 : 4 + 4 + 18] = b"\xff" * 4
    name = sha256(flac).hexdigest()
    (tmp_path / f"{name}.flac").write_bytes(flac)
    with pytest.raises(RecordBroken, match=r"cannot be played: .*samples"):
        load_clip(tmp_path, name)
    assert MOST_SAMPLES < 2**36 - 1


def test_an_unknown_operator_leaves_nothing_behind(tmp_path: Path, command: Run) -> None:
    """The name is checked before the folder of the record is made."""
    into = tmp_path / "out"
    words = ("run", "bin", "--into", into, "--operator", "Nobody", "--keyboard", "--silent")
    done = command(*words)
    assert "The plan names no operator 'Nobody'" in done.stderr
    assert done.returncode == 2
    assert not into.exists()


def test_a_missing_public_key_says_nothing_against_the_record(
    taken: Make, command: Run, sign: Callable[..., int], public: Path, tmp_path: Path
) -> None:
    """The rows are as whole as the record; the signature alone is not checked."""
    record, out = taken("whole"), tmp_path / "t"
    assert sign(record, "Mira Oostveld", "performed") == 0
    (public / "Mira Oostveld.pem").unlink()
    assert command("export", record, "--as", "csv", "-o", out, "--keys", public).returncode == 0
    assert "damaged" not in (out / "samples.csv").read_text("utf-8")
    assert "no public key" in (out / "signatures.csv").read_text("utf-8")
