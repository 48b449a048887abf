"""`export`: a record as tables, JSON and a sheet; damaged ones marked; signatures everywhere."""

import csv
import io
import json
import random
import re
import zlib
from base64 import a85decode
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from subprocess import CompletedProcess

import jsonschema  # type: ignore[import-untyped]  # its types come in another package
import pytest

from assistant.report.export import SCHEMA_FILE

OPERATOR, WITNESS, REVIEWER = "Mira Oostveld", "Jonas Pell", "Ada Lindqvist"

Make = Callable[[str], Path]
Run = Callable[..., CompletedProcess[str]]
Refused = Callable[..., None]
Sign = Callable[..., int]
Rows = list[dict[str, str]]

TABLES = ("about", "deviations", "events", "samples", "signatures", "transcripts")


def read_table(path: Path) -> Rows:
    """The rows of a table, by their headings."""
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"))))


def about(folder: Path) -> dict[str, str]:
    """What the table about the record says, the last of each name."""
    return {row["what"]: row["value"] for row in read_table(folder / "about.csv")}


def pages(path: Path) -> list[bytes]:
    """What is drawn on each page of a PDF."""
    found = re.findall(rb"ASCII85Decode.*?stream\r?\n(.*?)endstream", path.read_bytes(), re.DOTALL)
    return [zlib.decompress(a85decode(packed.strip().removesuffix(b"~>"))) for packed in found]


def words(page: bytes) -> str:
    """What is printed on a page, piece by piece."""
    pieces = re.findall(rb"\(((?:\\.|[^\\)])*)\) Tj", page)
    text = " ".join(piece.decode("latin-1") for piece in pieces)
    return re.sub(r"\\([()\\])", r"\1", text)


def printed(path: Path) -> str:
    """Everything printed in a PDF, spaces made equal."""
    return " ".join(" ".join(words(page) for page in pages(path)).split())


def test_a_row_for_every_sample_and_every_event(taken: Make, tmp_path: Path, command: Run) -> None:
    """Five tables that a spreadsheet reads; every row says in what condition the record is."""
    record, out = taken("deviations"), tmp_path / "tables"
    done = command("export", record, "--as", "csv", "-o", out)
    assert done.returncode == 0
    assert sorted(path.stem for path in out.iterdir()) == list(TABLES)
    samples, events = read_table(out / "samples.csv"), read_table(out / "events.csv")
    assert [row["vial"] for row in samples] == ["1", "2", "3", "4", "5", "6"]
    first = samples[0]
    assert (first["location"], first["position"], first["port"]) == ("C2", "bottom", "1")
    assert (first["status"], first["taken_by"], first["batch"]) == ("full", OPERATOR, "TV2611")
    assert first["taken_utc"] < first["emptied_utc"]
    assert samples[1]["deviations"] == "1"
    entries = (record / "record.jsonl").read_bytes().splitlines()
    assert [row["seq"] for row in events] == [str(n) for n in range(1, len(entries) + 1)]
    for row, entry in zip(events, map(json.loads, entries), strict=True):
        assert (row["utc"], row["hash"]) == (entry["utc"], entry["hash"])
        assert (row["type"], row["state"]) == (entry["event"]["type"], entry["outcome"]["state"])
    kinds = [row["kind"] for row in read_table(out / "deviations.csv")]
    assert kinds == ["overrun", "device-lost", "spill"]
    for name in ("samples", "events", "deviations"):
        assert {row["condition"] for row in read_table(out / f"{name}.csv")} == {"whole"}
    assert about(out)["samples-full"] == "6"


def test_every_form_says_how_far_the_record_is_anchored(
    taken: Make, tmp_path: Path, command: Run
) -> None:
    """Tables, JSON and sheet alike: that nothing from outside was given is said on paper too."""
    record, said = taken("whole"), "self-consistent only: without a head code"
    for form, name in (("csv", "t"), ("json", "j.json"), ("sheet", "s.pdf")):
        assert command("export", record, "--as", form, "-o", tmp_path / name).returncode == 0
    assert said in (tmp_path / "t" / "about.csv").read_text("utf-8")
    assert said in (tmp_path / "j.json").read_text("utf-8")
    assert said[1:] in printed(tmp_path / "s.pdf")  # there it begins a sentence


