"""`time-stamp`, and what its stamps show; the authority is OpenSSL's, which also checks them."""

import random
import re
import shutil
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Protocol

import pytest

from assistant.clock import ManualClock
from assistant.errors import AssistantError
from assistant.journal.chain import read
from assistant.record.time_stamps import anchors, certificates_in, read_response, request
from assistant.storage import bundled_files
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder
from assistant.storage.time_stamps import TimeStampFile
from assistant.testing import quick_record
from tests.stamp_authority import Authority, found, openssl, serving

pytestmark = pytest.mark.skipif(shutil.which("openssl") is None, reason="needs openssl")


class Ended(Protocol):
    """A command that has ended."""

    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Ended]
Make = Callable[[str], Path]


@pytest.fixture(scope="module")
def authority(tmp_path_factory: pytest.TempPathFactory) -> Authority:
    """An authority that stamps."""
    folder = tmp_path_factory.mktemp("time") / "office"
    found(folder)
    return Authority(folder)


@pytest.fixture
def stamp(authority: Authority, command: Run, tmp_path: Path) -> Callable[[Path], Ended]:
    """Return a function that has a record stamped, by file."""

    def make(record: Path) -> Ended:
        asked, answer = tmp_path / "q.tsq", tmp_path / "a.tsr"
        assert command("time-stamp", record, "--request", asked).returncode == 0
        answer.write_bytes(authority.reply(asked.read_bytes()))
        return command("time-stamp", record, "--response", answer, "--authority", authority.root)

    return make


def hash_at(record: Path, seq: int = 0) -> str:
    """The hash of an entry, or of the last."""
    return list(read(RecordReader(record).lines()))[seq - 1].hash


def test_a_stamped_record_is_anchored_to_its_end(
    taken: Make, command: Run, stamp: Callable[[Path], Ended], authority: Authority
) -> None:
    """By file; only where the authority's certificates are named, and then as required."""
    record = taken("whole")
    done = stamp(record)
    assert done.returncode == 0, done.stderr
    assert "the time stamp of Invented Time Office, 2" in done.stdout
    unchecked = command("verify", record, "--require", "trusted-time")
    assert unchecked.returncode == 1
    assert "time stamps: 1, not checked" in unchecked.stdout
    assert "self-consistent only" in unchecked.stdout
    assert "No time stamp that was checked covers the last entry" in unchecked.stdout
    checked = command(
        *("verify", record, "--authority", authority.root),
        *("--require", "trusted-time", "--require", "anchored-to-end"),
    )
    assert checked.returncode == 0, checked.stdout
    assert "anchored to the end" in checked.stdout
    assert "were there then" in checked.stdout
    assert "no part of the record" not in checked.stdout


def test_openssl_agrees(
    taken: Make, stamp: Callable[[Path], Ended], authority: Authority, tmp_path: Path
) -> None:
    """A second program finds the same: over this head, and not over another."""
    record = taken("whole")
    stamp(record)
    (file,) = (record / "time-stamps").iterdir()
    head = tmp_path / "head"
    words = ("ts", "-verify", "-data", head, "-in", file, "-CAfile", authority.root)
    head.write_text(hash_at(record))
    assert b"Verification: OK" in openssl(*words, folder=tmp_path).stdout
    head.write_text(hash_at(record, 3))
    with pytest.raises(subprocess.CalledProcessError):
        openssl(*words, folder=tmp_path)


