"""The questions of a quality unit, over an invented site whose answers are known."""

import csv
import io
import json
import shutil
from collections import Counter
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

import pytest

from assistant.archive.database import Archive
from assistant.archive.questions import QUESTIONS, Filters, ask
from assistant.cli.archive_options import QUESTIONS as OFFERED
from assistant.clock import SystemClock
from assistant.storage.register import Note, Register
from tests.archive import made_site
from tests.archive.made_site import BOOTHS, PRODUCTS, SAMPLERS, Made

NUMBERS = range(12)
Tell = Callable[..., tuple[int, str, str]]


@pytest.fixture
def filled(url: str, tmp_path: Path, tell: Tell) -> str:
    """An archive with twelve small records; those of the first product have assays."""
    work = []
    for made in (Made(number, small=True) for number in NUMBERS):
        folder = made_site.record(tmp_path / "site", made)
        with_assays = made.product == PRODUCTS[0]
        work.append(f"{folder}={made_site.sheet(folder, made)}" if with_assays else folder)
    code, out, _ = tell("archive", "add", *work, "--archive", url)
    assert (code, "12 added" in out) == (0, True)
    return url


def rows(tell: Tell, *words: object) -> list[dict[str, object]]:
    """Return an answer as JSON has it."""
    code, out, err = tell("archive", *words, "--as", "json")
    assert (code, err) == (0, "")
    found: list[dict[str, object]] = json.loads(out)
    return found


def test_every_question_is_offered() -> None:
    """The command line names what can be asked; the list is a command of its own."""
    assert {*OFFERED} == {*QUESTIONS, "missing"} - {"sessions"}


def test_samples_of_a_product_between_two_days(filled: str, tell: Tell) -> None:
    """Six vials per session, and only those of the days asked for."""
    asked = ("find", "samples", "--product", PRODUCTS[1], "--archive", filled)
    whole = rows(tell, *asked)
    assert len(whole) == 6 * 4
    assert {row["batch"] for row in whole} == {Made(n).batch for n in (1, 4, 7, 10)}
    assert rows(tell, *asked, "--from", "2025-01-06", "--to", "2025-01-06") == whole
    assert rows(tell, *asked, "--from", "2025-01-07") == []
    assert rows(tell, *asked, "--to", "2025-01-05") == []


def test_deviations_by_kind_booth_operator_and_sampler(filled: str, tell: Tell) -> None:
    """Spills of one booth, part-filled dies of one sampler; counted and listed."""
    spills = rows(tell, "find", "deviations", "--kind", "spill", "--archive", filled)
    assert {row["booth"] for row in spills} == {BOOTHS[made_site.SPILLS]}
    short = rows(tell, "find", "deviations", "--kind", "short-die", "--archive", filled)
    assert {row["sampler"] for row in short} == {SAMPLERS[made_site.WEARS][0]}
    counts = rows(tell, "find", "deviation-counts", "--archive", filled)
    expected = Counter(
        (row["kind"], row["booth"], row["operator"], row["sampler"]) for row in (*spills, *short)
    )
    found = {
        (row["kind"], row["booth"], row["operator"], row["sampler"]): row["deviations"]
        for row in counts
    }
    assert found == expected
    one = rows(tell, "find", "deviations", "--operator", short[0]["operator"], "--archive", filled)
    assert one == [
        row
        for row in sorted((*spills, *short), key=lambda row: str(row["raised_utc"]))
        if row["operator"] == short[0]["operator"]
    ]


def test_records_without_an_anchor_or_a_signature(filled: str, tell: Tell, tmp_path: Path) -> None:
    """All of the made ones; the signed golden record is in neither list."""
    golden = Path(__file__).parents[1] / "golden" / "schema-2"
    folder = shutil.copytree(golden / "record", tmp_path / "golden")
    told = tell("archive", "add", folder, "--keys", golden / "keys", "--archive", filled)
    assert told[0] == 0
    for question in ("unanchored", "unsigned"):
        found = rows(tell, "find", question, "--archive", filled)
        assert len(found) == len(NUMBERS)
        assert str(folder) not in {row["folder"] for row in found}


def test_what_a_register_names_and_the_archive_lacks(
    filled: str, tell: Tell, tmp_path: Path
) -> None:
    """One session that was never added, one that is another copy; the others agree."""
    path = tmp_path / "register.jsonl"
    register = Register(path)

    def note(made: Made, head: str = "") -> None:
        lines = [json.loads(line) for line in made_site.lines_of(made)]
        register.add(
            Note(
                type="ended",
                session=lines[0]["hash"],
                count=len(lines),
                head=head or lines[-1]["hash"],
                folder=f"/booth/{made.batch}",
            ),
            SystemClock().now(),
            "start",
            made.operator,
        )

    note(Made(0, small=True))
    note(Made(1, small=True), head="0" * 64)
    note(Made(50, small=True))
    found = rows(tell, "find", "missing", "--register", path, "--archive", filled)
    assert [(row["why"], row["folder"]) for row in found] == [
        ("another copy is in the archive", f"/booth/{Made(1).batch}"),
        ("not in the archive", f"/booth/{Made(50).batch}"),
    ]


