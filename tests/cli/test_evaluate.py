"""`assays`, `evaluate` and `compare` as a user runs them: files in, files and exit codes out."""

import io
import json
import re
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import openpyxl
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from assistant.cli import main
from assistant.cli.assays import require_rehearsal
from assistant.cli.evaluation_inputs import MOST_BYTES, read_record
from assistant.clock import ManualClock
from assistant.errors import InputError
from assistant.journal.chain import read
from assistant.journal.head_code import head_code
from assistant.journal.signing import sign
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Meaning
from assistant.storage import bundled_files
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder
from assistant.storage.signatures import add_signature
from assistant.testing import Departure, quick_record
from tests.dialogue import full

GRAMMAR = bundled_files.read_grammar("en")
CONE = full("double-cone")


def take(folder: Path, plan: bytes = CONE, *departures: Departure) -> Path:
    """Put a session on record in a folder."""
    clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
    with RecordFolder.create(folder, plan, GRAMMAR) as record:
        quick_record(record, clock, plan, GRAMMAR, departures=departures)
    return folder


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of records: three batches, one stopped session, one stopped before any vial."""
    root = tmp_path_factory.mktemp("records")
    for number in (1, 2, 3):
        take(root / f"batch-{number}", CONE.replace(b"TV2611", b"TV261%d" % number))
    stop = Meaning(intent=Intent.STOP_SAMPLING)
    take(root / "stopped", CONE, Departure(State.SEATING, stop, visit=4))
    take(root / "nothing", CONE, Departure(State.SEATING, stop))
    return root


@pytest.fixture
def record(records: Path) -> Path:
    """The record of one whole session."""
    return records / "batch-1"


def csv(
    assay: Callable[[int], object], head: str = "vial,assay (% of target)", count: int = 30
) -> str:
    """A sheet with one row for each vial."""
    return "\n".join([head, *(f"{n},{assay(n)}" for n in range(1, count + 1))]) + "\n"


def good(n: int) -> str:
    """An assay that no scheme minds."""
    return f"{99 + (n * 7) % 5 / 2:.1f}"


@pytest.mark.slow
def test_plan_to_verdict_in_a_process_of_its_own(record: Path, tmp_path: Path) -> None:
    """The commands of the README: assays are made up, both reports and the numbers written."""

    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-W", "error", "-m", "assistant", *words],
            capture_output=True,
            text=True,
            check=False,
            cwd=tmp_path,
        )

    made = run("assays", str(record), "-o", "lab.csv", "--seed", "3", "--between", "0.5")
    assert (made.returncode, made.stderr) == (0, "")
    assert "30 made-up assays" in made.stdout
    done = run(
        "evaluate", str(record), "lab.csv", "-o", "r.pdf", "-o", "r.html", "--json", "r.json"
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("CRITERIA MET\n")
    assert (tmp_path / "r.pdf").read_bytes().startswith(b"%PDF")
    assert (tmp_path / "r.html").read_bytes().startswith(b"<!DOCTYPE html>")
    assert json.loads((tmp_path / "r.json").read_text("utf-8"))["verdict"]["met"] is True


def test_the_answer_no_is_one(record: Path, tmp_path: Path) -> None:
    """A blend beyond the limit ends with exit code 1, and its reports are written all the same."""
    assert main(["assays", str(record), "-o", str(tmp_path / "a.csv"), "--between", "9"]) == 0
    out = tmp_path / "r.html"
    assert main(["evaluate", str(record), str(tmp_path / "a.csv"), "-o", str(out)]) == 1
    assert b"CRITERIA NOT MET" in out.read_bytes()


def test_the_scheme_asked_for_decides(record: Path, tmp_path: Path) -> None:
    """A far mean leaves a point open under one scheme and fails the acceptance value."""
    sheet = tmp_path / "a.csv"
    assert main(["assays", str(record), "-o", str(sheet), "--mean", "80", "--within", "0.5"]) == 0
    assert main(["evaluate", str(record), str(sheet)]) == 4
    assert main(["evaluate", str(record), str(sheet), "--scheme", "usp-905"]) == 1
    assert main(["evaluate", str(record), str(sheet), "--scheme", "e2810-plan-2"]) == 1


BAD = {
    "empty": ("", "is empty"),
    "wrong separator": (csv(good).replace(",", "|"), "separated by comma, semicolon or tab"),
    "no heading": ("1,99\n2,98\n", "no heading"),
    "heading only": ("vial,assay (% of target)\n", "has a heading but no vial"),
    "decimal commas, comma-separated": (csv(lambda n: f"99,{n}"), "quote decimal commas"),
    "not a number": (csv(lambda n: "NaN" if n == 4 else good(n)), "row 5"),
    "text": (csv(lambda n: "lost" if n == 4 else good(n)), "row 5"),
    "negative": (csv(lambda n: -1 if n == 4 else good(n)), "vial 4 (row 5) is negative"),
    "fractions": (csv(lambda n: f"0.9{n % 9}"), "read as fraction of target the mean is"),
    "eight per cent by weight": (
        csv(lambda n: 7.84 + 0.1 * (n % 3 - 1), "vial,Assay (%)"),
        "read as % of target the mean is 7.84, SD 0.08 % of target; read as % by weight the mean",
    ),
    "unit not named": (csv(good, "vial,assay"), "names no unit"),
    "milligrams without a mass": (csv(lambda _: 20, "vial,assay (mg)"), "needs the net mass"),
    "duplicate": (csv(good) + "4,99\n", "more than once in the sheet: 4"),
    "unknown": (csv(good, count=31), "unknown to the session: 31"),
    "missing": (csv(good, count=28), "without an assay: 29, 30"),
    "one location": (csv(good, count=3), "without an assay: 4, 5"),
    "another batch": (
        csv(lambda n: f"{good(n)},Z9", "vial,assay (% of target),batch"),
        "another batch",
    ),
    "far beyond": (csv(lambda n: "1e300" if n == 4 else good(n)), "Vial 4: the assay 1e+300 %"),
    "too large": ("x" * (MOST_BYTES + 1), "too many for a sheet"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_sheet_is_one_clear_sentence(
    name: str, record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, one line that names what and where, and no file is left."""
    text, complaint = BAD[name]
    sheet = tmp_path / "lab.csv"
    sheet.write_text(text, "utf-8")
    out = [tmp_path / "r.pdf", tmp_path / "r.json"]
    code = main(["evaluate", str(record), str(sheet), "-o", str(out[0]), "--json", str(out[1])])
    said = capsys.readouterr()
    assert code == 2
    assert complaint in said.err
    assert said.err.startswith("sampling-assistant: ")
    assert said.err.count("\n") == 1
    assert said.out == ""
    assert not any(path.exists() for path in out)


