"""Time stamps that a session has taken while it goes on; it waits for none of them."""

import shutil
import time
from collections.abc import Callable
from pathlib import Path
from threading import Event

import pytest

from assistant.cli import main
from assistant.errors import InputError
from assistant.procedure.enums import State
from assistant.record import Proof, open_record, prove
from assistant.record import authority as asking
from assistant.record.authority import Authority
from assistant.record.time_stamps import certificates_in
from assistant.session.stamp_taker import StampTaker
from assistant.storage.record_writer import RecordFolder
from tests import stamp_authority
from tests.faults.driver import FULL, Technician, begin_in
from tests.stamp_authority import serving

pytestmark = pytest.mark.skipif(shutil.which("openssl") is None, reason="needs openssl")

PLAN = b"[[locations]]".join(FULL.split(b"[[locations]]")[:3])
"""Two insertions: the opening, two heads, the end."""
Office = stamp_authority.Authority


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Office:
    """An authority that stamps."""
    folder = tmp_path_factory.mktemp("time") / "office"
    stamp_authority.found(folder)
    return Office(folder)


def asked(url: str, office: Office) -> Authority:
    """The authority as a session asks it."""
    return Authority(url, certificates_in(office.root.read_bytes(), office.root))


def worked(
    folder: Path, authority: Authority, *, answers: int | None = None, patience_s: float = 20.0
) -> StampTaker:
    """Work a session, or go on with one, while an authority is asked."""
    opening = RecordFolder.open if folder.exists() else lambda path: begin_in(path, PLAN)
    with opening(folder) as record:
        taker = StampTaker(authority, folder)
        Technician().work(
            record, observers=(taker,), answers=answers, stamp_authority=authority.url
        )
        taker.finish(patience_s)
    return taker


def proved(folder: Path) -> Proof:
    """Prove a record."""
    return prove(open_record(folder))


def verified(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, str]:
    """Return exit code and output of a command."""
    capsys.readouterr()
    code = main([str(word) for word in words])
    said = capsys.readouterr()
    return code, said.out + said.err


def test_opening_insertions_and_end_are_stamped(
    tmp_path: Path, office: Office, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each under the authority's certificates; the last over the end of the record."""
    folder = tmp_path / "r"
    with serving(office.reply) as url:
        taker = worked(folder, asked(url, office))
    proof = proved(folder)
    assert proof.last is not None
    end = proof.last.entry.seq
    assert sorted(stamp.count for stamp in proof.stamps) == sorted(proof.due)
    assert (taker.kept, taker.missing, taker.fault) == (len(proof.due), 0, "")
    assert len(proof.due) == 4
    assert {1, end} < set(proof.due)
    code, said = verified(
        capsys, "verify", folder, "--authority", office.root, "--require", "trusted-time"
    )
    assert (code, f"anchored to the end, entry {end}, by the time stamp" in said) == (0, True)
    assert "time stamps missing" not in said


def test_an_authority_that_hangs_holds_nothing_up(
    tmp_path: Path, office: Office, capsys: pytest.CaptureFixture[str]
) -> None:
    """The session ends as without it; what is missing is said, and asked for later."""
    folder, released = tmp_path / "r", Event()

    def hang(question: bytes) -> bytes:
        assert released.wait(60)
        return office.reply(question)

    with serving(hang) as url:
        began = time.monotonic()
        taker = worked(folder, asked(url, office), patience_s=0.2)
        assert time.monotonic() - began < asking.PATIENCE_S
        assert (taker.kept, taker.missing) == (0, 4)
        code, said = verified(capsys, "verify", folder)
        assert (code, "time stamps missing: 4 of the 4" in said) == (0, True)
        released.set()
        code, said = verified(
            capsys, "time-stamp", folder, "--url", url, "--authority", office.root
        )
    assert (code, said.count("the time stamp of Invented Time Office")) == (0, 4)
    assert proved(folder).unstamped == {}


def test_what_comes_after_the_end_is_not_written(tmp_path: Path, office: Office) -> None:
    """The folder is another program's by then."""
    folder, released, told = tmp_path / "r", Event(), Event()

    def late(question: bytes) -> bytes:
        assert released.wait(60)
        told.set()
        return office.reply(question)

    with serving(late) as url:
        taker = worked(folder, asked(url, office), patience_s=0.05)
        released.set()
        assert told.wait(60)
        taker.finish(60)
    assert not (folder / "time-stamps").exists()


def test_an_authority_that_comes_back_is_asked_for_all(tmp_path: Path, office: Office) -> None:
    """No answer at the opening; at the first insertion both are stamped, and so on."""
    folder, questions = tmp_path / "r", []

    def at_second(question: bytes) -> bytes:
        questions.append(question)
        return b"busy" if len(questions) == 1 else office.reply(question)

    with serving(at_second) as url:
        taker = worked(folder, asked(url, office))
    assert (taker.missing, taker.fault) == (0, "")
    assert questions[0] in questions[1:]
    assert proved(folder).unstamped == {}


def test_a_resumed_session_is_stamped_too(tmp_path: Path, office: Office) -> None:
    """What the broken-off one did not get follows from the record."""
    folder = tmp_path / "r"
    worked(folder, asked("http://127.0.0.1:9/", office), answers=10)
    with serving(office.reply) as url:
        taker = worked(folder, asked(url, office))
    assert taker.missing == 0
    assert list(proved(folder).unstamped) == [1]


def nobody(_url: str) -> str:
    """An address where nobody answers."""
    return "http://127.0.0.1:9/"


@pytest.mark.parametrize(
    ("answer", "there", "said"),
    [
        (lambda _: b"<html>", lambda url: url, "is no time-stamp answer"),
        (None, lambda url: url, "does not hold under these certificates"),
        (None, nobody, "gave no time stamp"),
    ],
)
def test_no_other_answer_is_kept(
    answer: Callable[[bytes], bytes] | None,
    there: Callable[[str], str],
    said: str,
    tmp_path: Path,
    office: Office,
) -> None:
    """Junk, another authority's stamp, nothing: the session ends as ever, and says why."""
    stamp_authority.found(tmp_path / "other")
    with serving(answer or Office(tmp_path / "other").reply) as url:
        taker = worked(tmp_path / "r", asked(there(url), office))
    assert taker.kept == 0
    assert said in taker.fault
    assert not (tmp_path / "r" / "time-stamps").exists()
    state = proved(tmp_path / "r").last
    assert state is not None
    assert state.outcome.session.state is State.CLOSED


def test_a_stamp_taken_away_is_missed(
    tmp_path: Path, office: Office, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without any certificate; but not refused, for it might never have come."""
    folder = tmp_path / "r"
    with serving(office.reply) as url:
        worked(folder, asked(url, office))
    max((folder / "time-stamps").iterdir()).unlink()
    code, said = verified(capsys, "verify", folder)
    assert (code, "time stamps missing: 1 of the 4" in said) == (0, True)


def test_an_authority_without_address_or_certificate_is_refused(office: Office) -> None:
    """Before the session begins."""
    with pytest.raises(InputError, match="begins with http"):
        Authority("ftp://stamps.example", certificates_in(office.root.read_bytes(), office.root))
    with pytest.raises(InputError, match="--authority"):
        Authority("https://stamps.example", ())
