"""`keys` and `sign`: name, time and meaning under a record, bound to it and checked by `verify`."""

import json
import os
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from subprocess import CompletedProcess

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.cli.record_options import MEANINGS
from assistant.clock import SystemClock
from assistant.journal import signing
from assistant.journal.chain import read
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder
from assistant.storage.signatures import add_signature, load_signatures

OPERATOR, WITNESS, REVIEWER = "Mira Oostveld", "Jonas Pell", "Ada Lindqvist"
APPROVER = "Ines Vork"
TIME = r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z"

Make = Callable[[str], Path]
Run = Callable[..., CompletedProcess[str]]
Refused = Callable[..., None]
Sign = Callable[..., int]


def test_the_meanings_offered_are_those_of_the_journal() -> None:
    """The parser's own list, kept for speed, is no other one."""
    assert MEANINGS == signing.MEANINGS


def test_four_people_s_meanings_stand_under_one_record(
    taken: Make, sign: Sign, command: Run, public: Path
) -> None:
    """Each meaning; name, meaning, time and entry are shown, proved genuine with the keys."""
    record = taken("whole")
    given = {
        "performed": OPERATOR,
        "witnessed": WITNESS,
        "reviewed": REVIEWER,
        "approved": APPROVER,
    }
    assert tuple(given) == MEANINGS
    for meaning, name in given.items():
        assert sign(record, name, meaning) == 0
    done = command("verify", record, "--keys", public)
    assert done.returncode == 0
    entries = len((record / "record.jsonl").read_bytes().splitlines())
    for meaning, name in given.items():
        line = rf"{meaning} by {name}, {TIME}, at entry {entries} \(genuine\)"
        assert re.search(line, done.stdout), done.stdout
    assert f"anchored to the end, entry {entries}, by the signature of" in done.stdout
    unchecked = command("verify", record).stdout
    assert unchecked.count("(not checked: name the public keys with --keys)") == 4
    assert "self-consistent only: " in unchecked


def test_signing_says_what_was_signed(taken: Make, pairs: Path, command: Run) -> None:
    """All signatures so far and the head code are printed; the name is tidied."""
    record = taken("stopped")
    key = pairs / f"{REVIEWER}.key.pem"
    secret = ("--passphrase-file", pairs / "passphrase")
    first = command(
        "sign", record, "--as", "Ada   Lindqvist", "--meaning", "reviewed", "--key", key, *secret
    )
    assert first.returncode == 0
    assert re.match(
        rf"reviewed by Ada Lindqvist, {TIME}, at entry \d+\nsignature code ", first.stdout
    )
    assert re.search(r"^signature code 1-[0-9A-Z]{4}-", first.stdout, re.MULTILINE)
    key = pairs / f"{APPROVER}.key.pem"
    again = command(
        "sign", record, "--as", APPROVER, "--meaning", "approved", "--key", key, *secret
    )
    assert " by Ada Lindqvist, " in again.stdout
    assert " by Ines Vork, " in again.stdout


def edit(record: Path, change: Callable[[list[bytes]], list[bytes]], file: str) -> None:
    """Change the lines of a file in the record's folder."""
    path = record / file
    path.write_bytes(b"".join(change(path.read_bytes().splitlines(keepends=True))))


def test_a_changed_record_breaks_its_signatures(
    taken: Make, sign: Sign, command: Run, refused: Refused
) -> None:
    """Cut short, even soundly, it is no longer the one that was signed; no key is needed."""
    record = taken("whole")
    assert sign(record, OPERATOR, "performed") == 0
    edit(record, lambda lines: lines[:-1], "record.jsonl")
    refused(
        command("verify", record), 1, f"Signature 1 of {OPERATOR}", "not made under this record"
    )


def test_a_record_written_anew_breaks_its_signatures(
    taken: Make, sign: Sign, command: Run, refused: Refused
) -> None:
    """Signatures carried over to another sound record do not hold there."""
    record, other = taken("whole"), taken("deviations")
    assert sign(record, OPERATOR, "performed") == 0
    shutil.copy(record / "signatures.jsonl", other)
    refused(command("verify", other), 1, f"Signature 1 of {OPERATOR}")


def forged(line: bytes, **changes: object) -> bytes:
    """A signature with its statement changed."""
    told = json.loads(line)
    told["statement"] |= changes
    return json.dumps(told, separators=(",", ":"), sort_keys=True).encode() + b"\n"


