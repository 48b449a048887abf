"""The system calls, and the sentences for what they refuse."""

import errno
import os
import sys
from pathlib import Path

import pytest

from assistant.storage.filesystem import Disk, failure


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no fcntl")
@pytest.mark.parametrize(
    ("answer", "plain", "raised"),
    [(0, 0, False), (errno.ENOTSUP, 1, False), (errno.EIO, 0, True)],
)
def test_macos_is_asked_for_the_medium_not_the_cache(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    answer: int,
    plain: int,
    raised: bool,  # noqa: FBT001 - a table
) -> None:
    """There fsync stops at the drive's cache; where the full sync is missing, it must do."""
    fcntl = pytest.importorskip("fcntl")
    full: list[tuple[int, int]] = []
    fsyncs: list[int] = []

    def call(descriptor: int, command: int) -> int:
        """Answer as told."""
        full.append((descriptor, command))
        if answer:
            raise OSError(answer, os.strerror(answer))
        return 0

    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(fcntl, "F_FULLFSYNC", 51, raising=False)
    monkeypatch.setattr(fcntl, "fcntl", call)
    monkeypatch.setattr(os, "fsync", fsyncs.append)
    descriptor = os.open(tmp_path / "file", os.O_CREAT | os.O_WRONLY)
    try:
        if raised:
            with pytest.raises(OSError, match="Input/output"):
                Disk().sync(descriptor)
        else:
            Disk().sync(descriptor)
    finally:
        os.close(descriptor)
    assert full == [(descriptor, 51)]
    assert fsyncs == [descriptor] * plain


def test_a_link_in_place_of_a_file_is_not_written_through(tmp_path: Path) -> None:
    """Somebody else's file cannot be written by planting a link."""
    (tmp_path / "link").symlink_to(tmp_path / "target")
    with pytest.raises(OSError, match="symbolic link"):
        Disk().open(tmp_path / "link", os.O_WRONLY | os.O_CREAT)
    assert not (tmp_path / "target").exists()


@pytest.mark.parametrize(
    ("number", "words"),
    [(errno.ENOSPC, "free some space"), (errno.EBUSY, "busy; check the disk"), (0, "odd; check")],
)
def test_refusals_become_one_sentence(number: int, words: str) -> None:
    """What, where, what to do."""
    error = OSError(number, os.strerror(number) if number else "odd")
    assert str(failure("write", Path("/a/b"), error)).startswith("Cannot write /a/b: ")
    assert words in str(failure("write", Path("/a/b"), error))
    assert "check the disk" in str(failure("write", Path("/a/b"), OSError("bare")))