def test_die_wear_by_port_over_time(filled: str, tell: Tell) -> None:
    """Counted by hand from the numbers of the records."""
    found = rows(tell, "find", "die-wear", "--archive", filled)
    worn = [Made(n) for n in NUMBERS if Made(n).sampler == SAMPLERS[made_site.WEARS]]
    short = sum(1 + made.number % 7 // 3 for made in worn)
    by_sampler = {row["sampler"]: row for row in found}
    assert by_sampler[SAMPLERS[0][0]]["part_filled"] == 0
    row = by_sampler[SAMPLERS[made_site.WEARS][0]]
    assert (row["month"], row["port"], row["dies"]) == ("2025-01", 1, 6 * len(worn))
    assert row["part_filled"] == short
    assert row["percent"] == pytest.approx(100 * short / (6 * len(worn)), abs=0.05)


def test_all_that_rests_on_a_plan_revision(filled: str, tell: Tell, tmp_path: Path) -> None:
    """By the file or the digits of its hash: the session, its sheet and every verdict."""
    plan = tmp_path / "plan.toml"
    plan.write_bytes(Made(0, small=True).plan)
    by_file = rows(tell, "find", "plan", "--plan", plan, "--archive", filled)
    digits = sha256(plan.read_bytes()).hexdigest()[:12]
    assert rows(tell, "find", "plan", "--plan", digits, "--archive", filled) == by_file
    assert {row["batch"] for row in by_file} == {Made(0).batch}
    assert {"industry-2014", "usp-905"} <= {str(row["scheme"]) for row in by_file}
    assert {row["sheet"] for row in by_file} == {f"{Made(0).batch}.csv"}


def test_times_that_do_not_fit(url: str, archive: Archive, tmp_path: Path, tell: Tell) -> None:
    """A booth whose clock is an hour ahead records times that are still to come."""
    good = made_site.record(tmp_path / "good", Made(0, small=True))
    made = Made(1, small=True)
    early = made_site.record(tmp_path / "early", made, ahead=True)
    assert tell("archive", "add", good, early, "--archive", url)[0] == 0
    found = ask(archive, "doubtful-times", Filters())
    assert [row[found.headings.index("batch")] for row in found.rows] == [made.batch]


def test_an_answer_as_a_table_and_as_files(filled: str, tell: Tell, tmp_path: Path) -> None:
    """The table has the main columns, CSV and JSON all; a file is UTF-8 for a spreadsheet."""
    asked = ("archive", "list", "--archive", filled, "--booth", BOOTHS[1])
    code, out, _ = tell(*asked)
    assert (code, out.splitlines()[0]) == (0, "3 rows")
    assert "opened (UTC)" in out
    assert "self-consistent" not in out
    path = tmp_path / "list.csv"
    assert tell(*asked, "--as", "csv", "-o", path)[1] == f"{path}: 3 rows\n"
    assert path.read_bytes().startswith(b"\xef\xbb\xbf")
    as_file = [*csv.DictReader(io.StringIO(path.read_text("utf-8-sig")))]
    printed = [*csv.DictReader(io.StringIO(tell(*asked, "--as", "csv")[1]))]
    as_json = json.loads(tell(*asked, "--as", "json")[1])
    assert as_file == printed == [{k: str(v) for k, v in row.items()} for row in as_json]
    assert "self-consistent only" in as_file[0]["statement"]


def test_a_trend_names_the_batch_that_drifted(url: str, tmp_path: Path, tell: Tell) -> None:
    """Nine batches alike and one that is not; rehearsals only when they are asked for."""
    work = []
    for number in range(0, 30, 3):
        made = Made(number, small=True)
        folder = made_site.record(tmp_path / "site", made)
        mean = 91 if number == 18 else 100
        work.append(f"{folder}={made_site.sheet(folder, made, mean=mean, sd=0.4)}")
    assert tell("archive", "add", *work, "--archive", url)[0] == 0
    asked = ("archive", "trend", PRODUCTS[0], "--archive", url)
    assert tell(*asked)[0] == 2
    code, out, _ = tell(*asked, "--rehearsals")
    assert code == 1
    assert "10 batches, rehearsals or simulated assays only" in out
    assert "batch mean: centre 99.1" in out
    assert f"beyond: {Made(18).batch}" in out
    found = json.loads(tell(*asked, "--rehearsals", "--as", "json")[1])
    assert [row["batch"] for row in found] == [Made(n).batch for n in range(0, 30, 3)]
    drifted = found[6]
    assert drifted["mean"] == pytest.approx(91, abs=1)
    assert not drifted["batch mean: lower"] <= drifted["mean"] <= drifted["batch mean: upper"]
    assert tell(*asked, "--rehearsals", "--last", "3")[0] == 0


def test_an_archive_that_nobody_named(
    tmp_path: Path, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The environment names it, else it is the user's own file."""
    folder = made_site.record(tmp_path / "site", Made(0, small=True))
    assert tell("archive", "add", folder)[0] == 0
    assert (tmp_path / "home" / "archive.sqlite").is_file()
    assert tell("archive", "list")[1].startswith("1 row\n")
    monkeypatch.setenv("SAMPLING_ASSISTANT_ARCHIVE", f"sqlite:///{tmp_path / 'other.sqlite'}")
    assert tell("archive", "list")[0] == 2
    assert tell("archive", "migrate")[1] == "The archive now has the tables of this version.\n"
    assert tell("archive", "list")[1] == "0 rows\n"