def test_a_changed_signature_is_seen_with_the_keys(
    taken: Make, sign: Sign, command: Run, public: Path, refused: Refused
) -> None:
    """Another name, meaning or time under the same seal is refused; so is one taken out."""
    record = taken("whole")
    assert sign(record, OPERATOR, "performed") == 0
    assert sign(record, REVIEWER, "reviewed") == 0
    path = record / "signatures.jsonl"
    kept = path.read_bytes()
    for change in (
        {"name": OPERATOR},
        {"meaning": "approved"},
        {"utc": "2026-01-01T00:00:00.000000Z"},
    ):
        edit(record, lambda lines, c=change: [lines[0], forged(lines[1], **c)], path.name)  # type: ignore[misc]  # a default binds the loop's value
        refused(command("verify", record, "--keys", public), 1, "Signature 2")
        path.write_bytes(kept)
    edit(record, lambda lines: lines[1:], path.name)
    refused(command("verify", record), 1, "Signature 1")


def test_whose_key_is_not_there_is_named(
    taken: Make, sign: Sign, command: Run, public: Path, refused: Refused
) -> None:
    """Nobody vouches for the person; the folder of keys must be one."""
    record = taken("whole")
    assert sign(record, REVIEWER, "reviewed") == 0
    (public / f"{REVIEWER}.pem").unlink()
    refused(command("verify", record, "--keys", public), 1, REVIEWER)
    refused(command("verify", record, "--keys", public / "none"), 2, "There is no folder")


