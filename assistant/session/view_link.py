"""The session's end of the view: starts its process, says when the record has grown.

The session sets a flag and goes on; a thread of its own does the telling. A view that is stuck or
dead costs the session nothing.
"""

import contextlib
import queue
import subprocess
import sys
import threading
import time
from pathlib import Path
from types import TracebackType
from typing import IO, Self

from pydantic import ValidationError

from assistant.errors import DeviceError, InputError
from assistant.journal.entry import Entry
from assistant.procedure.events import Event
from assistant.procedure.machine import Outcome
from assistant.session.view_process import Answer, News, ViewSettings

START_S = 60.0
"""How long the process may take to start on a busy machine."""
LEVEL_EVERY_S = 0.5
MOST_ANSWERS = 256
"""Answers kept until the session takes them; more are let go."""


class ViewLink:
    """An observer of the session that keeps the page up to date."""

    def __init__(self, settings: ViewSettings) -> None:
        """Start the process and wait until it serves.

        Raises:
            InputError: the address or the port cannot be used.
            DeviceError: the process did not start.
        """
        self.url = ""
        self._answers: queue.Queue[Answer] = queue.Queue(MOST_ANSWERS)
        self._wake = threading.Event()
        self._trouble: str | None = None
        self._level: float | None = None
        self._level_told = 0.0
        self._over = False
        self.serving = True
        """Whether the process was still there when it was last told something."""
        self._process = subprocess.Popen(
            [sys.executable, "-m", "assistant.session.view_process"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            encoding="utf-8",
            start_new_session=True,  # an interrupt of the session ends it in good order
        )
        self._write(settings.model_dump_json() + "\n")
        threading.Thread(target=self._hear, args=(self._process.stdout,), daemon=True).start()
        self._await_start()
        self._teller = threading.Thread(target=self._tell, daemon=True)
        self._teller.start()

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        fault: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Let the viewers see the last page, and end the process."""
        self._over = True
        self._wake.set()
        self._teller.join(5)
        try:
            self._process.wait(10)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()

    def _await_start(self) -> None:
        until = time.monotonic() + START_S
        codes = []
        while not self.url:
            try:
                answer = self._answers.get(timeout=max(0.0, until - time.monotonic()))
            except queue.Empty:
                self._process.kill()
                self._process.wait()
                raise DeviceError(
                    f"The page for the second person did not start within {START_S:.0f} s: try "
                    "again, or go on without --view."
                ) from None
            if answer.what == "error":
                self._process.wait()
                raise InputError(answer.text)
            if answer.what == "ready":
                self.url = answer.text
            else:
                codes.append(answer)
        for each in codes:
            self._answers.put_nowait(each)

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:  # noqa: ARG002 - signature of an observer
        """The record has grown."""
        if self._trouble:
            self._trouble = ""
        self._wake.set()

    def trouble(self, reason: str) -> None:
        """The record cannot be written."""
        self._trouble = reason
        self._wake.set()

    def heard(self, level_dbfs: float) -> None:
        """Take the input level, to be shown now and then."""
        self._level = max(level_dbfs, -99.0)
        now = time.monotonic()
        if now - self._level_told >= LEVEL_EVERY_S:
            self._level_told = now
            self._wake.set()

    def answers(self) -> list[Answer]:
        """Return what the process has said since the last call."""
        found = []
        with contextlib.suppress(queue.Empty):
            while True:
                found.append(self._answers.get_nowait())
        return found

    def _tell(self) -> None:
        """Pass on what is new, in this thread; it alone waits for a process that does not read."""
        while not self._over:
            self._wake.wait()
            self._wake.clear()
            trouble = self._trouble
            news = News(trouble=trouble, level=self._level)
            if trouble == "":
                self._trouble = None
            self._level = None
            if not self._write(news.model_dump_json(exclude_none=True) + "\n"):
                return
        with contextlib.suppress(OSError):
            if self._process.stdin is not None:
                self._process.stdin.close()

    def _write(self, line: str) -> bool:
        try:
            assert self._process.stdin is not None  # noqa: S101 - a pipe was asked for
            self._process.stdin.write(line)
            self._process.stdin.flush()
        except (OSError, ValueError):
            self.serving = False
            return False
        return True

    def _hear(self, said: IO[str] | None) -> None:
        for line in said or ():
            with contextlib.suppress(ValidationError, queue.Full):
                self._answers.put_nowait(Answer.model_validate_json(line))
        self.serving = False


def local_view(folder: Path, port: int) -> ViewLink:
    """Serve a session's page to this machine alone.

    Raises:
        InputError, DeviceError: as for `ViewLink`.
    """
    return ViewLink(ViewSettings(folder=folder, host="127.0.0.1", port=port))
