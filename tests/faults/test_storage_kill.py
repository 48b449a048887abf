"""A writer that is killed outright, again and again; what it had acknowledged is on record."""

import random
import subprocess
import sys
import time
from pathlib import Path

import pytest

from assistant.journal.chain import read
from assistant.storage.record_writer import RecordFolder

KILLS = 30

WRITER = """
import sys
from pathlib import Path
from assistant.journal.chain import line, read, seal
from assistant.ports import Instant
from assistant.storage.record_writer import RecordFolder

path = Path(sys.argv[1])
begun = (path / "record.jsonl").exists()
with RecordFolder.open(path) if begun else RecordFolder.create(path, b"p", b"g") as folder:
    entry = None
    for entry in read(folder.lines()):
        pass
    while True:
        number = entry.seq if entry else 0
        clip = folder.save_clip(number.to_bytes(2, "little") * 300)
        at = Instant("2026-03-04T05:06:07.000000Z", number)
        entry = seal(entry, at=at, boot="b", by="", event={"clip": clip}, outcome={})
        folder.append(line(entry))
        sys.stdout.buffer.write(b"%d %s\\n" % (entry.seq, entry.hash.encode()))
        sys.stdout.buffer.flush()
"""


@pytest.mark.slow
def test_nothing_acknowledged_is_lost_to_a_kill(tmp_path: Path) -> None:
    """The writer prints each entry once it is stored and is killed at a random moment."""
    chance = random.Random(9)  # noqa: S311 - a repeatable choice, no secret
    acknowledged: dict[int, str] = {}
    path = tmp_path / "record"
    for _ in range(KILLS):
        wanted = chance.randrange(25)
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE
        ) as writer:
            assert writer.stdout is not None
            for _ in range(wanted):
                seq, digest = writer.stdout.readline().split()
                acknowledged[int(seq)] = digest.decode()
            time.sleep(chance.random() / 4 if wanted == 0 else chance.random() / 500)
            writer.kill()
            for told in writer.stdout.read().splitlines(keepends=True):
                if told.endswith(b"\n"):
                    seq, digest = told.split()
                    acknowledged[int(seq)] = digest.decode()
        if not acknowledged and not (path / "record.jsonl").exists():
            continue
        with RecordFolder.open(path) as folder:
            assert list(path.rglob("*.tmp")) == []
            stored = {entry.seq: entry for entry in read(folder.lines())}
            assert acknowledged.items() <= {seq: x.hash for seq, x in stored.items()}.items()
            for entry in stored.values():
                assert len(folder.clip(str(entry.event["clip"]))) == 600
    assert len(acknowledged) > KILLS