def test_export_and_evaluation_take_the_stamp(
    taken: Make, command: Run, stamp: Callable[[Path], Ended], authority: Authority, tmp_path: Path
) -> None:
    """The same statement and the same requirement as `verify`."""
    record = taken("whole")
    stamp(record)
    trusting = ("--authority", authority.root, "--require", "trusted-time")
    out = ("--as", "json", "-o", tmp_path / "e.json", "--overwrite")
    done = command("export", record, *out, *trusting)
    assert (done.returncode, "by the time stamp of" in done.stdout) == (0, True)
    assert command("export", record, *out, "--require", "trusted-time").returncode == 1
    sheet = tmp_path / "lab.csv"
    assert command("assays", record, "-o", sheet).returncode == 0
    done = command("evaluate", record, sheet, *trusting)
    assert "required and missing" not in done.stdout
    done = command("evaluate", record, sheet, "--require", "trusted-time")
    assert "required and missing: No time stamp" in done.stdout


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (5, "[45] s after"),
        (600, "10.0 min after"),
        (86_400, "24.0 h after"),
        (-7200, "2.0 h before"),
    ],
)
def test_verify_says_how_long_after_its_entry_a_stamp_was_made(
    seconds: int, said: str, command: Run, authority: Authority, tmp_path: Path
) -> None:
    """By the record's own clock; OpenSSL takes the stamp of another time too."""
    plan, grammar = bundled_files.read_plan("bin"), bundled_files.read_grammar("en")
    with RecordFolder.create(tmp_path / "record", plan, grammar) as journal:
        start = datetime.now(UTC).replace(microsecond=0) + timedelta(hours=3)
        quick_record(journal, ManualClock(start), plan, grammar)
    *_, last = read(RecordReader(tmp_path / "record").lines())
    when = datetime.fromisoformat(last.utc) + timedelta(seconds=seconds)
    (tmp_path / "head").write_text(last.hash)
    (tmp_path / "a.tsr").write_bytes(authority.reply_at(request(last.hash), when))
    words = ("ts", "-verify", "-data", "head", "-in", "a.tsr", "-CAfile", authority.root)
    soon = int(when.timestamp()) + 1
    assert b"Verification: OK" in openssl(*words, "-attime", soon, folder=tmp_path).stdout
    trusting = ("--authority", authority.root)
    command("time-stamp", tmp_path / "record", "--response", tmp_path / "a.tsr", *trusting)
    checked = command("verify", tmp_path / "record", *trusting)
    wanted = f"were there then, {said} entry {last.seq} by the record's own clock"
    assert re.search(wanted, checked.stdout)  # a stamp has whole seconds


def test_an_earlier_response_anchors_up_to_its_entry(
    taken: Make, command: Run, authority: Authority, tmp_path: Path
) -> None:
    """A request made at entry 20, answered later, vouches for 20 entries; a second one is kept."""
    record, answer = taken("whole"), tmp_path / "a.tsr"
    trusting = ("--authority", authority.root)
    for number in (1, 2):
        answer.write_bytes(authority.reply(request(hash_at(record, 20))))
        done = command("time-stamp", record, "--response", answer, *trusting)
        assert f"000020-{number}.tsr: entry 20" in done.stdout
    done = command("verify", record, *trusting, "--require", "trusted-time")
    assert done.returncode == 1
    assert "anchored up to entry 20 of" in done.stdout


def test_the_authority_is_asked_over_the_network(
    taken: Make, command: Run, authority: Authority
) -> None:
    """And when it does not answer, or with something else, nothing is kept."""
    record = taken("whole")
    trusting = ("--authority", authority.root)
    with serving(authority.reply) as url:
        assert command("time-stamp", record, "--url", url, *trusting).returncode == 0
        assert command("time-stamp", record, "--url", url).returncode == 2
    assert command("time-stamp", record, "--url", url, *trusting).returncode == 3
    assert command("time-stamp", record, "--url", "file:///etc/passwd", *trusting).returncode == 2
    with serving(lambda _: b"<html>busy</html>") as url:
        done = command("time-stamp", record, "--url", url, *trusting)
    assert (done.returncode, "no time-stamp answer" in done.stderr) == (2, True)
    assert len(list((record / "time-stamps").iterdir())) == 1


def test_a_live_session_has_itself_stamped(
    process: Run, command: Run, authority: Authority, tmp_path: Path
) -> None:
    """`run` with an authority: what it kept and what is missing is said at the end."""
    record = tmp_path / "live"
    words = ("run", "bin", "--keyboard", "--silent", "--engine", "embedded", "--into")
    trusting = ("--authority", authority.root)
    with serving(authority.reply) as url:
        done = process(*words, record, "--authority-url", url, *trusting)
    assert "time stamps: 1 kept, 0 missing" in done.stdout
    checked = command("verify", record, *trusting)
    assert "time stamp of Invented Time Office" in checked.stdout
    done = process(*words, tmp_path / "alone", "--authority-url", url, *trusting)
    assert "time stamps: 0 kept, 1 missing" in done.stdout
    again = done.stdout.split("ask again later: sampling-assistant ")[1].split("\n")[0]
    with serving(authority.reply) as url:
        assert command(*again.replace(again.split()[3], url).split()).returncode == 0
    assert "missing" not in command("verify", tmp_path / "alone").stdout
    done = process(*words, tmp_path / "none", *trusting)
    assert (done.returncode, "--authority-url" in done.stderr) == (2, True)
    assert not (tmp_path / "none").exists()


