"""Only what `verify` passes goes in, once, and as a whole."""

import shutil
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from sqlalchemy import func, select

from assistant.archive import adding
from assistant.archive.adding import Added, add
from assistant.archive.database import Archive
from assistant.archive.proved import Witnesses, proved_record
from assistant.archive.questions import Filters, ask
from assistant.archive.tables import RECORD_TABLES, deviations, places, samples, sessions, verdicts
from assistant.errors import RecordBroken, RecordError
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Meaning
from assistant.testing import Departure
from tests.archive import made_site
from tests.archive.made_site import Made

NOW = datetime(2026, 3, 5, 9, tzinfo=UTC)
Site = Callable[..., Path]
Tell = Callable[..., tuple[int, str, str]]


def everything(archive: Archive) -> dict[str, list[tuple[object, ...]]]:
    """Return every row of a record, by table."""
    with archive.reading() as connection:
        return {
            table.name: sorted((tuple(row) for row in connection.execute(select(table))), key=repr)
            for table in RECORD_TABLES
        }


def test_a_record_is_indexed_as_it_is_exported(archive: Archive, site: Site) -> None:
    """Session, samples and deviations are those of the record."""
    proved = proved_record(site(3), Witnesses())
    assert add(archive, proved, now=NOW)[0] is Added.NEW
    rows = everything(archive)
    assert [len(rows[name]) for name in ("sessions", "insertions", "samples")] == [1, 2, 6]
    with archive.reading() as connection:
        row = connection.execute(select(sessions)).mappings().one()
        status = connection.execute(select(samples.c.status).order_by(samples.c.vial)).scalars()
        assert list(status) == ["short", "short", "full", "full", "full", "full"]
    made = Made(3)
    assert (row["product"], row["batch"], row["booth"]) == (made.product, made.batch, made.booth)
    assert (row["operator"], row["sampler"], row["kind"]) == (
        made.operator,
        made.sampler[0],
        "rehearsal",
    )
    assert row["statement"].startswith("session: closed; self-consistent only:")
    kind = deviations.c.keys().index("kind")
    assert [one[kind] for one in rows["deviations"]] == ["short-die", "short-die"]


def test_the_same_record_twice_changes_nothing(archive: Archive, site: Site) -> None:
    """No row more, none less, none other."""
    proved = proved_record(site(0), Witnesses())
    add(archive, proved, now=NOW)
    before = everything(archive)
    assert add(archive, proved, now=NOW + timedelta(days=1))[0] is Added.KNOWN
    assert everything(archive) == before
    with archive.reading() as connection:
        assert connection.scalar(select(func.count()).select_from(places)) == 1


def test_a_copy_elsewhere_is_the_same_record(archive: Archive, site: Site, tmp_path: Path) -> None:
    """Only its new place is noted."""
    folder = site(0)
    add(archive, proved_record(folder, Witnesses()), now=NOW)
    before = everything(archive)
    copy = Path(shutil.copytree(folder, tmp_path / "server" / "copy"))
    assert add(archive, proved_record(copy, Witnesses()), now=NOW)[0] is Added.MORE
    assert everything(archive) == before


def test_a_changed_copy_is_refused_and_named(archive: Archive, site: Site, tmp_path: Path) -> None:
    """Another course of a known session, sealed anew so that it proves itself."""
    folder = site(0)
    add(archive, proved_record(folder, Witnesses()), now=NOW)
    before = everything(archive)
    asked = Departure(State.OPENING, Meaning(intent=Intent.WHERE_ARE_WE))
    forged = made_site.record(tmp_path / "forged", Made(0, small=True), departures=[asked])
    with pytest.raises(RecordBroken) as told:
        add(archive, proved_record(forged, Witnesses()), now=NOW)
    assert str(forged) in str(told.value)
    assert f"holds from {folder}" in str(told.value)
    assert everything(archive) == before


def test_a_copy_with_another_first_entry_is_refused(
    archive: Archive, site: Site, tmp_path: Path
) -> None:
    """The moment and the program start give it away."""
    add(archive, proved_record(site(0), Witnesses()), now=NOW)
    made = Made(0, small=True)
    other = made_site.record(tmp_path / "forged", made)
    plan = made.plan.replace(b"PV-0417 rev 2", b"PV-0417 rev 3")
    lines = made_site.lines_of(made, plan=plan)
    (other / "plan.toml").write_bytes(plan)
    (other / "record.jsonl").write_bytes(b"".join(lines))
    with pytest.raises(RecordBroken, match="changed copy"):
        add(archive, proved_record(other, Witnesses()), now=NOW)


