"""The session's end of the view: it never waits, whatever becomes of the view's process."""

import importlib.util
import os
import signal
import socket
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from assistant.clock import ManualClock
from assistant.errors import DeviceError, InputError
from assistant.procedure.enums import State
from assistant.procedure.events import ViewerNoted
from assistant.session import view_link
from assistant.session.view_link import ViewLink
from assistant.session.view_messages import Answer, ViewSettings
from assistant.storage import bundled_files
from assistant.storage.record_writer import RecordFolder
from assistant.testing import quick_record

pytest.importorskip("starlette", reason="needs the extra 'view'")

PLAN, GRAMMAR = bundled_files.read_plan("bin"), bundled_files.read_grammar("en")


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[RecordFolder]:
    """Return a record without entries."""
    with RecordFolder.create(tmp_path / "record", PLAN, GRAMMAR) as made:
        yield made


def settings(folder: RecordFolder, port: int = 0) -> ViewSettings:
    """Serve it to this machine."""
    return ViewSettings(folder=folder.path, host="127.0.0.1", port=port)


class Feed:
    """Puts entries on record and tells the view, keeping the longest time that took."""

    def __init__(self, folder: RecordFolder, link: ViewLink) -> None:
        """Begin."""
        self._folder, self._link = folder, link
        self.longest_s = 0.0

    def append(self, line: bytes) -> None:
        """Append one."""
        self._folder.append(line)
        began = time.perf_counter()
        self._link.grown()
        self._link.heard(-30.0)
        self.longest_s = max(self.longest_s, time.perf_counter() - began)

    def lines(self) -> Iterator[bytes]:
        """Yield what was put on record."""
        return self._folder.lines()


@pytest.mark.parametrize("fate", [signal.SIGSTOP, signal.SIGKILL], ids=["stuck", "dead"])
def test_the_session_goes_on_without_its_view(
    folder: RecordFolder, fate: signal.Signals, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two hundred entries are told to a process that is stuck or gone, without any delay."""
    monkeypatch.setattr(view_link, "PARTING_S", 0.5)
    monkeypatch.setattr(view_link, "LEVEL_EVERY_S", 0.0)
    with ViewLink(settings(folder)) as link:
        pid = link.pid
        os.kill(pid, fate)
        feed = Feed(folder, link)
        clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
        assert quick_record(feed, clock, PLAN, GRAMMAR).state is State.CLOSED
        assert feed.longest_s < 0.1
        if fate == signal.SIGKILL:
            until = time.monotonic() + 10
            shown: list[str] = []
            while not shown and time.monotonic() < until:
                shown, _ = link.news()
                time.sleep(0.02)
            assert shown == ["The page for a second person is no longer served."]
    with pytest.raises(ProcessLookupError):
        os.kill(pid, 0)


def test_a_taken_port_is_told_and_leaves_no_process(folder: RecordFolder) -> None:
    """As the server says it."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        link = ViewLink(settings(folder, taken.getsockname()[1]))
        with pytest.raises(InputError, match="--view-port"), link:
            pass
    with pytest.raises(ProcessLookupError):
        os.kill(link.pid, 0)


def test_a_process_that_does_not_start_is_told(
    folder: RecordFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In one sentence, with what to do."""
    monkeypatch.setattr(sys, "executable", "/bin/false")
    with pytest.raises(DeviceError, match="go on without --view"), ViewLink(settings(folder)):
        pass


def test_lacking_libraries_are_told(folder: RecordFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    """Before anything is started."""
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    with pytest.raises(DeviceError, match=r"install sampling-assistant\[view\]"):
        ViewLink(settings(folder))


def test_what_the_process_says_becomes_words_and_events(folder: RecordFolder) -> None:
    """Codes and visits; what makes no sense is let go."""
    link = ViewLink(settings(folder))
    link._hear(  # noqa: SLF001 - in place of a process that says so
        iter(  # type: ignore[arg-type] # read line by line like a pipe
            [
                Answer(what="code", text="7QKD-2MXA").model_dump_json(),
                "nonsense",
                '{"what":"take this","text":"x"}',
                Answer(what="wrong", address="192.0.2.9", wrong_codes=1).model_dump_json(),
                Answer(what="joined", viewer=1, address="192.0.2.7").model_dump_json(),
                Answer(what="left", viewer=1, address="192.0.2.7", wrong_codes=2).model_dump_json(),
            ]
        )
    )
    shown, noted = link.news()
    assert shown == [
        "code for the next viewer: 7QKD-2MXA",
        "wrong code from 192.0.2.9 (1 so far)",
        "viewer 1 joined, 192.0.2.7",
        "viewer 1 left, 192.0.2.7",
        "The page for a second person is no longer served.",
    ]
    assert noted == [
        ViewerNoted(viewer=1, did="joined", address="192.0.2.7"),
        ViewerNoted(viewer=1, did="left", address="192.0.2.7", wrong_codes=2),
    ]
    assert link.news() == ([], [])


def test_only_a_change_of_the_level_is_told(
    folder: RecordFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three decibels and more, and not more often than once in a while."""
    moments = iter(range(100, 200))
    monkeypatch.setattr(time, "monotonic", lambda: float(next(moments)))
    link, told = ViewLink(settings(folder)), []
    for level in (-40.0, -41.0, -42.9, -43.0, -300.0, -98.0):
        link.heard(level)
        told.append(link._wake.is_set())  # noqa: SLF001 - what its thread waits for
        link._wake.clear()  # noqa: SLF001 - as above
    assert told == [True, False, False, True, True, False]
