"""Live sessions that are killed outright, five hundred times; what was acknowledged is on record.

A server process forks one child for every start of the program. A child opens or resumes the
record, works on as a technician who types and speaks, and tells on a pipe of each entry that is
acknowledged. The kill is `kill -9`, at any moment: in the beginning of the record, in a clip, in a
line, between a line and its acknowledgement, in a note to the register of the station, which all
sessions share, in a question to the time-stamping authority, in the file of a stamp.
"""

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from assistant.errors import RecordBroken, RecordError
from assistant.journal.chain import read
from assistant.record import open_record, prove
from assistant.record.authority import Authority
from assistant.record.registered import registered
from assistant.record.time_stamps import certificates_in
from assistant.storage.record_reader import RecordReader
from assistant.storage.register import sessions
from assistant.storage.time_stamps import add_time_stamp
from tests import stamp_authority

KILLS = 500
MOST_LINES = 2_000

SERVER = """
import os, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import driver
import rfc3161_client
from assistant.errors import RecordError
from assistant.record.authority import Authority
from assistant.record.time_stamps import certificates_in
from assistant.session.register_writer import RegisterWriter
from assistant.session.stamp_taker import StampTaker
from assistant.storage.record_writer import RecordFolder
from assistant.storage.register import Register

url, root = sys.argv[2], Path(sys.argv[3])
authority = Authority(url, certificates_in(root.read_bytes(), root))

class Crier:
    def entered(self, entry, event, outcome, said):
        os.write(1, b"said %d %s\\n" % (entry.seq, entry.hash.encode()))
    def trouble(self, reason):
        os.write(1, b"trouble\\n")

def work(path, seed):
    begun = (path / "record.jsonl").exists()
    with RecordFolder.open(path) if begun else driver.begin_in(path, driver.SMALL) as folder:
        register = RegisterWriter(Register(path.parent / "register"), path)
        stamps = StampTaker(authority, path)
        technician = driver.Technician(spoken_every=4, seed=seed)
        observers = (register, stamps, Crier())
        session = technician.work(folder, observers=observers, stamp_authority=url)
        stamps.finish()
        return session.state.value

driver.english(), driver.plan_of(driver.SMALL)
for request in sys.stdin:
    seed, path = request.split(maxsplit=1)
    child = os.fork()
    if not child:
        try:
            os.write(1, b"done %s\\n" % work(Path(path.strip()), int(seed)).encode())
        except RecordError as error:
            closed = "is closed" in str(error)  # killed between its last entry and its end
            os.write(1, b"done closed\\n" if closed else b"failed %s\\n" % repr(error).encode())
        except BaseException as error:
            os.write(1, b"failed %s\\n" % repr(error).encode())
        os._exit(0)
    os.write(1, b"pid %d\\n" % child)
    sys.stdin.readline()
    _, status = os.waitpid(child, 0)
    os.write(1, b"dead %d\\n" % status)
"""


class Server:
    """Starts sessions and reads what they tell."""

    def __init__(self, process: "subprocess.Popen[str]") -> None:
        """Talk to a server process."""
        self._process = process
        self.acknowledged: dict[int, str] = {}
        self.done = ""

    def start(self, path: Path, seed: int, entries: int) -> int:
        """Start a session; return its process when so many entries were told, or it ended."""
        self.done = ""
        self._send(f"{seed} {path}")
        child = 0
        told = 0
        while not child or (told < entries and not self.done):
            word, value = self._next()
            child = int(value) if word == "pid" else child
            told += word == "said"
        return child

    def end(self, child: int) -> bool:
        """Kill a session; return whether it was killed before it ended by itself."""
        os.kill(child, signal.SIGKILL)  # it stays in the list of processes until it is waited for
        return self.wait() == signal.SIGKILL

    def wait(self) -> int:
        """Wait for the end of a session; return the signal that ended it, or 0."""
        self._send("")
        while True:
            word, value = self._next()
            if word == "dead":
                return os.waitstatus_to_exitcode(int(value)) * -1

    def _send(self, text: str) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write(f"{text}\n")
        self._process.stdin.flush()

    def _next(self) -> tuple[str, str]:
        """Take note of one line of what sessions tell."""
        assert self._process.stdout is not None
        word, _, value = self._process.stdout.readline().rstrip("\n").partition(" ")
        assert word in {"pid", "said", "done", "dead"}, f"{word} {value}"
        if word == "said":
            seq, digest = value.split()
            assert self.acknowledged.setdefault(int(seq), digest) == digest
        elif word == "done":
            self.done = value
        return word, value