def test_what_cannot_be_signed(
    taken: Make, sign: Sign, pairs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """An open, an empty and a broken record; what was signed before stays."""
    for kind, code, why in (
        ("open", 2, "is still open: finish the session with run --resume"),
        ("whole", 1, "holds no entry"),
        ("stopped", 1, "Entry 5 "),
    ):
        record = taken(kind)
        if kind == "whole":
            (record / "record.jsonl").write_bytes(b"")
        elif kind == "stopped":
            assert sign(record, REVIEWER, "reviewed") == 0
            edit(record, lambda lines: lines[:4] + lines[5:], "record.jsonl")
        assert sign(record, REVIEWER, "approved") == code
        assert why in capsys.readouterr().err
        kept = record / "signatures.jsonl"
        assert len(kept.read_bytes().splitlines() if kept.exists() else []) == (kind == "stopped")
    assert pairs.is_dir()


def test_who_cannot_sign_so(
    taken: Make, sign: Sign, pairs: Path, command: Run, refused: Refused
) -> None:
    """Only the plan's operator performed, only its witness witnessed; each with his own key."""
    record = taken("whole")
    words = ("sign", record, "--passphrase-file", pairs / "passphrase")
    own = ("--key", pairs / f"{REVIEWER}.key.pem")
    for meaning, role, name in (
        ("performed", "operator", OPERATOR),
        ("witnessed", "witness", WITNESS),
    ):
        done = command(*words, "--as", REVIEWER, "--meaning", meaning, *own)
        refused(done, 2, f"{REVIEWER} cannot count as {meaning}", f"the plan's {role} is {name}")
    done = command(*words, "--as", OPERATOR, "--meaning", "performed", *own)
    refused(done, 2, f"is not {OPERATOR}.key.pem")
    assert not (record / "signatures.jsonl").exists()
    assert sign(record, REVIEWER, "reviewed") == 0


def test_the_plan_may_have_no_witness(
    taken: Make, command: Run, pairs: Path, refused: Refused
) -> None:
    """Then nobody can have witnessed."""
    record = taken("alone")
    done = command(
        *("sign", record, "--as", WITNESS, "--meaning", "witnessed"),
        *("--key", pairs / f"{WITNESS}.key.pem", "--passphrase-file", pairs / "passphrase"),
    )
    refused(done, 2, "the plan's witness is nobody")


def test_keys_that_do_not_open(taken: Make, pairs: Path, command: Run, refused: Refused) -> None:
    """A wrong passphrase, no key, no passphrase file, one that is no text."""
    record, wrong = taken("whole"), pairs / "wrong"
    sign = ("sign", record, "--as", REVIEWER, "--meaning", "reviewed", "--key")
    key = pairs / f"{REVIEWER}.key.pem"
    wrong.write_text("wrong", "utf-8")
    refused(
        command(*sign, key, "--passphrase-file", wrong), 2, "does not open with this passphrase"
    )
    wrong.write_bytes(b"")
    refused(
        command(*sign, key, "--passphrase-file", wrong), 2, "does not open with this passphrase"
    )
    wrong.write_bytes(b"\xff\xfe")
    refused(command(*sign, key, "--passphrase-file", wrong), 2, "is no UTF-8 text")
    missing = pairs / "missing"
    done = command(*sign, key, "--passphrase-file", missing)
    refused(done, 2, f"There is no passphrase file {missing}")
    gone = pairs / "gone" / key.name
    done = command(*sign, gone, "--passphrase-file", pairs / "passphrase")
    refused(done, 2, f"There is no key {gone}")


def test_a_key_pair_is_made(pairs: Path, tmp_path: Path, command: Run, refused: Refused) -> None:
    """Where it is, is said; never over another one, never into no folder, never without a name."""
    words = ("--into", tmp_path, "--passphrase-file", pairs / "passphrase")
    done = command("keys", "Ben Exempel", *words)
    assert done.returncode == 0
    assert f"public key {tmp_path / 'Ben Exempel.pem'}: give it" in done.stdout
    assert f"private key {tmp_path / 'Ben Exempel.key.pem'}: keep it to yourself" in done.stdout
    secret = (tmp_path / "Ben Exempel.key.pem").read_bytes()
    refused(command("keys", "Ben Exempel", *words), 2, "already has keys")
    assert (tmp_path / "Ben Exempel.key.pem").read_bytes() == secret
    refused(command("keys", "../Ben", *words), 2, "cannot be a printed name")
    nowhere = tmp_path / "nowhere"
    refused(command("keys", "Ada", "--into", nowhere), 2, f"There is no folder {nowhere}")


def test_the_passphrase_may_come_from_the_environment(
    taken: Make,
    pairs: Path,
    command: Run,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """So that a script needs no file; an empty one is no passphrase."""
    monkeypatch.setenv("SAMPLING_ASSISTANT_PASSPHRASE", "correct horse")
    words = ("sign", taken("whole"), "--as", REVIEWER, "--meaning", "reviewed")
    assert command(*words, "--key", pairs / f"{REVIEWER}.key.pem").returncode == 0
    monkeypatch.setenv("SAMPLING_ASSISTANT_PASSPHRASE", "")
    done = command("keys", "Ben", "--into", pairs)
    assert done.returncode == 2
    assert "needs a passphrase" in done.stderr


def test_the_passphrase_is_asked_for_unseen(
    tmp_path: Path, command: Run, refused: Refused, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Twice for a key that is made; two that differ, or none, make no key."""
    monkeypatch.delenv("SAMPLING_ASSISTANT_PASSPHRASE", raising=False)
    given = iter(["one of many", "another one", "the same words", "the same words"])
    asked: list[str] = []

    def ask(prompt: str) -> str:
        asked.append(prompt)
        return next(given)

    monkeypatch.setattr("getpass.getpass", ask)
    refused(command("keys", "Ben", "--into", tmp_path), 2, "The two passphrases differ")
    assert list(tmp_path.iterdir()) == []
    assert command("keys", "Ben", "--into", tmp_path).returncode == 0
    assert asked == ["passphrase: ", "once more: "] * 2


@pytest.mark.skipif(not hasattr(os, "setsid"), reason="no process groups on this system")
def test_without_a_terminal_nobody_can_be_asked(
    tmp_path: Path, process: Run, refused: Refused, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One sentence with the ways out, where the passphrase would be seen."""
    monkeypatch.delenv("SAMPLING_ASSISTANT_PASSPHRASE", raising=False)
    alone = "import os\nos.setsid()"
    done = process("keys", "Ben", "--into", tmp_path, typed="seen\nseen\n", before=alone)
    refused(
        done, 2, "can be typed unseen here", "--passphrase-file", "SAMPLING_ASSISTANT_PASSPHRASE"
    )
    assert list(tmp_path.iterdir()) == []


def test_an_ended_terminal_gives_no_passphrase(
    tmp_path: Path, command: Run, refused: Refused, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The key for the end of input was pressed instead."""

    def ended(_: str) -> str:
        raise EOFError

    monkeypatch.delenv("SAMPLING_ASSISTANT_PASSPHRASE", raising=False)
    monkeypatch.setattr("getpass.getpass", ended)
    refused(command("keys", "Ben", "--into", tmp_path), 2, "No passphrase was given")


def test_nobody_signs_while_the_session_runs(
    taken: Make, sign: Sign, capsys: pytest.CaptureFixture[str]
) -> None:
    """The record's lock is respected."""
    record = taken("whole")
    with RecordFolder.open(record):
        assert sign(record, REVIEWER, "reviewed") == 2
    assert "Another run" in capsys.readouterr().err


def put_under(record: Path, key: Ed25519PrivateKey, **said: str) -> None:
    """Put a signature under a record as another program could, without this one's checks."""
    *_, last = read(RecordReader(record).lines())
    given = {"name": REVIEWER, "meaning": "reviewed", "utc": SystemClock().now().utc} | said
    before = load_signatures(record)
    signature = signing.sign(
        last,
        name=given["name"],
        meaning=given["meaning"],  # type: ignore[arg-type]  # one of the four
        utc=given["utc"],
        key=key,
        previous=before[-1] if before else None,
    )
    add_signature(record, signature)


def test_one_person_signs_a_record_once(
    taken: Make, sign: Sign, capsys: pytest.CaptureFixture[str], pairs: Path
) -> None:
    """Whoever reviewed does not approve, under this name or another; who performed neither."""
    record = taken("whole")
    assert sign(record, OPERATOR, "performed") == 0
    assert sign(record, OPERATOR, "reviewed") == 2
    assert "this person has signed as performed; nothing was signed" in capsys.readouterr().err
    shutil.copy(pairs / f"{OPERATOR}.key.pem", pairs / "Mara Ostveld.key.pem")
    assert sign(record, "Mara Ostveld", "approved") == 2
    assert f"with the key of {OPERATOR}, who has signed" in capsys.readouterr().err
    assert len(load_signatures(record)) == 1


ADA = Ed25519PrivateKey.from_private_bytes(b"a" * 32)


@pytest.mark.parametrize(
    ("said", "fault"),
    [
        ({"utc": "2026-03-03T23:59:59.000000Z"}, "before the session's end"),
        ({"utc": "2399-01-01T00:00:00.000000Z"}, "and now it is"),
        ({"meaning": "witnessed"}, f"the plan's witness is {WITNESS}"),
        ({"meaning": "performed"}, f"the plan's operator is {OPERATOR}"),
    ],
)
def test_a_signature_against_the_rules_does_not_count(
    said: dict[str, str], fault: str, taken: Make, command: Run, refused: Refused
) -> None:
    """Made by another program: `verify` names it, an export shows it and calls itself damaged."""
    record = taken("whole")
    out = record.parent / "e.json"
    put_under(record, ADA, **said)
    refused(command("verify", record), 1, f"Signature 1 of {REVIEWER}", fault)
    assert command("export", record, "--as", "json", "-o", out).returncode == 1
    told = json.loads(out.read_text("utf-8"))
    assert told["condition"] == "damaged"
    assert fault in told["signatures"][0]["standing"]


def test_two_meanings_by_one_person_do_not_count(
    taken: Make, command: Run, refused: Refused
) -> None:
    """Also where the file of signatures was written by another program."""
    record = taken("whole")
    put_under(record, ADA)
    put_under(record, ADA, meaning="approved")
    refused(command("verify", record), 1, "Signature 2", "this person has signed as reviewed")


def test_a_signature_taken_away_shows_by_the_code(
    taken: Make, sign: Sign, command: Run, refused: Refused, capsys: pytest.CaptureFixture[str]
) -> None:
    """The last one, and all of them; later ones do no harm, and a code of another set does."""
    record = taken("whole")
    codes = []
    for name, meaning in ((OPERATOR, "performed"), (REVIEWER, "reviewed")):
        assert sign(record, name, meaning) == 0
        codes.append(capsys.readouterr().out.split("signature code ")[1].split()[0])
    assert all(command("verify", record, "--signed", code).returncode == 0 for code in codes)
    edit(record, lambda lines: lines[:1], "signatures.jsonl")
    assert command("verify", record).returncode == 0
    refused(command("verify", record, "--signed", codes[1]), 1, "There are 1 signatures")
    assert sign(record, APPROVER, "approved") == 0
    refused(command("verify", record, "--signed", codes[1]), 1, "Signature 2 does not lead to")
    refused(command("verify", record, "--signed", "x"), 2, "is not a head code")


@pytest.mark.skipif(os.name == "nt", reason="no such modes there")
def test_a_key_that_others_can_read_is_refused(
    taken: Make, sign: Sign, pairs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Until it is readable by its owner only."""
    record, key = taken("whole"), pairs / f"{REVIEWER}.key.pem"
    for mode in (0o640, 0o604, 0o620):
        key.chmod(mode)
        assert sign(record, REVIEWER, "reviewed") == 2
        assert "run chmod 600 on it" in capsys.readouterr().err
    key.chmod(0o400)
    assert sign(record, REVIEWER, "reviewed") == 0
