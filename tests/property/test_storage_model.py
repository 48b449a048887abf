"""A record folder beside a plain list: whatever happens to both, they agree."""

import os
import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    precondition,
    rule,
)

from assistant.errors import RecordError
from assistant.storage.filesystem import Disk
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder

LINE = st.binary(max_size=60).map(lambda data: data.replace(b"\n", b"").replace(b"\0", b"") + b"\n")


class FitfulDisk(Disk):
    """Fails one named call when told to; does not wait for the medium."""

    failing = ""

    def _pass(self, name: str) -> None:
        """Fail if it is this call's turn, once."""
        if self.failing == name:
            self.failing = ""
            raise OSError(28, os.strerror(28))

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        """Open, or fail."""
        self._pass("open")
        return super().open(path, flags, mode)

    def write(self, descriptor: int, data: bytes) -> int:
        """Write, or leave a part and fail."""
        try:
            self._pass("write")
        except OSError:
            os.write(descriptor, data[:7])
            raise
        return super().write(descriptor, data)

    def sync(self, descriptor: int) -> None:
        """Fail, or only look whether the descriptor is open."""
        self._pass("sync")
        self.size(descriptor)

    def truncate(self, descriptor: int, length: int) -> None:
        """Cut, or fail."""
        self._pass("truncate")
        super().truncate(descriptor, length)


class FolderAgainstList(RuleBasedStateMachine):
    """Appends, failures, crashes and resumptions in any order."""

    def __init__(self) -> None:
        """Begin both without lines."""
        super().__init__()
        self.root = Path(tempfile.mkdtemp())
        self.path = self.root / "record"
        self.disk = FitfulDisk()
        self.folder = RecordFolder.create(self.path, b"plan", b"grammar", self.disk)
        self.model: list[bytes] = []
        self.asides: set[bytes] = set()

    @rule(line=LINE)
    def append(self, line: bytes) -> None:
        """Both take the line, or the folder refuses it and keeps nothing of it."""
        try:
            self.folder.append(line)
        except RecordError:
            return
        self.model.append(line[:-1])

    @rule(name=st.sampled_from(["open", "write", "sync", "truncate"]))
    def let_a_call_fail(self, name: str) -> None:
        """The next call of this name fails."""
        self.disk.failing = name

    @rule()
    def close_and_continue(self) -> None:
        """An orderly end."""
        self.disk.failing = ""
        self.folder.close()
        self.reopen()

    @rule(torn=st.binary(min_size=1, max_size=30).map(lambda data: data.replace(b"\n", b"x")))
    def crash_and_continue(self, torn: bytes) -> None:
        """The program is killed in mid-line."""
        self.disk.failing = ""
        self.folder.close()
        before = (self.path / "record.jsonl").read_bytes()
        (self.path / "record.jsonl").write_bytes(before + torn)
        self.reopen()
        assert self.folder.torn is not None
        assert self.folder.torn.data.endswith(torn)
        self.asides.add(self.folder.torn.data)

    @precondition(lambda self: self.model)
    @rule()
    def move_away_and_back(self) -> None:
        """The disk is unplugged for a moment."""
        self.path.rename(self.root / "elsewhere")
        try:
            self.folder.append(b"lost\n")
        except RecordError:
            pass
        else:
            raise AssertionError("a line was acknowledged that nobody will find")
        (self.root / "elsewhere").rename(self.path)

    def reopen(self) -> None:
        """Continue the record; what a failed cut had left is set aside."""
        self.folder = RecordFolder.open(self.path, self.disk)
        if self.folder.torn:
            self.asides.add(self.folder.torn.data)

    @invariant()
    def agree(self) -> None:
        """The folder holds the list's lines, the side files hold every torn tail."""
        assert list(self.folder.lines()) == self.model
        assert {tail.data for tail in RecordReader(self.path).asides()} == self.asides

    def teardown(self) -> None:
        """Leave nothing on the disk."""
        self.folder.close()
        shutil.rmtree(self.root)


TestFolderAgainstList = pytest.mark.slow(FolderAgainstList.TestCase)
TestFolderAgainstList.settings = settings(max_examples=60, stateful_step_count=30, deadline=None)
