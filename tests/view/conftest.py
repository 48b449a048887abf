"""A real Chromium, and sessions for it to watch."""

import importlib.util
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from assistant.clock import ManualClock
from assistant.conformance import retell
from assistant.console.transcript import describe
from assistant.grammar import parse_grammar
from assistant.plan import parse_plan
from assistant.procedure.enums import State
from assistant.procedure.model import Session, begin
from assistant.session.view_link import ViewLink
from assistant.session.view_messages import ViewSettings
from assistant.storage import bundled_files
from assistant.storage.record_writer import RecordFolder
from assistant.testing import Departure, quick_record
from assistant.view.page_state import PageState, after, begin_page

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM = shutil.which("chromium")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
REQUIRED = os.environ.get("SAMPLING_ASSISTANT_SITE") == "required"

collect_ignore_glob = [] if REQUIRED or importlib.util.find_spec("starlette") else ["test_*.py"]
"""The server's libraries are an extra; where the tests must run, their absence is an error."""

START = datetime(2026, 3, 4, 8, tzinfo=UTC)
GRAMMAR = bundled_files.read_grammar("en")

PARTS = ("starlette", "playwright", "axe_playwright_python")


def missing_parts() -> list[str]:
    """Name what a browser test needs and this machine lacks."""
    lacking = [name for name in PARTS if importlib.util.find_spec(name) is None]
    return lacking + ([] if CHROMIUM else ["chromium"])


@pytest.fixture(scope="module")
def chromium() -> Iterator["Browser"]:
    """Return a browser for the tests of one module.

    Not longer: while it is open, Playwright's event loop counts as running, and no test in this
    process can run another.
    """
    if lacking := missing_parts():
        pytest.skip(f"lacks {', '.join(lacking)}")
    from playwright.sync_api import sync_playwright  # noqa: PLC0415 - an extra

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def browser(chromium: "Browser") -> Iterator["Browser"]:
    """Return it, and close what the test opened."""
    yield chromium
    for context in chromium.contexts:
        context.close()


def shortened(name: str, locations: int) -> bytes:
    """Return a shipped plan with its first locations only, each step confirmed by itself."""
    whole = bundled_files.read_plan(name).replace(b'dialogue = "short"', b'dialogue = "full"')
    parts = whole.split(b"[[locations]]")
    return b"[[locations]]".join(parts[: locations + 1])


class Staged:
    """A session that is played to the page, entry by entry."""

    def __init__(self, folder: Path, plan: bytes) -> None:
        """Begin its record."""
        self.plan = plan
        self.folder = RecordFolder.create(folder, plan, GRAMMAR)
        self.link: ViewLink | None = None
        self.after: Callable[[int], None] = lambda _seq: None
        """Called when an entry has been written and told to the page."""
        self._seq = 0
        self.written: dict[int, float] = {}
        """When each entry was on the disk, by the steady clock, seconds."""

    def append(self, line: bytes) -> None:
        """Put an entry on record, and tell the page."""
        self.folder.append(line)
        self._seq += 1
        self.written[self._seq] = time.monotonic()
        if self.link is not None:
            self.link.grown()
        self.after(self._seq)

    def play(self, departures: Sequence[Departure] = (), until: State | None = None) -> Session:
        """Play it to its end, or until a state."""
        clock = ManualClock(START)
        return quick_record(self, clock, self.plan, GRAMMAR, departures=departures, until=until)

    def lines(self) -> Iterator[bytes]:
        """Yield what is on record."""
        return self.folder.lines()

    def pages(self) -> list[PageState]:
        """Fold what is on record into the page before the first entry and after each."""
        plan, language = parse_plan(self.plan, "plan"), parse_grammar(GRAMMAR, "en")
        found = [begin_page(begin(plan), language)]
        for told in retell(self.folder.lines(), plan, language):
            found.append(after(found[-1], told, language, describe(told.event)))
        return found


Stage = Callable[..., Staged]


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    """Return a function that begins a session of a shipped plan's first locations."""
    begun: list[Staged] = []

    def make(name: str = "double-cone", locations: int = 2) -> Staged:
        folder = tmp_path / f"record-{len(begun)}"
        begun.append(Staged(folder, shortened(name, locations)))
        return begun[-1]

    yield make
    for staged in begun:
        staged.folder.close()


@contextmanager
def shown(staged: Staged, port: int = 0) -> Iterator[str]:
    """Serve a session's page while it is played; give its address."""
    settings = ViewSettings(folder=staged.folder.path, host="127.0.0.1", port=port)
    with ViewLink(settings) as staged.link:
        yield staged.link.url
    staged.link = None


def open_page(browser: "Browser", url: str, **options: object) -> "Page":
    """Open a page in a profile of its own."""
    page = browser.new_context(**options).new_page()  # type: ignore[arg-type] # passed through
    page.goto(url)
    return page


def await_entry(page: "Page", seq: int) -> None:
    """Wait until the page shows an entry."""
    page.wait_for_function(
        "seq => Number(document.documentElement.dataset.seq) >= seq", arg=seq, timeout=60_000
    )


INTERRUPTIBLE = ("env", "--default-signal=INT")


class Started:
    """A command that runs until it is interrupted, and what it has printed."""

    def __init__(self, *words: object, home: Path) -> None:
        """Start it."""
        self._process = subprocess.Popen(
            # A shell ignores interrupts in what it starts in the background, tests included.
            [*INTERRUPTIBLE, sys.executable, "-W", "error", "-m", "assistant", *map(str, words)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            env={**os.environ, "SAMPLING_ASSISTANT_HOME": str(home), "PYTHONUNBUFFERED": "1"},
        )
        self.printed = ""
        self._grown = threading.Condition()
        self._reader = threading.Thread(target=self._read)
        self._reader.start()

    def _read(self) -> None:
        assert self._process.stdout is not None
        for line in self._process.stdout:
            with self._grown:
                self.printed += line
                self._grown.notify_all()

    def find(self, pattern: str, count: int = 1) -> str:
        """Wait until something was printed `count` times; return the last one's first group."""

        def found() -> list[str]:
            return re.findall(pattern, self.printed)

        with self._grown:
            assert self._grown.wait_for(lambda: len(found()) >= count, 60), self.printed
            return str(found()[count - 1])

    def type(self, line: str) -> None:
        """Type a line."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{line}\n")
        self._process.stdin.flush()

    def end(self) -> int:
        """Interrupt it and return its exit code."""
        with suppress(ProcessLookupError):
            self._process.send_signal(signal.SIGINT)
        code = self._process.wait(120)
        self._reader.join()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                pipe.close()
        assert "Traceback" not in self.printed, self.printed
        return code


Start = Callable[..., Started]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Return a function that starts a command of the program."""
    begun: list[Started] = []

    def make(*words: object) -> Started:
        begun.append(Started(*words, home=tmp_path / "home"))
        return begun[-1]

    yield make
    for each in begun:
        each.end()
