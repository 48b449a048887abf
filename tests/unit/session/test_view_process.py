"""The view's process: it follows a record that grows, and ends with its input."""

import io
import json
import sys
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from assistant.clock import ManualClock
from assistant.errors import RecordBroken
from assistant.procedure.enums import State
from assistant.record import open_record
from assistant.session.view_messages import ViewSettings
from assistant.session.view_process import Follower, main
from assistant.session.view_replay import told_pages
from assistant.storage import bundled_files
from assistant.storage.record_writer import RecordFolder
from assistant.testing import quick_record
from assistant.view.page_state import PageState

PLAN, GRAMMAR = bundled_files.read_plan("bin"), bundled_files.read_grammar("en")


@pytest.fixture
def lines(tmp_path: Path) -> list[bytes]:
    """Return the lines of a record, each with its newline."""
    with RecordFolder.create(tmp_path / "whole", PLAN, GRAMMAR) as made:
        clock = ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC))
        quick_record(made, clock, PLAN, GRAMMAR, until=State.FILLING)
    return [
        line + b"\n"
        for line in (tmp_path / "whole" / "record.jsonl").read_bytes().split(b"\n")
        if line
    ]


@pytest.fixture
def growing(tmp_path: Path) -> Iterator[Path]:
    """Return the folder of a record without entries."""
    folder = tmp_path / "growing"
    with RecordFolder.create(folder, PLAN, GRAMMAR):
        yield folder


class Reader:
    """Follows a record in a thread, and keeps what it was given."""

    def __init__(self, folder: Path) -> None:
        """Begin."""
        self.follower = Follower(open_record(folder), folder / "record.jsonl")
        self.pages: list[PageState] = []
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._read)
        self._thread.start()

    def _read(self) -> None:
        for page in self.follower.pages():
            with self._changed:
                self.pages.append(page)
                self._changed.notify_all()

    def await_pages(self, count: int) -> None:
        """Wait for so many."""
        with self._changed:
            assert self._changed.wait_for(lambda: len(self.pages) >= count, 20)

    def end(self) -> None:
        """Wait until it has read the rest."""
        self.follower.end()
        self._thread.join(20)
        assert not self._thread.is_alive()


def test_a_line_counts_once_it_is_whole(growing: Path, lines: list[bytes]) -> None:
    """Half a line is left until its other half is there; several may come at once."""
    reader = Reader(growing)
    reader.await_pages(1)
    with (growing / "record.jsonl").open("ab", buffering=0) as file:
        file.write(lines[0] + lines[1][:40])
        reader.follower.grown()
        reader.await_pages(2)
        file.write(lines[1][40:])
        reader.follower.grown()
        reader.await_pages(3)
        file.write(b"".join(lines[2:]))
    reader.end()
    assert [page.seq for page in reader.pages] == list(range(len(lines) + 1))
    assert reader.pages == told_pages(open_record(growing)).pages


def test_half_a_line_at_the_end_is_not_shown(growing: Path, lines: list[bytes]) -> None:
    """It was never safely on record."""
    reader = Reader(growing)
    with (growing / "record.jsonl").open("ab") as file:
        file.write(lines[0] + lines[1][:-1])
    reader.end()
    assert [page.seq for page in reader.pages] == [0, 1]


def test_what_is_no_record_is_not_shown(growing: Path, lines: list[bytes]) -> None:
    """The chain is checked on the way."""
    (growing / "record.jsonl").write_bytes(lines[0] + lines[2])
    follower = Follower(open_record(growing), growing / "record.jsonl")
    follower.end()
    with pytest.raises(RecordBroken, match="Entry 2"):
        list(follower.pages())


def served(
    settings: ViewSettings, monkeypatch: pytest.MonkeyPatch, news: str = ""
) -> tuple[int, list[dict[str, object]]]:
    """Run the process with an input that ends; return its exit code and what it said."""
    monkeypatch.setattr(sys, "stdin", io.StringIO(f"{settings.model_dump_json()}\n{news}"))
    out = io.StringIO()
    monkeypatch.setattr(sys, "stdout", out)
    code = main()
    return code, [json.loads(line) for line in out.getvalue().splitlines()]


def test_it_ends_with_its_input(growing: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Having said where the page is."""
    settings = ViewSettings(folder=growing, host="127.0.0.1", port=0)
    news = '{"trouble":"The disk is full."}\n{"level":-30.5}\n{}\n'
    code, said = served(settings, monkeypatch, news)
    assert code == 0
    assert [one["what"] for one in said] == ["ready"]
    assert str(said[0]["text"]).startswith("http://127.0.0.1:")


def test_what_cannot_be_served_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the sentence of whoever found it."""
    settings = ViewSettings(folder=tmp_path, host="127.0.0.1", port=0)
    code, said = served(settings, monkeypatch)
    assert code == 2
    assert [one["what"] for one in said] == ["error"]
    assert str(said[0]["text"]).startswith("There is no record in")