@pytest.mark.parametrize(
    ("text", "options"),
    [
        (csv(good, "vial;assay (% of target)").replace(",", ";").replace(".", ","), []),
        (csv(good, "vial\tassay (% of target)").replace(",", "\t"), []),
        (
            csv(good)
            .replace("vial,assay (% of target)", "assay (% of target),vial")
            .replace("\n", "\r\n"),
            [],
        ),
        (csv(lambda n: float(good(n)) / 100), ["--unit", "fraction of target"]),
        (csv(lambda n: float(good(n)) * 0.8, "vial,assay (mg/g)"), []),
        (csv(lambda n: float(good(n)) * 0.8, "vial,assay"), ["--unit", "mg/g"]),
        (csv(lambda n: f"{float(good(n)) * 0.32},400", "vial,assay (mg),mass (mg)"), []),
    ],
    ids=["decimal commas", "tabs", "columns turned", "fraction", "mg/g", "unit given", "mg"],
)
def test_sheets_that_are_clear_are_read(
    text: str, options: list[str], record: Path, tmp_path: Path
) -> None:
    """Whatever the separator, the decimal mark, the order of columns and the unit: one mean."""
    if options == ["--unit", "fraction of target"]:
        text = text.replace("assay (% of target)", "assay")
    if text.startswith("assay"):
        rows = [line.split(",") for line in text.split("\r\n")[1:] if line]
        text = "\r\n".join(["assay (% of target),vial", *(f"{b},{a}" for a, b in rows)])
    sheet, out = tmp_path / "lab.csv", tmp_path / "r.json"
    sheet.write_text(text, "utf-8")
    assert main(["evaluate", str(record), str(sheet), "--json", str(out), *options]) == 0
    mean = json.loads(out.read_text("utf-8"))["study"]["summary"]["mean"]
    expected = sum(float(good(n)) for n in range(1, 31)) / 30
    assert mean == pytest.approx(expected, rel=1e-9)


