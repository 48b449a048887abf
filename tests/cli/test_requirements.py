"""`verify`, `export` and `evaluate` make the same statements and take the same requirements."""

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

import pytest

from assistant.errors import InputError
from assistant.record import open_record, prove
from assistant.record.standing import standing_of


class Ended(Protocol):
    """A command that has ended."""

    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Ended]
Make = Callable[[str], Path]
Sign = Callable[..., int]
SELF_CONSISTENT = (
    "self-consistent only: without a head code (--head), a signature (--keys), a time stamp "
    "(--authority) or the station's register (verify --register) nothing shows"
)


@pytest.fixture
def code_at(command: Run) -> Callable[[Path], str]:
    """Return a function that gives a record's head code as it stands."""
    return lambda record: command("verify", record).stdout.split("head code ")[1].split()[0]


def test_an_export_says_how_far_the_record_is_anchored(
    taken: Make, command: Run, code_at: Callable[[Path], str], tmp_path: Path
) -> None:
    """In what it prints, in JSON and in the tables; the code of a beginning anchors no more."""
    record, partly = taken("whole"), code_at(taken("open"))
    out = tmp_path / "e.json"
    done = command("export", record, "--as", "json", "-o", out)
    assert done.returncode == 0
    assert SELF_CONSISTENT in done.stdout
    shown = json.loads(out.read_text("utf-8"))["shown"]
    assert shown[0] == "session: closed"
    assert shown[1].startswith("self-consistent only")
    count = int(partly.split("-")[0])
    done = command("export", record, "--as", "csv", "-o", tmp_path / "t", "--head", partly)
    assert f"anchored up to entry {count} of " in done.stdout
    assert f"shown,anchored up to entry {count} of " in re.sub(
        '"', "", (tmp_path / "t" / "about.csv").read_text("utf-8")
    )


def test_an_export_is_written_although_a_requirement_is_missing(
    taken: Make, command: Run, tmp_path: Path
) -> None:
    """Exit code 1, each missing requirement named, the file there."""
    out = tmp_path / "e.json"
    wanted = ("--require", "closed", "--require", "anchored-to-end")
    done = command("export", taken("open"), "--as", "json", "-o", out, *wanted)
    assert done.returncode == 1
    assert done.stdout.count("required and missing: ") == 2
    assert out.exists()


def test_a_wrong_head_code_damages_the_export(taken: Make, command: Run, tmp_path: Path) -> None:
    """The code of another record: what does not hold is said, and nothing is claimed."""
    other = command("verify", taken("alone")).stdout.split("head code ")[1].split()[0]
    out = tmp_path / "e.json"
    done = command("export", taken("whole"), "--as", "json", "-o", out, "--head", other)
    assert done.returncode == 1
    told = json.loads(out.read_text("utf-8"))
    assert (told["condition"], told["shown"]) == ("damaged", [])


def test_an_evaluation_rests_on_what_was_required(
    taken: Make, command: Run, code_at: Callable[[Path], str], tmp_path: Path
) -> None:
    """Criteria that are met do not help a record that is not anchored; the report says how far."""
    record, sheet, page = taken("whole"), tmp_path / "a.csv", tmp_path / "r.html"
    code = code_at(record)
    assert command("assays", record, "-o", sheet, "--between", 0.4, "--within", 0.4).returncode == 0
    wanted = ("--require", "anchored-to-end")
    done = command("evaluate", record, sheet, "-o", page, *wanted)
    assert done.returncode == 1
    assert "required and missing: The record is not anchored to its end" in done.stdout
    assert "Self-consistent only" in page.read_text("utf-8")
    done = command("evaluate", record, sheet, "-o", page, "--overwrite", "--head", code, *wanted)
    assert done.returncode in {0, 4}
    assert f"Anchored to the end, entry {code.split('-')[0]}, by the head code" in page.read_text(
        "utf-8"
    )


def test_nothing_is_said_of_a_record_without_an_entry(taken: Make) -> None:
    """There is nothing that could be anchored; a head code that is none is refused."""
    record = taken("whole")
    proof = prove(open_record(record))
    with pytest.raises(InputError):
        standing_of(proof, "nonsense", ())
    proof.last = None
    assert standing_of(proof, "", ()) is None
