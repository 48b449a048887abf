"""`archive export`: a dated folder that any BagIt tool checks and this program verifies."""

import csv
import io
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import bagit
import pytest

from assistant.clock import SystemClock
from assistant.report.export import schema
from tests.archive import made_site
from tests.archive.made_site import Made

GOLDEN = Path(__file__).parents[1] / "golden" / "schema-2"
Tell = Callable[..., tuple[int, str, str]]


@pytest.fixture(name="folders")
def _folders(url: str, tmp_path: Path, tell: Tell) -> list[Path]:
    """Three made records and the golden one, in the archive."""
    found = [made_site.record(tmp_path / "site", Made(n, small=True)) for n in range(3)]
    found.append(Path(shutil.copytree(GOLDEN / "record", tmp_path / "golden")))
    assert tell("archive", "add", *found, "--keys", GOLDEN / "keys", "--archive", url)[0] == 0
    return found


def bag_in(into: Path) -> Path:
    """Return where today's bag stands."""
    return into / f"archive-{SystemClock().now().utc[:10]}"


@pytest.mark.usefixtures("folders")
def test_an_export_is_a_bag_that_verifies(url: str, tmp_path: Path, tell: Tell) -> None:
    """BagIt's own validator, `verify` on every record, the schema and the index; no private key."""
    keys = Path(shutil.copytree(GOLDEN / "keys", tmp_path / "keys"))
    (keys / "Mira Oostveld.key.pem").write_text("private", "utf-8")
    into = tmp_path / "kept"
    into.mkdir()
    code, out, _ = tell("archive", "export", into, "--keys", keys, "--archive", url)
    bag = bag_in(into)
    assert (code, out) == (0, f"{bag}: 4 records, sealed with SHA-256\n")
    done = subprocess.run(
        [sys.executable, "-m", "bagit", "--validate", bag],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert list(bag.rglob("*.key.pem")) == []
    records = sorted((bag / "data" / "records").iterdir())
    assert len(records) == 4
    for record in records:
        code, out, _ = tell("verify", record, "--keys", bag / "data" / "keys")
        assert (code, out.startswith("intact: ")) == (0, True)
    assert (bag / "data" / "schema" / "export_schema.json").read_text("utf-8") == schema()
    text = (bag / "data" / "index" / "sessions.csv").read_text("utf-8-sig")
    index = [*csv.DictReader(io.StringIO(text))]
    assert {f"{row['opened_utc'][:10]}-{row['head_code']}" for row in index} == {
        record.name for record in records
    }
    listed = json.loads(tell("archive", "list", "--as", "json", "--archive", url)[1])
    assert sorted(row["head"] for row in listed) == sorted(row["head"] for row in index)
    assert [path.name for path in into.iterdir()] == [bag.name]


@pytest.mark.usefixtures("folders")
def test_a_changed_bag_is_no_valid_one(url: str, tmp_path: Path, tell: Tell) -> None:
    """A changed, a missing and an added file are found by the library."""
    assert tell("archive", "export", tmp_path, "--archive", url, "--batch", Made(0).batch)[0] == 0
    bag = bag_in(tmp_path)
    (plan,) = bag.rglob("plan.toml")
    data = plan.read_bytes()
    for change in (
        lambda: plan.write_bytes(data + b"\n"),
        plan.unlink,
        lambda: (plan.with_name("more.txt").write_bytes(b"x"), plan.write_bytes(data)),
    ):
        change()
        assert not bagit.Bag(str(bag)).is_valid()
    plan.with_name("more.txt").unlink()
    assert bagit.Bag(str(bag)).is_valid()


def test_what_is_not_as_it_was_is_left_out_and_named(
    url: str, folders: list[Path], tmp_path: Path, tell: Tell
) -> None:
    """A damaged record and one that is gone; without any left nothing is written."""
    (folders[0] / "plan.toml").write_bytes(Made(9).plan)
    shutil.rmtree(folders[1])
    code, out, _ = tell("archive", "export", tmp_path, "--archive", url)
    assert code == 1
    assert f"left out: {folders[0]} does not hold: " in out
    assert f"left out: {folders[1]} not there: " in out
    assert "2 records, sealed" in out
    other = tmp_path / "other"
    other.mkdir()
    asked = ("archive", "export", other, "--archive", url, "--batch")
    assert tell(*asked, Made(0).batch)[0] == 2
    assert tell(*asked, "none")[2].endswith("Nothing to copy: no record fits.\n")
    assert [*other.iterdir()] == []


@pytest.mark.usefixtures("folders")
def test_a_bag_is_never_written_over(url: str, tmp_path: Path, tell: Tell) -> None:
    """The second of a day is refused; so is a folder that is not there."""
    assert tell("archive", "export", tmp_path, "--archive", url)[0] == 0
    code, _, err = tell("archive", "export", tmp_path, "--archive", url)
    assert (code, "is there already: name another folder" in err) == (2, True)
    code, _, err = tell("archive", "export", tmp_path / "none", "--archive", url)
    assert (code, "make it first" in err) == (2, True)
    asked = ("archive", "export", tmp_path / "site", "--archive", url, "--keys")
    code, _, err = tell(*asked, tmp_path / "none")
    assert (code, "There is no folder of public keys" in err) == (2, True)
    assert not bag_in(tmp_path / "site").exists()