def test_encodings_and_workbooks(record: Path, tmp_path: Path) -> None:
    """UTF-8 with a mark, UTF-16 as spreadsheets save it, and XLSX."""
    for name, data in (
        ("a.csv", csv(good).encode("utf-8-sig")),
        ("b.txt", csv(good).replace(",", "\t").encode("utf-16")),
        ("c.txt", csv(good).encode("utf-16-le")),
        ("d.txt", csv(good).encode("utf-16-be")),
        ("e.csv", b"Br\xfcnn Analytik\n" + csv(good).encode("latin-1")),
    ):
        (tmp_path / name).write_bytes(data)
        assert main(["evaluate", str(record), str(tmp_path / name)]) == 0
    book = openpyxl.Workbook()
    page = book.active
    assert page is not None
    page.append(["Vial", "Assay (% of target)"])
    for n in range(1, 31):
        page.append([n, float(good(n))])
    out = io.BytesIO()
    book.save(out)
    (tmp_path / "c.xlsx").write_bytes(out.getvalue())
    assert main(["evaluate", str(record), str(tmp_path / "c.xlsx")]) == 0


@pytest.mark.parametrize(
    ("name", "data", "complaint"),
    [
        ("a.csv", b"vial,assay (% of target)\n1,\x81\n", "neither UTF-8, UTF-16 nor Latin-1"),
        ("a.xlsx", b"PK\x03\x04 broken", "not a readable XLSX workbook"),
        ("a.ods", b"x", "save the assays as CSV or XLSX"),
        ("a", b"x", "no suffix is not"),
    ],
)
def test_files_of_another_kind(
    *,
    name: str,
    data: bytes,
    complaint: str,
    record: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """What is no sheet is refused by its name or its bytes."""
    (tmp_path / name).write_bytes(data)
    assert main(["evaluate", str(record), str(tmp_path / name)]) == 2
    assert complaint in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["-o", "r.docx"], "name a report ending in .pdf or .html"),
        (["-o", "nowhere/r.pdf"], "nowhere"),
        (["--confidence", "95"], "not between 0 and 1"),
        (["--coverage", "1.5"], "not between"),
        (["--method-sd", "-1"], "not above 0"),
    ],
)
def test_options_that_cannot_be(
    *,
    words: list[str],
    complaint: str,
    record: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Refused with exit code 2 and one sentence."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "lab.csv").write_text(csv(good), "utf-8")
    assert main(["evaluate", str(record), "lab.csv", *words]) == 2
    assert complaint in capsys.readouterr().err


def test_partial_says_so(records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A stopped session has no verdict, unless a partial one is asked for and called so."""
    stopped, sheet = records / "stopped", tmp_path / "a.csv"
    assert main(["assays", str(stopped), "-o", str(sheet)]) == 0
    assert main(["evaluate", str(stopped), str(sheet)]) == 2
    assert "not closed (it is in state stopped)" in capsys.readouterr().err
    out = tmp_path / "r.html"
    code = main(["evaluate", str(stopped), str(sheet), "--partial", "-o", str(out)])
    assert code == 0
    assert "- Partial evaluation, as asked for. Vials not reconciled" in capsys.readouterr().out
    assert b"Partial evaluation, as asked for" in out.read_bytes()


def test_one_replicate_only_is_stage_one(record: Path, tmp_path: Path) -> None:
    """One assay per location, the others said to be missing: the first stage decides."""
    sheet = tmp_path / "a.csv"
    rows = "".join(f"{n},{good(n)}\n" for n in range(1, 31, 3))
    sheet.write_text(f"vial,assay (% of target)\n{rows}", "utf-8")
    assert main(["evaluate", str(record), str(sheet)]) == 2
    out = tmp_path / "r.json"
    assert main(["evaluate", str(record), str(sheet), "--partial", "--json", str(out)]) == 0
    assert json.loads(out.read_text("utf-8"))["study"]["components"] is None


def test_one_location_only_has_no_verdict(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Not even a partial one."""
    sheet = tmp_path / "a.csv"
    sheet.write_text(csv(good, count=3), "utf-8")
    assert main(["evaluate", str(record), str(sheet), "--partial"]) == 2
    assert "come from one location (C2)" in capsys.readouterr().err


def test_equal_results_are_met_and_doubted(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Zero variance meets every limit, and the reader is told to check the data."""
    sheet, out = tmp_path / "a.csv", tmp_path / "r.pdf"
    sheet.write_text(csv(lambda _: 99), "utf-8")
    assert main(["evaluate", str(record), str(sheet), "-o", str(out)]) == 0
    assert "All results are equal" in capsys.readouterr().out
    assert out.read_bytes().startswith(b"%PDF")


def test_a_damaged_record_has_no_verdict(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A changed entry, an exchanged plan and a missing record each stop with their own code."""
    sheet = tmp_path / "a.csv"
    sheet.write_text(csv(good), "utf-8")
    copy = shutil.copytree(record, tmp_path / "copy")
    lines = (copy / "record.jsonl").read_bytes()
    (copy / "record.jsonl").write_bytes(lines.replace(b"vial one full", b"vial one fulL", 1))
    assert main(["evaluate", str(copy), str(sheet)]) == 1
    assert "Entry" in capsys.readouterr().err
    (copy / "record.jsonl").write_bytes(lines)
    plan = (copy / "plan.toml").read_bytes()
    (copy / "plan.toml").write_bytes(plan.replace(b"12 min", b"13 min"))
    assert main(["evaluate", str(copy), str(sheet)]) == 1
    assert "is not the file that was used" in capsys.readouterr().err
    assert main(["evaluate", str(tmp_path / "none"), str(sheet)]) == 2
    assert "There is no record" in capsys.readouterr().err
    assert main(["evaluate", str(record), str(tmp_path / "none.csv")]) == 2
    assert "There is no assay file" in capsys.readouterr().err


def test_signatures_must_be_under_this_record(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One that is stands in the report; one carried over from another record stops the verdict."""
    sheet, out = tmp_path / "a.csv", tmp_path / "r.html"
    sheet.write_text(csv(good), "utf-8")
    copy = shutil.copytree(records / "batch-1", tmp_path / "copy")
    key = Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
    *_, last = read(RecordReader(copy).lines())
    signature = sign(
        last,
        name="Ines Vork",
        meaning="approved",
        utc="2026-03-05T09:10:11.000000Z",
        key=key,
        previous=None,
    )
    add_signature(copy, signature)
    keys = tmp_path / "keys"
    keys.mkdir()
    public = key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    (keys / "Ines Vork.pem").write_bytes(public)
    proved = ["--keys", str(keys)]
    assert main(["evaluate", str(copy), str(sheet)]) == 2
    assert "is signed: name the folder of public keys" in capsys.readouterr().err
    assert main(["evaluate", str(copy), str(sheet), "-o", str(out), *proved]) == 0
    assert b"Ines Vork" in out.read_bytes()
    other = shutil.copytree(records / "batch-2", tmp_path / "other")
    shutil.copy(copy / "signatures.jsonl", other / "signatures.jsonl")
    assert main(["evaluate", str(other), str(sheet)]) == 1
    assert "was not made under this record" in capsys.readouterr().err
    signed = copy / "signatures.jsonl"
    signed.write_bytes(
        re.sub(rb'"signature":"[0-9a-f]+"', b'"signature":"%s"' % (b"0" * 128), signed.read_bytes())
    )
    assert main(["evaluate", str(copy), str(sheet), *proved]) == 1
    assert "was not made by the holder of that key" in capsys.readouterr().err


def test_the_head_code_is_proved_too(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same options as `verify`."""
    sheet = tmp_path / "a.csv"
    sheet.write_text(csv(good), "utf-8")
    *_, last = read(RecordReader(record).lines())
    code = head_code(last.seq, last.hash).text
    assert main(["evaluate", str(record), str(sheet), "--head", code]) == 0
    assert main(["evaluate", str(record), str(sheet), "--head", "nonsense"]) == 2
    assert "nonsense" in capsys.readouterr().err


def test_made_up_assays_hold_the_truth_put_in(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same seed gives the same sheet; bias moves the mean; nothing varies where nothing may."""

    def made(*words: str) -> list[float]:
        path, six = tmp_path / "a.csv", ("--decimals", "6")
        assert main(["assays", str(record), "-o", str(path), "--overwrite", *six, *words]) == 0
        rows = path.read_text("utf-8").splitlines()
        assert rows[0] == "Vial,Assay (% of target),Net mass (mg),Batch,Origin"
        assert all(",TV2611," in row for row in rows[1:])
        return [float(row.split(",")[1]) for row in rows[1:]]

    plain = made("--seed", "4")
    assert made("--seed", "4") == plain
    assert made("--seed", "5") != plain
    biased = made("--seed", "4", "--bias", "-2.5")
    assert [b - a for a, b in zip(plain, biased, strict=True)] == pytest.approx(
        [-2.5] * 30, abs=2e-6
    )
    assert set(made("--between", "0", "--within", "0", "--mean", "97")) == {97.0}
    capsys.readouterr()


@pytest.mark.parametrize(
    ("where", "words", "complaint"),
    [
        ("nothing", [], "filled no vial"),
        ("batch-1", ["--between", "-1"], "standard deviations of 0 or more"),
        ("batch-1", ["--decimals", "9"], "give 0 to 6"),
        ("batch-1", ["--seed", "-1"], "give 0 or more"),
    ],
)
def test_assays_that_cannot_be_made_up(
    *,
    where: str,
    words: list[str],
    complaint: str,
    records: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Refused with exit code 2, and no file is written."""
    out = tmp_path / "a.csv"
    assert main(["assays", str(records / where), "-o", str(out), *words]) == 2
    assert complaint in capsys.readouterr().err
    assert not out.exists()


def pairs(records: Path, tmp_path: Path, means: tuple[float, ...]) -> list[str]:
    """Sheets for the batches, and the arguments that name both."""
    named = []
    for number, mean in enumerate(means, start=1):
        folder, sheet = records / f"batch-{number}", tmp_path / f"{number}.csv"
        words = ["--mean", str(mean), "--seed", str(number), "--between", "0.8", "--overwrite"]
        assert main(["assays", str(folder), "-o", str(sheet), *words]) == 0
        named.append(f"{folder}={sheet}")
    return named


@pytest.mark.slow
def test_batches_are_compared(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """0 when nothing tells them apart, 1 when something does; report and numbers on request."""
    out, numbers = tmp_path / "c.pdf", tmp_path / "c.json"
    files = ["-o", str(out), "--json", str(numbers), "--overwrite"]
    assert main(["compare", *pairs(records, tmp_path, (100, 100, 100)), *files]) == 0
    assert "NO DIFFERENCE BETWEEN THE BATCHES FOUND" in capsys.readouterr().out
    assert out.read_bytes().startswith(b"%PDF")
    assert json.loads(numbers.read_text("utf-8"))["alike"] is True
    assert main(["compare", *pairs(records, tmp_path, (100, 100, 94)), *files]) == 1
    assert "means differ" in capsys.readouterr().out
    assert json.loads(numbers.read_text("utf-8"))["alike"] is False


def test_a_partial_comparison_says_so(
    records: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was left out stands below the verdict."""
    stopped, sheet = records / "stopped", tmp_path / "s.csv"
    assert main(["assays", str(stopped), "-o", str(sheet), "--between", "0.8"]) == 0
    named = [*pairs(records, tmp_path, (100, 100))[1:], f"{stopped}={sheet}"]
    assert main(["compare", *named]) == 2
    assert main(["compare", *named, "--partial"]) == 0
    assert "- Partial, as asked for: batch TV2611" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "complaint"),
    [
        (["here"], "write RECORD=ASSAYS"),
        (["=a.csv"], "write RECORD=ASSAYS"),
        (["RECORD=SHEET"], "One batch only"),
        (["RECORD=SHEET", "RECORD=SHEET"], "same batch name"),
        (["RECORD=SHEET", "--significance", "5"], "between 0 and 1"),
        (["RECORD=SHEET", "-o", "c.txt"], "name a report ending in"),
    ],
)
def test_comparisons_that_cannot_be(
    *,
    words: list[str],
    complaint: str,
    record: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Refused with exit code 2 and one sentence."""
    sheet = tmp_path / "a.csv"
    sheet.write_text(csv(good), "utf-8")
    named = [word.replace("RECORD", str(record)).replace("SHEET", str(sheet)) for word in words]
    assert main(["compare", *named]) == 2
    assert complaint in capsys.readouterr().err


@pytest.mark.parametrize(
    ("kind", "words"), [("live", "is of a live session"), ("", "does not say that it is")]
)
def test_assays_are_made_up_for_rehearsals_only(
    kind: str, words: str, record: Path, tmp_path: Path
) -> None:
    """A live session gets none, nor does an older record that does not say what it is."""
    told, *_ = read_record(record)
    require_rehearsal(told, record)
    other = replace(told, opened=told.opened.model_copy(update={"kind": kind}))
    with pytest.raises(InputError, match=words):
        require_rehearsal(other, record)
    golden = Path(__file__).parent.parent / "golden" / "schema-1" / "record"
    shutil.copytree(golden, tmp_path / "old")
    assert main(["assays", str(tmp_path / "old"), "-o", str(tmp_path / "a.csv")]) == 2
    assert not (tmp_path / "a.csv").exists()


def test_tolerance_limits_are_told_and_do_not_change_the_answer(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """On the terminal and in the files; what cannot be read is refused."""
    (tmp_path / "lab.csv").write_text(csv(good))
    command = ["evaluate", str(record), str(tmp_path / "lab.csv")]
    plain = main(command)
    before = capsys.readouterr().out
    numbers = tmp_path / "numbers.json"
    asked = [*command, "--tolerance-interval", "95/95", "--json", str(numbers)]
    assert main(asked) == plain
    after = capsys.readouterr().out
    assert "tolerance interval" not in before
    assert after.startswith(before.splitlines()[0])
    assert "tolerance interval 95/95, not part of the verdict:" in after
    assert json.loads(numbers.read_text())["tolerance_interval"]["asked"]["name"] == "95/95"
    assert main([*command, "--tolerance-interval", "95"]) == 2
