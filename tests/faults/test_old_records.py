"""A record of every released schema is kept here for good, and is read by every later program.

`tests/golden/schema-1` was made by a live session: one insertion, three samples; three phrases were
spoken (a hum stands for the voice), powder was spilt, the program was stopped in the middle of a
line and went on, two people signed. It has the plan and the grammar of its day beside it, and stays
as it is: where a later program reads it otherwise, that program is wrong, or needs a new schema.

`tests/golden/schema-2` was typed: three locations, two of them entered at a tilt, two ports at each
of three positions, a spill, a leak, a marked shaft, an overrun, a correction, a spoken remark, a
torn line; operator and witness signed.
"""

import shutil
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

import pytest

from assistant import conformance
from assistant.cli import main
from assistant.cli.evaluation_inputs import read_record
from assistant.errors import RecordBroken
from assistant.journal.chain import line, read, seal
from assistant.journal.entry import Entry
from assistant.ports import Instant
from assistant.procedure.enums import Kind, State
from assistant.record import open_record, prove

GOLDEN = Path(__file__).parent.parent / "golden"
SCHEMA_1 = GOLDEN / "schema-1" / "record"


@dataclass(frozen=True)
class Known:
    """What is known of a golden record, once and for all."""

    entries: int
    clips: int
    code: str


ONE = Known(entries=42, clips=3, code="42-42BZ-R8ZJ-A")
SCHEMA_2 = GOLDEN / "schema-2" / "record"
TWO = Known(entries=120, clips=1, code="120-3MXP-QTT1-V")


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the golden record, to be written to."""
    return Path(shutil.copytree(SCHEMA_1, tmp_path / "record"))


def test_the_golden_record_is_proved() -> None:
    """Chain, order, times, clips and the torn line; it ends where it ended."""
    proof = prove(open_record(SCHEMA_1), ONE.code)
    assert proof.last is not None
    assert (proof.last.entry.seq, proof.clips, proof.torn) == (ONE.entries, ONE.clips, 1)
    session = proof.last.outcome.session
    assert session.state is State.CLOSED
    assert [sample.status.value for sample in session.progress.samples] == ["full"] * 3
    assert [(d.kind, d.status) for d in session.deviations] == [(Kind.SPILL, "accepted")]
    assert [s.statement.meaning for s in proof.signatures] == ["performed", "reviewed"]


def test_a_changed_golden_record_is_not(copy: Path) -> None:
    """One digit of one time."""
    record = copy / "record.jsonl"
    lines = record.read_bytes().split(b"\n")
    lines[6] = lines[6].replace(b"2026-03-04T08", b"2026-03-04T09")
    record.write_bytes(b"\n".join(lines))
    with pytest.raises(RecordBroken, match=r"^Entry 7 "):
        prove(open_record(copy))


@pytest.mark.parametrize(
    ("schema", "known", "signed"),
    [
        ("schema-1", ONE, "reviewed by Ada Lindqvist, 2026-03-05T09:00:00.000000Z"),
        ("schema-2", TWO, "witnessed by Jonas Pell, 2026-"),
    ],
)
def test_every_command_reads_the_golden_record(
    schema: str, known: Known, signed: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Verify with keys and head code, replay, every export."""
    where = str(shutil.copytree(GOLDEN / schema / "record", tmp_path / "record"))
    keys = str(GOLDEN / schema / "keys")
    assert main(["verify", where, "--head", known.code, "--keys", keys]) == 0
    shown = capsys.readouterr().out
    assert f"intact: {known.entries} entries in order, {known.clips} clips unchanged" in shown
    assert signed in shown
    assert shown.count("(genuine)") == 2
    assert main(["replay", where, "--speed", "1e9"]) == 0
    assert "spill" in capsys.readouterr().out
    for form, name in (("csv", "tables"), ("json", "out.json"), ("sheet", "out.pdf")):
        output = tmp_path / name
        assert main(["export", where, "--as", form, "-o", str(output)]) == 0
        assert output.exists()


def test_the_evaluation_reads_the_golden_record() -> None:
    """Three samples of one location, and who signed."""
    study, signatures, _ = read_record(SCHEMA_1)
    assert study.opened.operator == "Mira Oostveld"
    assert len(signatures) == 2


def test_the_golden_record_of_schema_2_is_proved() -> None:
    """It ends where it ended, with what went wrong and was set right."""
    proof = prove(open_record(SCHEMA_2), TWO.code)
    assert proof.last is not None
    assert (proof.last.entry.seq, proof.clips, proof.torn) == (TWO.entries, TWO.clips, 1)
    assert (proof.kind, proof.differing) == ("rehearsal", 0)
    session = proof.last.outcome.session
    assert session.state is State.CLOSED
    assert [sample.status.value for sample in session.progress.samples] == ["full"] * 18
    kinds = [Kind.SPILL, Kind.OVERRUN, Kind.LEAK, Kind.MARKED]
    assert [deviation.kind for deviation in session.deviations] == kinds
    assert [s.statement.meaning for s in proof.signatures] == ["performed", "witnessed"]


@pytest.mark.usefixtures("coarse_geometry")
def test_a_version_with_another_geometry_finds_it_intact(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lengths and tilts that come out otherwise are named with both numbers; exit code 0."""
    monkeypatch.setattr(conformance, "PRESENT", "sampling-assistant 9.9")
    keys = str(GOLDEN / "schema-2" / "keys")
    assert main(["verify", str(SCHEMA_2), "--keys", keys, "--require", "anchored-to-end"]) == 0
    shown = capsys.readouterr().out
    assert f"intact: {TWO.entries} entries in order" in shown
    assert "derives 3 numbers otherwise. The versions differ; this says nothing against" in shown
    assert "enter, depth: recorded 785, derived 780" in shown


def with_grammar(copy: Path, without: str) -> Path:
    """Let a record have been made with a grammar that lacks a line; its chain is sealed anew."""
    grammar = copy / "grammar.toml"
    rows = grammar.read_text("utf-8").split("\n")
    kept = [row for row in rows if not row.startswith(f"{without} = ")]
    assert len(kept) == len(rows) - 1
    grammar.write_text("\n".join(kept), "utf-8")
    digest = sha256(grammar.read_bytes()).hexdigest()
    last: Entry | None = None
    lines = []
    for entry in read((copy / "record.jsonl").read_bytes().splitlines()):
        event = dict(entry.event)
        if last is None:
            event["grammar_sha256"] = digest
        at = Instant(entry.utc, int(entry.mono))
        last = seal(last, at=at, boot=entry.boot, by=entry.by, event=event, outcome=entry.outcome)
        lines.append(line(last))
    (copy / "record.jsonl").write_bytes(b"".join(lines))
    (copy / "signatures.jsonl").unlink()
    return copy


@pytest.mark.parametrize("prompt", ["noise-rose", "weigh", "unknown-person"])
def test_a_grammar_older_than_a_prompt_is_no_obstacle(
    copy: Path, tmp_path: Path, prompt: str
) -> None:
    """What was never said need not be in the grammar of the day."""
    old = with_grammar(copy, prompt)
    assert main(["verify", str(old)]) == 0
    assert main(["replay", str(old), "--speed", "1e9"]) == 0
    assert main(["export", str(old), "--as", "json", "-o", str(tmp_path / "o.json")]) == 0


def test_a_grammar_that_lacks_what_was_said_is_named(copy: Path) -> None:
    """The entry at which the words are missing."""
    with pytest.raises(RecordBroken, match=r"^Entry \d+: The grammar has no text for"):
        prove(open_record(with_grammar(copy, "withdraw")))
