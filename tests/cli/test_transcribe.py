"""`transcribe`: texts of spoken remarks beside the record, and what shows them."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.cli.conftest import OPERATOR, REVIEWER, Make, Run

Refused = Callable[..., None]
Typing = Callable[..., tuple[str, ...]]


@pytest.fixture
def typing(pairs: Path) -> Typing:
    """Return a function that gives the words of the command."""

    def words(record: Path, *more: str, name: str = REVIEWER) -> tuple[str, ...]:
        key = ("--key", str(pairs / f"{name}.key.pem"))
        secret = ("--passphrase-file", str(pairs / "passphrase"))
        return ("transcribe", str(record), "--as", name, *key, *secret, *more)

    return words


def number_of(record: Path) -> str:
    """The entry of the spoken remark."""
    lines = map(json.loads, (record / "record.jsonl").read_text("utf-8").splitlines())
    return next(str(e["seq"]) for e in lines if e["event"].get("type") == "remark-taken")


def test_a_text_is_kept_beside_the_record_and_shown(
    taken: Make, command: Run, typing: Typing, public: Path, tmp_path: Path
) -> None:
    """The record stays as it was; verify and the exports show the text and whose it is."""
    record = taken("spoken")
    seq, before = number_of(record), (record / "record.jsonl").read_bytes()
    done = command(*typing(record, "--entry", seq, "--text", " loose \n plug "))
    assert done.returncode == 0, done.stderr
    assert f"entry {seq}: loose plug" in done.stdout
    assert "1 spoken remarks, 0 without a text" in done.stdout
    assert (record / "record.jsonl").read_bytes() == before
    shown = command("verify", record, "--keys", public).stdout
    assert f"text of entry {seq} by {REVIEWER}, " in shown
    assert "(genuine)" in shown
    out = tmp_path / "e.json"
    command("export", record, "--as", "json", "-o", out, "--keys", public)
    (told,) = json.loads(out.read_text("utf-8"))["transcripts"]
    assert (told["seq"], told["text"], told["standing"]) == (int(seq), "loose plug", "genuine")
    command("export", record, "--as", "json", "-o", out, "--overwrite")
    (told,) = json.loads(out.read_text("utf-8"))["transcripts"]
    assert told["standing"] == "not checked"


def test_a_later_text_is_added_not_exchanged(taken: Make, command: Run, typing: Typing) -> None:
    """Two people, two lines."""
    record = taken("spoken")
    seq = number_of(record)
    command(*typing(record, "--entry", seq, "--text", "bad plug"))
    command(*typing(record, "--entry", seq, "--text", "loose plug", name=OPERATOR))
    lines = (record / "transcripts.jsonl").read_text("utf-8").splitlines()
    assert ["bad plug" in line for line in lines] == [True, False]
    assert command("verify", record).returncode == 0


@pytest.mark.parametrize("spoil", ["word", "line", "date"])
def test_a_changed_text_is_caught(
    spoil: str, taken: Make, command: Run, typing: Typing, public: Path
) -> None:
    """A changed word by the key, an earlier line taken out by the next, an early date at once."""
    record = taken("spoken")
    seq, path = number_of(record), record / "transcripts.jsonl"
    command(*typing(record, "--entry", seq, "--text", "bad plug"))
    command(*typing(record, "--entry", seq, "--text", "loose plug"))
    first, second = path.read_bytes().splitlines(keepends=True)
    data = {
        "word": first + second.replace(b"loose", b"other"),
        "line": second,
        "date": first.replace(b'"utc":"2', b'"utc":"1'),
    }[spoil]
    path.write_bytes(data)
    done = command("verify", record, "--keys", public)
    assert done.returncode == 1
    assert "of a remark" in done.stderr
    done = command(
        "export", record, "--as", "json", "-o", record.parent / "e.json", "--keys", public
    )
    assert done.returncode == 1
    assert "does not hold: " in done.stdout


def test_a_text_of_another_record_is_caught(
    taken: Make, command: Run, typing: Typing, refused: Refused
) -> None:
    """It names an entry that is not there."""
    record, other = taken("spoken"), taken("whole")
    command(*typing(record, "--entry", number_of(record), "--text", "loose plug"))
    shutil.copy(record / "transcripts.jsonl", other)
    refused(command("verify", other), 1, "was not made under this record as it stands at entry")


def test_what_cannot_be_used_is_refused(
    taken: Make, command: Run, typing: Typing, refused: Refused, pairs: Path
) -> None:
    """In one sentence each; nothing is written."""
    record = taken("spoken")
    seq = number_of(record)
    refused(command(*typing(record, "--text", "x")), 2, "name it with --entry")
    refused(command(*typing(record, "--entry", "1", "--text", "x")), 2, f"these are: {seq}.")
    refused(command(*typing(record, "--entry", seq, "--text", " ")), 2, "has 0 characters")
    words = typing(record, "--entry", seq, "--text", "x", name=OPERATOR)
    stolen = [str(pairs / f"{REVIEWER}.key.pem") if "key.pem" in w else w for w in words]
    refused(command(*stolen), 2, "sign with your own key")
    assert not (record / "transcripts.jsonl").exists()


def test_a_person_listens_and_types(
    taken: Make, typing: Typing, command: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Enter plays it again; a dash passes over; the end of the input keeps what there is."""
    record, played = taken("spoken"), []

    class Speaker:
        """Plays at once."""

        def play(self, pcm: bytes, done: Callable[[], None]) -> None:
            """Take note of the clip."""
            played.append(len(pcm))
            done()

    monkeypatch.setattr("assistant.session.audio_devices.loudspeaker", Speaker)
    answers = iter(["-"])
    monkeypatch.setattr("builtins.input", lambda *_: next(answers))
    done = command(*typing(record))
    assert (done.returncode, played) == (1, [32_000])
    assert "1 spoken remarks, 1 without a text" in done.stdout

    def ended(*_: object) -> str:
        raise EOFError

    monkeypatch.setattr("builtins.input", ended)
    done = command(*typing(record))
    assert done.returncode == 1
    assert "the input ended" in done.stdout
    answers = iter(["", "loose plug"])
    monkeypatch.setattr("builtins.input", lambda *_: next(answers))
    assert command(*typing(record)).returncode == 0
    assert played == [32_000] * 4
    done = command(*typing(record))
    assert (done.returncode, len(played)) == (0, 4)