def test_an_open_session_waits_for_its_end(tmp_path: Path) -> None:
    """Its record would grow behind the archive's back."""
    made = Made(0, small=True)
    folder = made_site.record(tmp_path, made)
    lines = (folder / "record.jsonl").read_bytes().splitlines(keepends=True)
    (folder / "record.jsonl").write_bytes(b"".join(lines[:20]))
    with pytest.raises(RecordError, match=r"is open in .*: resume it"):
        proved_record(folder, Witnesses())


def test_a_damaged_record_is_not_added(url: str, site: Site, tell: Tell) -> None:
    """It is named with what is wrong, and the others go in."""
    good, bad, other = site(0), site(1), site(2)
    (bad / "plan.toml").write_bytes(Made(5).plan)
    code, out, err = tell("archive", "add", good, bad, other, "--archive", url)
    assert (code, err) == (1, "")
    assert f"not added: {bad / 'plan.toml'} is not the file that was used" in out
    assert "2 added, 0 completed, 0 known already, 1 not added" in out


def test_a_record_goes_in_whole_or_not_at_all(
    archive: Archive, site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A fault in the last table leaves nothing of the first."""
    proved = proved_record(site(0), Witnesses())
    monkeypatch.setattr(adding, "_utc", lambda _: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        add(archive, proved, now=NOW)
    assert everything(archive) == {table.name: [] for table in RECORD_TABLES}


def test_assays_and_verdicts_come_later(url: str, archive: Archive, site: Site, tell: Tell) -> None:
    """A sheet completes a known record; another sheet of it is refused."""
    folder, made = site(0), Made(0, small=True)
    assert tell("archive", "add", folder, "--archive", url)[0] == 0
    sheet = made_site.sheet(folder, made)
    code, out, _ = tell("archive", "add", f"{folder}={sheet}", "--archive", url)
    assert (code, "1 completed" in out) == (0, True)
    rows = everything(archive)
    assert len(rows["assays"]) == 6
    simulated = verdicts.c.keys().index("made_up")
    assert {row[simulated] for row in rows["verdicts"]} == {"a rehearsal, simulated assays"}
    made_site.sheet(folder, made, mean=90)
    code, out, _ = tell("archive", "add", f"{folder}={sheet}", "--archive", url)
    assert code == 1
    assert "holds other assays" in out
    assert everything(archive) == rows


def test_the_clock_of_a_booth_an_hour_off_is_said(archive: Archive, site: Site) -> None:
    """Against the server's clock; SQLite's is the machine's own."""
    proved = proved_record(site(0), Witnesses())
    _, seconds = add(archive, proved, now=datetime.now(UTC) - timedelta(hours=1))
    with archive.reading() as connection:
        if connection.dialect.name == "sqlite":
            assert seconds == 0
        else:
            assert seconds == pytest.approx(-3600, abs=30)
            connection.close()
            assert len(ask(archive, "doubtful-times", Filters()).rows) == 1


def test_records_of_one_name_are_two(archive: Archive, tmp_path: Path) -> None:
    """A folder's name says nothing: a session is known by its first entry."""
    one = made_site.record(tmp_path / "a", Made(0, small=True))
    other = made_site.record(tmp_path / "b", Made(4, small=True)).rename(tmp_path / one.name)
    for folder in (one, other):
        assert add(archive, proved_record(folder, Witnesses()), now=NOW)[0] is Added.NEW


def test_a_record_of_an_older_program_is_indexed(archive: Archive, tmp_path: Path) -> None:
    """The golden record of schema 1 was signed and anchored; it goes in with its signatures."""
    golden = Path(__file__).parents[1] / "golden" / "schema-1"
    folder = Path(shutil.copytree(golden / "record", tmp_path / "old"))
    proved = proved_record(folder, Witnesses(keys=golden / "keys"))
    assert add(archive, proved, now=NOW)[0] is Added.NEW
    assert len(proved.rows["signatures"]) == len(proved.rows["anchors"]) == 2
