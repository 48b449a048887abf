"""Records on disk, keys and a way to run commands, for the tests of the command line."""

import shutil
import subprocess
import sys
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path

import numpy as np
import pytest

from assistant.cli import main
from assistant.clock import ManualClock
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import DeviceLost, Meaning, RemarkTaken, Resumed, ViewerNoted
from assistant.storage import bundled_files
from assistant.storage.record_writer import RecordFolder
from assistant.testing import Departure, quick_record
from tests.dialogue import full

GRAMMAR = bundled_files.read_grammar("en")
CONE = full("double-cone").split(b"[[locations]]")
SMALL = b"[[locations]]".join(CONE[:3])
"""The shipped plan with its first two locations only: six vials."""

START = datetime(2026, 3, 4, 8, tzinfo=UTC)
OPERATOR, WITNESS, REVIEWER = "Mira Oostveld", "Jonas Pell", "Ada Lindqvist"
APPROVER = "Ines Vork"

Make = Callable[[str], Path]


Departures = Callable[[RecordFolder], tuple[Departure, ...]]

LOST = Departure(State.STOWING, DeviceLost(device="speaker", reason="unplugged"))
WATCHED = Departure(
    State.SEATING, ViewerNoted(viewer=1, did="joined", address="192.0.2.7", wrong_codes=2)
)
STOP = Departure(State.SEATING, Meaning(intent=Intent.STOP_SAMPLING), visit=2)
SPILL = Departure(State.OPENING, Meaning(intent=Intent.NOTE_SPILL), visit=4)


def nothing(_: RecordFolder) -> tuple[Departure, ...]:
    """By the book."""
    return ()


def deviations(_: RecordFolder) -> tuple[Departure, ...]:
    """An overrun, a spill and a lost loudspeaker."""
    return Departure(State.FILLING, 45.0, visit=2), SPILL, LOST


def spoken(record: RecordFolder) -> tuple[Departure, ...]:
    """A deviation with its reason spoken: a second of a hum, kept as a clip."""
    hum = (1000 * np.sin(np.arange(16_000) / 9)).astype("<i2").tobytes()
    return LOST, Departure(State.REMARKING, RemarkTaken(clip=record.save_clip(hum), seconds="1.0"))


def torn(record: RecordFolder) -> tuple[Departure, ...]:
    """Resumed once, a torn line having been set aside."""
    data = b'{"broken'
    digest = sha256(data).hexdigest()
    (record.path / "aside").mkdir()
    (record.path / "aside" / f"{digest}.torn").write_bytes(data)
    resumed = Resumed(
        software="sampling-assistant 0.2.0",
        engine="typed",
        microphone="none",
        speaker="none",
        torn_bytes=len(data),
        torn_sha256=digest,
    )
    return (Departure(State.STOWING, resumed),)


def typed(text: str) -> Departures:
    """A deviation with its reason typed."""
    return lambda _: (LOST, Departure(State.REMARKING, RemarkTaken(text=text)))


def plan_of(kind: str) -> bytes:
    """The plan of a kind of record: "alone" names no witness, "letters" people from elsewhere."""
    if kind == "letters":
        return SMALL.replace(b"Mira Oostveld", "Šárka Řezníčková & <b>Żółć</b> Fωи".encode())
    if kind != "alone":
        return SMALL
    before, witness, after = SMALL.partition(b'[[people]]\nname = "Jonas Pell"')
    assert witness
    return before + after[after.index(b"[dose]") :]


KINDS: Mapping[str, tuple[Departures, State | None]] = {
    "whole": (nothing, None),
    "deviations": (deviations, None),
    "watched": (lambda _: (WATCHED,), None),
    "stopped": (lambda _: (STOP,), None),
    "open": (nothing, State.WITHDRAWING),
    "spoken": (spoken, None),
    "torn": (torn, None),
    "alone": (nothing, None),
    "letters": (nothing, None),
    "formula": (typed("=1+1"), None),
}
"""What departs from the book in each kind of record, and where it breaks off."""


