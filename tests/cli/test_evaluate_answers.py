"""The three answers of `evaluate`: met; met, but; not met."""

import json
import shutil
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from assistant.cli import main
from assistant.clock import ManualClock
from assistant.storage import bundled_files
from assistant.storage.record_writer import RecordFolder
from assistant.testing import quick_record

GRAMMAR = bundled_files.read_grammar("en")
CONE = bundled_files.read_plan("double-cone")
LIMITS = """
[acceptance]
justification = "Protocol VP-07, section 6.2"
mean = [95.0, 105.0]
location_mean = [93.0, 107.0]
individual = [85.0, 115.0]
from_mean = 9.0
"""


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two records: of a plan without limits of its own, and of one that states them."""
    root = tmp_path_factory.mktemp("answers")
    for name, plan in (("plain", CONE), ("limits", CONE + LIMITS.encode())):
        with RecordFolder.create(root / name, plan, GRAMMAR) as record:
            clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
            quick_record(record, clock, plan, GRAMMAR)
    return root


def good(n: int) -> float:
    """An assay that nobody minds."""
    return 99 + (n * 7) % 5 / 2


def far_mean(n: int) -> float:
    """Sixty per cent of target, hardly spread."""
    return round(0.6 * good(n), 2)


def far_vial(n: int) -> float:
    """One vial far from all others."""
    return 88.0 if n == 14 else good(n)


def far_location(n: int) -> float:
    """One location of three vials far from all others."""
    return 91.0 + (n - 13) / 2 if n in (13, 14, 15) else good(n)


def answer(
    record: Path, folder: Path, assay: Callable[[int], float]
) -> tuple[int, dict[str, object]]:
    """Exit code, and what the JSON file says of the verdict."""
    sheet, out = folder / "lab.csv", folder / "r.json"
    rows = "".join(f"{n},{assay(n)}\n" for n in range(1, 31))
    sheet.write_text(f"vial,assay (% of target)\n{rows}", "utf-8")
    code = main(["evaluate", str(record), str(sheet), "--json", str(out), "--overwrite"])
    return code, json.loads(out.read_text("utf-8"))["verdict"]


@pytest.mark.parametrize(
    ("assay", "point"),
    [
        (far_mean, "The mean is 60.00 % of target"),
        (far_vial, "Vial 14 with 88 % of target stands out"),
        (far_vial, "farther than 10 % of target from the mean"),
        (far_location, "a mean of 91.50 % of target stands out"),
    ],
)
def test_met_but(
    *,
    assay: Callable[[int], float],
    point: str,
    records: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What the scheme does not look at is an open point with an exit code of its own."""
    code, said = answer(records / "plain", tmp_path, assay)
    assert (code, said["answer"]) == (4, "criteria met, but")
    assert point in str(said["open_points"])
    shown = capsys.readouterr().out
    assert shown.startswith("CRITERIA MET, BUT ")
    assert point in shown


def test_met(records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A calm study meets the scheme and the protocol's limits; the latter are named."""
    assert answer(records / "plain", tmp_path, good)[0] == 0
    code, said = answer(records / "limits", tmp_path, good)
    assert (code, said["answer"], said["open_points"]) == (0, "criteria met", [])
    assert "(Protocol VP-07, section 6.2): Every limit" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("assay", "limit"),
    [
        (far_mean, "Not met: mean, % of target, at least"),
        (far_vial, "Not met: largest distance of an individual from the mean"),
        (far_location, "Not met: lowest location mean"),
    ],
)
def test_not_met_by_the_protocol(
    *,
    assay: Callable[[int], float],
    limit: str,
    records: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The limits of the protocol decide beside the scheme."""
    code, said = answer(records / "limits", tmp_path, assay)
    assert (code, said["answer"]) == (1, "criteria not met")
    shown = capsys.readouterr().out
    assert shown.startswith("CRITERIA NOT MET: LIMITS OF THE PROTOCOL")
    assert limit in shown


def test_the_unit_in_the_plan_settles_a_bare_percentage(tmp_path: Path) -> None:
    """Eight per cent by weight, SD a tenth of target: never met as 7.84 % of target."""
    plan = CONE + b'\n[laboratory]\nunit = "% by weight"\n'
    with RecordFolder.create(tmp_path / "r", plan, GRAMMAR) as record:
        quick_record(record, ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC)), plan, GRAMMAR)
    sheet, out = tmp_path / "lab.csv", tmp_path / "r.json"
    rows = "".join(f"{n},{7.84 + (n % 3 - 1):.2f}\n" for n in range(1, 31))
    sheet.write_text(f"vial,Assay (%)\n{rows}", "utf-8")
    assert (
        main(["evaluate", str(tmp_path / "r"), str(sheet), "--json", str(out), "--overwrite"]) == 1
    )
    told = json.loads(out.read_text("utf-8"))
    assert told["laboratory"]["unit"] == "% by weight"
    assert round(told["study"]["summary"]["mean"], 2) == 98.0
    assert round(told["study"]["summary"]["sd"], 1) == 10.4


@pytest.mark.parametrize(("name", "code"), [("met", 0), ("open", 4), ("not met", 1)])
def test_the_readme_shows_what_the_program_says(
    *,
    name: str,
    code: int,
    records: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Each command of the README's three answers, run; its lines are the first of the output."""
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    block = readme.split(f"<!-- answer {name} -->\n```\n")[1].split("\n```")[0]
    make, evaluate, *shown = block.splitlines()
    shutil.copytree(records / "plain", tmp_path / "r")
    monkeypatch.chdir(tmp_path)
    assert main(make.split()[2:]) == 0
    capsys.readouterr()
    assert main(evaluate.split()[2:]) == code
    assert capsys.readouterr().out.splitlines()[: len(shown)] == shown