def test_json_follows_the_published_schema(
    taken: Make, tmp_path: Path, command: Run, sign: Sign
) -> None:
    """The schema inside the package validates every kind of record, and asks for no less."""
    schema = json.loads((resources.files("assistant.report") / SCHEMA_FILE).read_text("utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    for kind in ("whole", "deviations", "stopped", "open", "spoken", "torn", "alone"):
        record, out = taken(kind), tmp_path / f"{kind}.json"
        if kind == "whole":
            assert sign(record, REVIEWER, "reviewed") == 0
        if kind == "stopped":
            path = record / "record.jsonl"
            path.write_bytes(path.read_bytes()[:-9])
        code = command("export", record, "--as", "json", "-o", out).returncode
        assert code == (1 if kind == "stopped" else 0)
        told = json.loads(out.read_text("utf-8"))
        validator.validate(told)
        assert len(told["entries"]) == told["head"]["seq"]
        for part in ("condition", "samples", "signatures"):
            less = {name: value for name, value in told.items() if name != part}
            assert not validator.is_valid(less)
        assert not validator.is_valid(told | {"condition": "fine"})


def test_a_spoken_reason_is_found_by_its_clip(taken: Make, tmp_path: Path, command: Run) -> None:
    """Whoever reads the tables can hear why the deviation was accepted."""
    record, out = taken("spoken"), tmp_path / "t"
    assert command("export", record, "--as", "csv", "-o", out).returncode == 0
    (clip,) = (record / "clips").iterdir()
    (deviation,) = read_table(out / "deviations.csv")
    assert (deviation["reason"], deviation["reason_clip"]) == ("", clip.stem)
    sheet = tmp_path / "s.pdf"
    assert command("export", record, "--as", "sheet", "-o", sheet).returncode == 0
    assert "spoken, clip of entry " in printed(sheet)
    assert ", 1.0 s" in printed(sheet)


def test_name_time_and_meaning_stand_in_every_export(
    taken: Make, tmp_path: Path, command: Run, sign: Sign, public: Path
) -> None:
    """21 CFR 11.50: tables, JSON, sheet and report, in words that a person reads."""
    record = taken("whole")
    given = ((OPERATOR, "performed"), (WITNESS, "witnessed"), (REVIEWER, "approved"))
    for name, meaning in given:
        assert sign(record, name, meaning) == 0
    lines = (record / "signatures.jsonl").read_text("utf-8").splitlines()
    times = [json.loads(line)["statement"]["utc"] for line in lines]
    for form, name in (("csv", "t"), ("json", "j.json"), ("sheet", "s.pdf")):
        out = tmp_path / name
        assert command("export", record, "--as", form, "-o", out, "--keys", public).returncode == 0
    rows = read_table(tmp_path / "t" / "signatures.csv")
    told = json.loads((tmp_path / "j.json").read_text("utf-8"))["signatures"]
    sheet = printed(tmp_path / "s.pdf")
    facts = about(tmp_path / "t")
    page = tmp_path / "r.html"
    assays = tmp_path / "a.csv"
    assert command("assays", record, "-o", assays).returncode == 0
    command("evaluate", record, assays, "--keys", public, "-o", page, "-o", tmp_path / "r.pdf")
    report = page.read_text("utf-8")
    for (name, meaning), utc, row, one in zip(given, times, rows, told, strict=True):
        for found in (row, one):
            assert (found["name"], found["meaning"], found["utc"]) == (name, meaning, utc)
            assert found["standing"] == "genuine"
        assert facts[f"signed by {name}"] == f"{meaning}, {utc}, genuine"
        short = f"{utc[:10]} {utc[11:19]} UTC"
        assert f"{name} {meaning} {short} entry " in sheet
        assert all(piece in report for piece in (name, meaning, short))


def test_nobody_has_signed_is_said(taken: Make, tmp_path: Path, command: Run) -> None:
    """An empty place is not left to be overlooked."""
    sheet = tmp_path / "s.pdf"
    assert command("export", taken("whole"), "--as", "sheet", "-o", sheet).returncode == 0
    assert "Nobody has signed this record." in printed(sheet)


SPOILT: dict[str, tuple[Callable[[Path], None], str]] = {}


def spoils(expected: str) -> Callable[[Callable[[Path], None]], Callable[[Path], None]]:
    """List a way of damaging a record, and what is said of it."""

    def listed(damage: Callable[[Path], None]) -> Callable[[Path], None]:
        SPOILT[damage.__name__] = damage, expected
        return damage

    return listed


def edit(record: Path, change: Callable[[list[bytes]], list[bytes]]) -> None:
    """Change the lines of a record."""
    path = record / "record.jsonl"
    path.write_bytes(b"".join(change(path.read_bytes().splitlines(keepends=True))))


@spoils("Entry 30 of the record is not sound")
def changed(record: Path) -> None:
    """A name is changed in the middle."""
    edit(record, lambda s: [*s[:29], s[29].replace(b"Mira", b"Mara"), *s[30:]])


@spoils("stops in the middle of a line")
def torn(record: Path) -> None:
    """The last line is cut."""
    edit(record, lambda s: [*s[:-1], s[-1][:-30]])


@spoils("not the file that was used")
def other_plan(record: Path) -> None:
    """The plan was exchanged."""
    path = record / "plan.toml"
    path.write_bytes(path.read_bytes() + b"# other\n")


@spoils("grammar.toml is not the file that was used")
def reworded(record: Path) -> None:
    """A prompt was changed: the file is named, not the entry that rests on it."""
    path = record / "grammar.toml"
    path.write_bytes(path.read_bytes().replace(b"Has your site's", b"Did your site's"))


@spoils(f"The signature of {REVIEWER} was not made under this record")
def cut(record: Path) -> None:
    """The end was cut off after the signature."""
    edit(record, lambda s: s[:-1])


@spoils("Signature 1")
def forged(record: Path) -> None:
    """The file of signatures is nonsense."""
    (record / "signatures.jsonl").write_bytes(b"trust me\n")


@spoils("Entry 1 ")
def nothing_left(record: Path) -> None:
    """Not even the first entry holds."""
    edit(record, lambda s: [b"{}\n", *s[1:]])


@pytest.mark.parametrize("name", SPOILT)
def test_a_damaged_record_is_exported_and_marked(
    name: str, taken: Make, tmp_path: Path, command: Run, sign: Sign
) -> None:
    """Every form holds what could be proved, says DAMAGED and why, and the exit code is 1."""
    damage, why = SPOILT[name]
    record = taken("whole")
    assert sign(record, REVIEWER, "reviewed") == 0
    damage(record)
    for form, where in (("csv", "t"), ("json", "j.json"), ("sheet", "s.pdf")):
        done = command("export", record, "--as", form, "-o", tmp_path / where)
        assert done.returncode == 1
        assert "damaged record" in done.stdout
        assert re.search(f"does not hold: .*{re.escape(why)}", done.stdout)
    told = json.loads((tmp_path / "j.json").read_text("utf-8"))
    assert told["condition"] == "damaged"
    assert any(why in fault for fault in told["faults"])
    for row in read_table(tmp_path / "t" / "samples.csv"):
        assert row["condition"] == "damaged"
    facts = (row["value"] for row in read_table(tmp_path / "t" / "about.csv"))
    assert any(why in value for value in facts)
    for page in pages(tmp_path / "s.pdf"):
        assert words(page).startswith("DAMAGED: do not rely on it")
    assert re.search(f"Does not hold: .*{re.escape(why)}", printed(tmp_path / "s.pdf"))


@pytest.mark.parametrize(("kind", "state"), [("stopped", "stopped"), ("open", "withdrawing")])
def test_an_incomplete_record_is_marked(
    kind: str, state: str, taken: Make, tmp_path: Path, command: Run
) -> None:
    """Proven, but not whole: no vial is shown as filled that was not, and nothing is an error."""
    record = taken(kind)
    for form, where in (("csv", "t"), ("json", "j.json"), ("sheet", "s.pdf")):
        done = command("export", record, "--as", form, "-o", tmp_path / where)
        assert done.returncode == 0
        assert "incomplete record" in done.stdout
    told = json.loads((tmp_path / "j.json").read_text("utf-8"))
    assert (told["condition"], told["session"]["state"]) == ("incomplete", state)
    assert (told["session"]["ended"] is None) == (kind == "open")
    assert about(tmp_path / "t")["condition"] == "incomplete"
    assert {row["status"] for row in read_table(tmp_path / "t" / "samples.csv")} >= {"planned"}
    for page in pages(tmp_path / "s.pdf"):
        assert words(page).startswith("INCOMPLETE: intact, but")
    if kind == "open":
        assert "not ended" in printed(tmp_path / "s.pdf")


def test_whose_key_is_unknown_is_marked(
    taken: Make, tmp_path: Path, command: Run, sign: Sign, public: Path
) -> None:
    """A key that is not at hand says nothing against the record, and is named where it is seen."""
    record, out = taken("whole"), tmp_path / "j.json"
    assert sign(record, REVIEWER, "reviewed") == 0
    (public / f"{REVIEWER}.pem").unlink()
    words_ = ("export", record, "--as", "json", "-o", out, "--keys")
    done = command(*words_, public)
    assert done.returncode == 0
    assert f"the signature of {REVIEWER} is not checked: there is no public key" in done.stdout
    assert json.loads(out.read_text("utf-8"))["condition"] == "whole"
    out.unlink()
    done = command(*words_, tmp_path / "none")
    assert done.returncode == 2
    assert "There is no folder" in done.stderr
    assert not out.exists()


def test_where_nothing_can_be_written(
    taken: Make, tmp_path: Path, command: Run, refused: Refused
) -> None:
    """A folder for a file, a file for a folder, a way through a file; the record is not touched."""
    record = taken("whole")
    before = {path: path.read_bytes() for path in record.iterdir() if path.is_file()}
    blocked = tmp_path / "file"
    blocked.write_text("mine", "utf-8")
    for form, path in (
        ("json", tmp_path),
        ("json", tmp_path / "none" / "j.json"),
        ("sheet", blocked / "s.pdf"),
        ("json", tmp_path / "j.pdf"),
        ("sheet", tmp_path / "s.json"),
        ("csv", blocked),
        ("csv", blocked / "t"),
        ("csv", tmp_path / "none" / "t"),
    ):
        refused(command("export", record, "--as", form, "-o", path), 2, str(path))
    assert blocked.read_text("utf-8") == "mine"
    assert before == {path: path.read_bytes() for path in record.iterdir() if path.is_file()}


def test_the_same_record_gives_the_same_bytes(taken: Make, tmp_path: Path, command: Run) -> None:
    """An export can be made again and compared."""
    record = taken("deviations")
    for form, ending in (("json", "json"), ("sheet", "pdf")):
        made = []
        for name in ("one", "two"):
            out = tmp_path / f"{name}.{ending}"
            assert command("export", record, "--as", form, "-o", out).returncode == 0
            made.append(out.read_bytes())
        assert made[0] == made[1]


def test_somebodys_words_are_no_formula(taken: Make, tmp_path: Path, command: Run) -> None:
    """What was typed as a remark cannot run in a spreadsheet."""
    out = tmp_path / "t"
    assert command("export", taken("formula"), "--as", "csv", "-o", out).returncode == 0
    (deviation,) = read_table(out / "deviations.csv")
    assert deviation["reason"] == "'=1+1"


def test_names_from_all_over_europe_are_printed(taken: Make, tmp_path: Path, command: Run) -> None:
    """Marked up, nothing; lost, nothing: the letters stand in the file's own faces."""
    sheet = tmp_path / "s.pdf"
    assert command("export", taken("letters"), "--as", "sheet", "-o", sheet).returncode == 0
    raw = sheet.read_bytes()
    maps = b"".join(
        zlib.decompress(found)
        for found in re.findall(
            rb"\[ /FlateDecode \].{0,40}?stream\n(.*?)endstream", raw, re.DOTALL
        )
    )
    for letter in "ŠŘčŻłωи":
        assert f"<{ord(letter):04X}>".encode() in maps, letter


@pytest.mark.parametrize("form", ["csv", "json", "sheet"])
@pytest.mark.parametrize("file", ["plan.toml", "grammar.toml"])
def test_a_plan_that_cannot_be_read_stops_no_export(
    form: str, file: str, taken: Make, command: Run, sign: Sign
) -> None:
    """Every entry that the chain proves is exported, marked; the changed file is named."""
    record = taken("whole")
    out = record.parent / {"csv": "t", "json": "j.json", "sheet": "s.pdf"}[form]
    assert sign(record, REVIEWER, "reviewed") == 0
    (record / file).write_bytes(b"= " + (record / file).read_bytes())
    done = command("export", record, "--as", form, "-o", out)
    assert done.returncode == 1
    assert f"The file {file} was changed" in " ".join(done.stdout.split())
    assert "damaged record, 62 entries" in done.stdout


def test_what_is_left_of_a_record_without_a_plan(taken: Make, command: Run) -> None:
    """Up to the broken entry; nothing of an empty record; another's head code is told."""
    record, code = taken("whole"), command("verify", taken("alone")).stdout.split()
    out = record.parent / "e.json"
    (record / "plan.toml").write_bytes(b"=")
    words = ("export", record, "--as", "json", "-o", out, "--overwrite")
    other = code[code.index("code") + 1]
    assert "does not lead to the head code" in command(*words, "--head", other).stdout
    edit(record, lambda lines: [*lines[:9], b"{}\n", *lines[10:]])
    assert command(*words).returncode == 1
    told = json.loads(out.read_text("utf-8"))
    assert (told["head"]["seq"], len(told["entries"])) == (9, 9)
    assert any("Entry 10 " in fault for fault in told["faults"])
    edit(record, lambda _: [])
    assert command(*words).returncode == 1
    told = json.loads(out.read_text("utf-8"))
    assert (told["head"], told["entries"], told["session"]["state"]) == (None, [], "")


@pytest.mark.slow
def test_no_changed_bit_of_the_plan_stops_the_export(taken: Make, command: Run) -> None:
    """A hundred and fifty of them, drawn at random."""
    record, chance = taken("whole"), random.Random(1)  # noqa: S311 - repeatable, no secret
    genuine = (record / "plan.toml").read_bytes()
    out = record.parent / "e.json"
    for _ in range(150):
        changed = bytearray(genuine)
        changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
        (record / "plan.toml").write_bytes(bytes(changed))
        out.unlink(missing_ok=True)
        assert command("export", record, "--as", "json", "-o", out).returncode == 1
        assert json.loads(out.read_text("utf-8"))["condition"] == "damaged"