@pytest.fixture(scope="session")
def _kept(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Make a record of each kind once."""
    root = tmp_path_factory.mktemp("records")

    def make(kind: str) -> Path:
        folder = root / kind
        if not folder.exists():
            (departures, until), clock = KINDS[kind], ManualClock(START)
            plan = plan_of(kind)
            with RecordFolder.create(folder, plan, GRAMMAR) as record:
                given = departures(record)
                quick_record(record, clock, plan, GRAMMAR, departures=given, until=until)
        return folder

    return make


@pytest.fixture
def taken(_kept: Callable[[str], Path], tmp_path: Path) -> Make:
    """Return a function that makes a record of a kind: a copy that a test may spoil."""

    def make(kind: str) -> Path:
        folder = tmp_path / kind
        shutil.copytree(_kept(kind), folder)
        return folder

    return make


@pytest.fixture(scope="session")
def _pairs(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Key pairs of four people, made once by the command."""
    folder = tmp_path_factory.mktemp("pairs")
    secret = folder / "passphrase"
    secret.write_text("correct horse\n", "utf-8")
    for name in (OPERATOR, WITNESS, REVIEWER, APPROVER):
        assert main(["keys", name, "--into", str(folder), "--passphrase-file", str(secret)]) == 0
    return folder


@pytest.fixture
def pairs(_pairs: Path, tmp_path: Path) -> Path:
    """A folder with the key pairs and the passphrase file of four people."""
    return Path(shutil.copytree(_pairs, tmp_path / "pairs"))


@pytest.fixture
def public(pairs: Path, tmp_path: Path) -> Path:
    """A folder with the public keys only."""
    folder = tmp_path / "public"
    folder.mkdir()
    for path in pairs.glob("*.pem"):
        if not path.name.endswith(".key.pem"):
            shutil.copy(path, folder)
    return folder


@pytest.fixture
def sign(pairs: Path) -> Callable[..., int]:
    """Return a function that signs a record by the command."""

    def put(record: Path, name: str, meaning: str) -> int:
        return main(
            [
                *("sign", str(record), "--as", name, "--meaning", meaning),
                *("--key", str(pairs / f"{name}.key.pem")),
                *("--passphrase-file", str(pairs / "passphrase")),
            ]
        )

    return put


Ended = subprocess.CompletedProcess[str]
Run = Callable[..., Ended]


@pytest.fixture
def refused() -> Callable[..., None]:
    """Return a check that a command ended with a code and one sentence that holds these pieces."""

    def check(done: Ended, code: int, *pieces: str) -> None:
        assert done.returncode == code, done.stderr
        (line,) = done.stderr.splitlines()
        assert line.startswith("sampling-assistant: ")
        for piece in pieces:
            assert piece in line

    return check


@pytest.fixture
def command(capsys: pytest.CaptureFixture[str]) -> Run:
    """Return a function that runs a command in this process."""

    def run(*words: object) -> Ended:
        arguments = [str(word) for word in words]
        capsys.readouterr()
        code = main(arguments)
        said = capsys.readouterr()
        return Ended(arguments, code, said.out, said.err)

    return run


@pytest.fixture
def process(tmp_path: Path) -> Run:
    """Return a function that runs a command in a process of its own, warnings being errors."""

    def run(
        *words: object,
        typed: str = "",
        before: str = "",
        env: Mapping[str, str] | None = None,
        within: tuple[str, ...] = (),
    ) -> Ended:
        start = [sys.executable, "-W", "error"]
        arguments = [str(word) for word in words]
        if before:
            main_call = f"import sys\nfrom assistant.cli import main\nsys.exit(main({arguments!r}))"
            start += ["-c", f"{before}\n{main_call}"]
        else:
            start += ["-m", "assistant", *arguments]
        done = subprocess.run(
            [*within, *start],
            input=typed,
            capture_output=True,
            text=True,
            check=False,
            cwd=tmp_path,
            env=None if env is None else dict(env),
            timeout=120,
        )
        assert "Traceback" not in done.stderr, done.stderr
        return done

    return run