@contextmanager
def starting(url: str, root: Path) -> Iterator[Server]:
    """Run a server whose sessions ask this authority."""
    command = [sys.executable, "-c", SERVER, str(Path(__file__).parent), url, str(root)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        yield Server(process)


def stored(path: Path) -> dict[int, str]:
    """Return number and hash of each whole entry, as they stand; the end may be torn."""
    found: dict[int, str] = {}
    try:
        for entry in read(RecordReader(path).lines()):
            found[entry.seq] = entry.hash
    except RecordBroken as torn:
        assert "stops in the middle of a line" in str(torn)  # noqa: PT017 - whole files are as usual
    except RecordError:
        assert not (path / "record.jsonl").exists()
    return found


def finish(server: Server, path: Path, authority: Authority, root: Path) -> tuple[int, int]:
    """Let the session go on to its end undisturbed, and have stamped what no kill let through.

    Returns:
        how many entries it holds, proved, and how many of its stamps are from before this.
    """
    server.start(path, 0, MOST_LINES)
    assert server.wait() == 0
    assert server.done == "closed"
    assert server.acknowledged.items() <= stored(path).items()
    record, register = open_record(path), path.parent / "register"
    noted = sessions(register)[record.first_hash()]
    proof = prove(record, counts=noted.heads.keys())
    # Killed between its last entry and the note of its end, a session stays "not ended" there.
    assert registered(proof, noted, register).count == max(stored(path)) or not noted.ended
    assert list(path.rglob("*.tmp")) == []
    assert proof.last is not None
    server.acknowledged.clear()
    for count, head in proof.unstamped.items():
        add_time_stamp(path, count, authority.stamp(count, head)[0])
    whole = prove(record)
    assert whole.unstamped == {}
    assert len(whole.stamped(certificates_in(root.read_bytes(), root))) >= len(whole.due)
    return proof.last.entry.seq, len(proof.stamps)


@pytest.mark.slow
@pytest.mark.timeout(1800)
@pytest.mark.skipif(not hasattr(os, "fork"), reason="the system has no fork")
@pytest.mark.skipif(shutil.which("openssl") is None, reason="needs openssl")
def test_no_kill_loses_an_acknowledged_entry(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """At least five hundred kills; each next start resumes, every session comes to its end."""
    chance = random.Random(200)  # noqa: S311 - repeatable as far as the system is
    kills = begun = entries = stamps = 0
    stamp_authority.found(tmp_path / "office")
    office = stamp_authority.Authority(tmp_path / "office")
    with (
        stamp_authority.serving(office.reply) as url,
        starting(url, office.root) as server,
    ):
        authority = Authority(url, certificates_in(office.root.read_bytes(), office.root))
        while kills < KILLS:
            path = tmp_path / str(begun)
            for start in range(chance.randrange(4, 12)):
                child = server.start(path, start, chance.randrange(12))
                time.sleep(chance.random() ** 2 / 50)
                kills += server.end(child)
                assert server.acknowledged.items() <= stored(path).items()
                if server.done:
                    break
            if not server.done:
                proved, stamped = finish(server, path, authority, office.root)
                entries, stamps = entries + proved, stamps + stamped
            server.acknowledged.clear()
            begun += 1
    with capsys.disabled():
        print(  # noqa: T201 - a result
            f"\n{kills} kills in {begun} sessions, {entries} entries proved, {stamps} stamps kept"
        )
    assert entries > KILLS
    assert stamps > 50
