"""`rehearse`: the whole job without hardware, by the book and with every shipped script.

The recogniser, the procedure and the record are the real ones; the operator's voice is synthetic.
"""

import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from assistant.cli import main
from assistant.conformance import FoldedEntry
from assistant.procedure.enums import Intent, Kind, State
from assistant.procedure.events import Heard, RemarkTaken
from assistant.procedure.model import Session, Status
from assistant.record import open_record
from assistant.storage import bundled_files
from tests.dialogue import full

pytestmark = pytest.mark.slow

VOICE = "en-us+m7"
"""Understood at once nearly always: a slip is made once, and it is what follows that is tried."""

LOCATIONS = 3
"""Of the shipped plan, in the scripted rehearsals: enough for what goes wrong in them."""


@pytest.fixture(scope="module")
def into(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return where the records of this module are made."""
    return tmp_path_factory.mktemp("rehearsals")


def told(folder: Path) -> list[FoldedEntry]:
    """Return a record's entries, proved."""
    return list(open_record(folder).told())


def rehearse(folder: Path, *options: str) -> list[FoldedEntry]:
    """Rehearse the shipped plan and return what is on record."""
    if not folder.exists():
        assert main(["rehearse", *options, "--into", str(folder), "--quiet"]) == 0
    return told(folder)


@pytest.mark.timeout(1200)
def test_the_shipped_plan_is_worked_through_proved_and_told_again(
    into: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Thirty samples are taken; the record is proven and can be retold."""
    record = rehearse(into / "one", "--seed", "1")
    out = capsys.readouterr().out
    assert "30 samples taken of 30 planned (30 full)" in out
    assert re.search(
        r"hearing: \d+ phrases repeated, \d+ asked back, 0 entered by hand because", out
    )
    session = record[-1].outcome.session
    assert session.state is State.CLOSED
    assert [sample.status for sample in session.progress.samples] == [Status.FULL] * 30
    assert main(["verify", str(into / "one")]) == 0
    assert "intact" in capsys.readouterr().out
    assert main(["replay", str(into / "one"), "--speed", "1000"]) == 0
    out = capsys.readouterr().out
    heard = [one.event.text for one in record if isinstance(one.event, Heard) and one.event.text]
    assert len(heard) >= 155
    assert all(f'"{text}"' in out for text in heard)


@pytest.mark.timeout(1200)
def test_the_same_seed_gives_the_same_record(into: Path) -> None:
    """To the last byte, times included; each in a process of its own, as the voice begins anew.

    Another machine's rounding may differ; this machine's does not.
    """
    plan = into / "short.toml"
    plan.write_bytes(short_plan())
    command = [sys.executable, "-m", "assistant", "rehearse", str(plan), "--seed", "1", "--quiet"]
    for name in ("first", "second"):
        subprocess.run([*command, "--into", str(into / name)], check=True, capture_output=True)
    first, second = ((into / name / "record.jsonl").read_bytes() for name in ("first", "second"))
    assert first.count(b"\n") > 90
    assert first == second


@cache
def short_plan(locations: int = LOCATIONS) -> bytes:
    """Return the shipped plan with its first locations only and the full dialogue."""
    head, *rest = full("double-cone").split(b"[[locations]]")
    return b"[[locations]]".join([head, *rest[:locations]])


def test_a_voice_that_was_never_understood_is_heard_to_affirm(
    into: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """With the score model, "affirm" of this shipped voice was refused 24 times of 24."""
    plan = into / "one-location.toml"
    plan.write_bytes(short_plan(1))
    record = rehearse(into / "scottish", str(plan), "--seed", "2")
    voices = [one.event for one in record if isinstance(one.event, Heard)]
    affirmed = [e for e in voices if e.source == "voice" and e.text == "affirm"]
    assert {e.decision for e in affirmed} == {"accept"}
    assert len(affirmed) >= 3
    assert {e.source for e in voices} == {"voice"}
    assert "0 entered by hand" in capsys.readouterr().out


def scripted(into: Path, name: str) -> tuple[list[FoldedEntry], Session]:
    """Rehearse a script; return the record and the session as it ended."""
    plan = into / "short.toml"
    plan.write_bytes(short_plan())
    record = rehearse(into / name, str(plan), "--script", name, "--snr-db", "30", "--voice", VOICE)
    return record, record[-1].outcome.session


def kinds(session: Session) -> list[Kind]:
    """Return what went wrong; a number misheard is refused as a wrong one and said again."""
    found = [deviation.kind for deviation in session.deviations]
    return [kind for kind in found if kind is not Kind.WRONG_OBJECT]


def meant(record: list[FoldedEntry], intent: Intent) -> list[FoldedEntry]:
    """Return the entries in which an intent was understood."""
    return [
        one
        for one in record
        if isinstance(one.event, Heard)
        and one.event.meaning is not None
        and one.event.meaning.intent is intent
        and one.event.decision == "accept"
    ]


def test_every_shipped_script_is_tried_here() -> None:
    """A script that nobody runs may be broken."""
    tried = {name.removeprefix("test_script_").replace("_", "-") for name in globals()}
    assert set(bundled_files.script_names()) <= tried


def test_script_chatter(into: Path) -> None:
    """Talk that is no phrase puts nothing on record but that it was refused."""
    record, session = scripted(into, "chatter")
    assert session.state is State.CLOSED
    assert kinds(session) == []
    refused = [e for e in record if isinstance(e.event, Heard) and e.event.decision == "refuse"]
    assert len(refused) >= 4
    assert all(one.event.clip for one in refused if isinstance(one.event, Heard))


def test_script_correction(into: Path) -> None:
    """The vial is empty in the end; what was taken back stays on record."""
    record, session = scripted(into, "correction")
    assert session.progress.samples[0].status is Status.EMPTY
    assert Kind.EMPTY in kinds(session)
    assert len(meant(record, Intent.CORRECTION)) == 2
    assert meant(record, Intent.VIAL_FULL)[0].outcome.session.progress.die == 0


def test_script_silence(into: Path) -> None:
    """Nobody answers for so long that the filling overruns; nothing advances by itself."""
    _, session = scripted(into, "silence")
    assert session.state is State.CLOSED
    assert kinds(session) == [Kind.OVERRUN]


def test_script_spill(into: Path) -> None:
    """The note names its samples; powder in the tube is a leak; a remark is kept."""
    record, session = scripted(into, "spill")
    assert kinds(session)[:2] == [Kind.SPILL, Kind.LEAK]
    assert session.deviations[0].vials == (1, 2, 3)
    clips = [one.event.clip for one in record if isinstance(one.event, RemarkTaken)]
    assert any(clips)
    assert all((into / "spill" / "clips" / f"{clip}.flac").exists() for clip in clips if clip)


def test_script_stand_by(into: Path) -> None:
    """The work waits and goes on where it was."""
    record, session = scripted(into, "stand-by")
    assert len(meant(record, Intent.STAND_BY)) == len(meant(record, Intent.RESUME)) == 2
    assert session.state is State.CLOSED


def test_script_stop(into: Path) -> None:
    """Asked back; the first time denied, the second time the record closes as incomplete."""
    record, session = scripted(into, "stop")
    assert session.state is State.STOPPED
    assert len(meant(record, Intent.STOP_SAMPLING)) == 2
    assert Status.PLANNED in {sample.status for sample in session.progress.samples}


def test_script_wrong_port(into: Path) -> None:
    """A wrong port and a wrong vial are answered, refused and noted."""
    _, session = scripted(into, "wrong-port")
    wrong = [d.detail for d in session.deviations if d.kind is Kind.WRONG_OBJECT]
    assert {"top", "bottom", "3"} <= set(wrong)
    assert [sample.status for sample in session.progress.samples] == [Status.FULL] * 3 * LOCATIONS
