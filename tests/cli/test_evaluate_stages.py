"""`evaluate` stage by stage: ten vials, thirty vials, then dosage units."""

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from statistics import NormalDist

import pytest

from assistant.cli import main
from assistant.clock import ManualClock
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Meaning
from assistant.storage import bundled_files
from assistant.storage.record_writer import RecordFolder
from assistant.testing import Departure, quick_record

GRAMMAR = bundled_files.read_grammar("en")
CONE = bundled_files.read_plan("double-cone")
FIRST = tuple(range(1, 31, 3))


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two records: every vial full, and one stopped early."""
    root = tmp_path_factory.mktemp("stages")
    stop = Departure(State.SEATING, Meaning(intent=Intent.STOP_SAMPLING), visit=4)
    for name, departures in (("whole", ()), ("stopped", (stop,))):
        with RecordFolder.create(root / name, CONE, GRAMMAR) as record:
            clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
            quick_record(record, clock, CONE, GRAMMAR, departures=departures)
    return root


@pytest.fixture
def record(records: Path) -> Path:
    """The record of one whole session."""
    return records / "whole"


def good(n: int) -> float:
    """An assay that no scheme minds."""
    return 99 + (n * 7) % 5 / 2


def spread(n: int) -> float:
    """Locations too far apart for stage 1, the SD of all 30 is 4.0."""
    return 100 + (4 if n % 2 else -4) + (n % 5 - 2) / 10


def sheet(folder: Path, assay: Callable[[int], float], vials: Sequence[int]) -> str:
    """Path of a sheet with these vials."""
    path = folder / "lab.csv"
    rows = "".join(f"{n},{assay(n)}\n" for n in vials)
    path.write_text(f"vial,assay (% of label claim)\n{rows}", "utf-8")
    return str(path)


def said(capsys: pytest.CaptureFixture[str]) -> str:
    """What was printed, without its line ends."""
    return " ".join(capsys.readouterr().out.split())


def test_stage_1_asks_for_its_vials(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without a sheet the command says which vials go to the laboratory first."""
    assert main(["evaluate", str(record), "--stage", "1"]) == 0
    told = said(capsys)
    assert (
        "assay 10 vials, of every spot the lowest position that filled its vial: 1, 4, 7, 10"
        in told
    )
    assert told.endswith("Keep the other 20 vials.")


def test_ten_of_thirty_are_the_scheme(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A calm stage 1 is met and not partial; a wide one names the vials to assay next."""
    line = ["evaluate", str(record), sheet(tmp_path, good, FIRST), "--stage", "1"]
    assert main(line) == 0
    told = said(capsys)
    assert "Stage 1 is met: go on to stage 1 of the dosage-unit testing" in told
    assert "Not assayed: vials 2, 3, 5, 6" in told
    assert "artial" not in told
    assert main([*line[:2], sheet(tmp_path, spread, FIRST), "--stage", "1"]) == 1
    told = said(capsys)
    assert told.startswith("MORE ASSAYS NEEDED")
    assert (
        "Assay next: vials 2, 3, 5, 6, 8, 9, 11, 12, 14, 15, 17, 18, 20, 21, 23, 24, 26, 27, 29, "
        "30." in told
    )


@pytest.mark.parametrize(
    ("vials", "options", "sentence"),
    [
        (FIRST, "", "evaluate them with --stage 1, or assay the others"),
        (FIRST[:9], "--stage=1", "without an assay: 28"),
        ((*FIRST, 2), "--stage=1", "holds results of others: 2."),
        ((2, *FIRST[1:]), "--stage=1", "holds results of others: 2."),
    ],
)
def test_a_sheet_of_other_vials_is_one_sentence(
    *,
    record: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    vials: Sequence[int],
    options: str,
    sentence: str,
) -> None:
    """What does not fit stage 1 is named."""
    assert main(["evaluate", str(record), sheet(tmp_path, good, vials), *options.split()]) == 2
    assert sentence in " ".join(capsys.readouterr().err.split())


def test_a_sheet_must_be_named(records: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Only `--stage 1` alone does without one, and only after a closed session."""
    for options in ([], ["--stage", "1", "-o", "r.pdf"], ["--stage", "1", "--json", "r.json"]):
        assert main(["evaluate", str(records / "whole"), *options]) == 2
        assert "Name the laboratory's sheet" in " ".join(capsys.readouterr().err.split())
    assert main(["evaluate", str(records / "stopped"), "--stage", "1"]) == 2
    assert "The session is not closed" in capsys.readouterr().err


def units(folder: Path, record: Path, size: str, *options: str) -> str:
    """Path of a sheet of simulated dosage units."""
    path = str(folder / f"{size}.csv")
    line = ["assays", str(record), "-o", path, "--dosage-units", size, *options]
    assert main(line) == 0
    return path


def test_dosage_units_by_the_same_command(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Blend and units are judged together; the worse answer is the exit code."""
    lab, out = sheet(tmp_path, good, range(1, 31)), tmp_path / "r.html"
    calm = units(tmp_path, record, "40x1", "--mean", "99.7")
    line = ["evaluate", str(record), lab, "--dosage-units"]
    assert main([*line, calm, "-o", str(out)]) == 0
    told = said(capsys)
    assert "DOSAGE UNITS, STAGE 1: CRITERIA MET" in told
    assert "MADE-UP DATA: a rehearsal and simulated assays" in told
    assert b"DOSAGE UNITS, STAGE 1" in out.read_bytes()
    assert main([*line, units(tmp_path, record, "40x3", "--within", "9")]) == 1
    assert "DOSAGE UNITS, STAGE 2: CRITERIA NOT MET" in said(capsys)


def test_the_correction_must_be_said(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """By the heading or the option; corrected contents alone leave a point open."""
    path = tmp_path / "units.csv"
    scores = [NormalDist(99.7, 1.2).inv_cdf((n - 0.5) / 40) for n in range(1, 41)]
    rows = "".join(f"{n},1,{score:.2f}\n" for n, score in enumerate(scores, start=1))
    path.write_text(f"Location,Tablet,Assay (% of label claim)\n{rows}", "utf-8")
    lab = sheet(tmp_path, good, range(1, 31))
    line = ["evaluate", str(record), lab, "--dosage-units", str(path)]
    assert main(line) == 2
    assert "say --weight-corrected yes or no" in " ".join(capsys.readouterr().err.split())
    assert main([*line, "--weight-corrected", "no", "--predict"]) == 0
    assert "passes the dosage-unit test, from the dosage units" in said(capsys)
    assert main([*line, "--weight-corrected", "yes"]) == 4
    assert "Only weight-corrected contents are known" in said(capsys)


@pytest.mark.parametrize("size", ["40", "0x3", "40x0", "1000x3", "40x100", "ax3", "40x-3"])
def test_a_bad_number_of_units(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], size: str
) -> None:
    """The sizes that cannot be simulated are refused."""
    line = ["assays", str(record), "-o", str(tmp_path / "u.csv"), "--dosage-units", size]
    assert main(line) == 2
    assert "like 40x3" in capsys.readouterr().err