def test_foreign_stamps_are_refused(
    taken: Make, command: Run, authority: Authority, tmp_path: Path
) -> None:
    """Another authority, another record, a certificate that is not for time stamping."""
    record, answer = taken("whole"), tmp_path / "x.tsr"
    for name, purpose in (("other", "critical,timeStamping"), ("web", "serverAuth")):
        found(tmp_path / name, purpose=purpose)
    other = Authority(tmp_path / "other")
    answer.write_bytes(other.reply(request(hash_at(record))))
    done = command("time-stamp", record, "--response", answer, "--authority", authority.root)
    assert (done.returncode, "does not hold under these" in done.stderr) == (1, True)
    answer.write_bytes(authority.reply(request(hash_at(taken("deviations")))))
    done = command("time-stamp", record, "--response", answer, "--authority", authority.root)
    assert (done.returncode, "answers another request" in done.stderr) == (1, True)
    assert not (record / "time-stamps").exists()
    with pytest.raises(subprocess.CalledProcessError):  # OpenSSL itself will not stamp with it
        Authority(tmp_path / "web").reply(request(hash_at(record)))
    done = command("verify", record, "--authority", tmp_path / "x.tsr")
    assert (done.returncode, "holds no certificates" in done.stderr) == (2, True)


def test_a_refusal_is_said(taken: Make, command: Run, authority: Authority, tmp_path: Path) -> None:
    """An authority that does not take SHA-256 answers, but stamps nothing."""
    record, answer = taken("whole"), tmp_path / "x.tsr"
    found(tmp_path / "strict", digests="sha512")
    answer.write_bytes(Authority(tmp_path / "strict").reply(request(hash_at(record))))
    done = command("time-stamp", record, "--response", answer, "--authority", authority.root)
    assert done.returncode == 2
    assert "x.tsr" in done.stderr


def test_a_record_rewritten_or_cut_off_no_longer_fits_its_stamp(
    taken: Make, command: Run, stamp: Callable[[Path], Ended]
) -> None:
    """Seen without any certificate; a damaged export says it too."""
    record, forged = taken("whole"), taken("deviations")
    stamp(record)
    shutil.copytree(record / "time-stamps", forged / "time-stamps")
    done = command("verify", forged)
    assert (done.returncode, "is over another entry" in done.stderr) == (1, True)
    done = command("export", forged, "--as", "json", "-o", forged.parent / "e.json")
    assert (done.returncode, "is over another entry" in done.stdout) == (1, True)
    (file,) = (record / "time-stamps").iterdir()
    file.write_bytes(b"junk")
    done = command("verify", record)
    assert (done.returncode, "no time-stamp answer" in done.stderr) == (1, True)


def test_a_record_later_than_its_stamp_is_doubted(
    command: Run, stamp: Callable[[Path], Ended], authority: Authority, tmp_path: Path
) -> None:
    """A station whose clock was years ahead: the stamp shows it."""
    folder = tmp_path / "ahead"
    plan, grammar = bundled_files.read_plan("bin"), bundled_files.read_grammar("en")
    journal = RecordFolder.create(folder, plan, grammar)
    with journal:
        quick_record(journal, ManualClock(datetime(2091, 3, 4, tzinfo=UTC)), plan, grammar)
    assert stamp(folder).returncode == 0
    done = command(
        *("verify", folder, "--authority", authority.root, "--require", "steady-time"),
    )
    assert done.returncode == 1
    assert "UTC is after its time stamp by" in done.stdout


def test_spoilt_responses_never_end_in_a_traceback(taken: Make, authority: Authority) -> None:
    """3 000 responses with changed, missing or added bytes: refused, or shown to hold as it was."""
    head = hash_at(taken("whole"))
    sound = authority.reply(request(head))
    trusted = certificates_in(authority.root.read_bytes(), authority.root)
    dice = random.Random(20)  # noqa: S311 - no secret
    refused = 0
    for _ in range(3_000):
        raw = bytearray(sound)
        at = dice.randrange(len(raw))
        match dice.randrange(3):
            case 0:
                raw[at] ^= 1 << dice.randrange(8)
            case 1:
                del raw[at : at + dice.randrange(1, 40)]
            case _:
                raw[at:at] = dice.randbytes(dice.randrange(1, 9))
        try:
            read_response(bytes(raw), "a file")
            anchors([TimeStampFile("a", 9, bytes(raw))], {9: head}, trusted)
        except AssistantError:
            refused += 1
    assert refused > 2_900
