"""The session's end of the view: starts its process, says when the record has grown.

The session sets a flag and goes on; a thread of its own does the telling. A view that is stuck or
dead costs the session nothing.
"""

import contextlib
import importlib.util
import os
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
from assistant.procedure.events import Event, ViewerNoted
from assistant.procedure.machine import Outcome
from assistant.session.view_messages import Answer, News, ViewSettings

NO_LIBRARIES = (
    "The page for a second person needs further libraries: install sampling-assistant[view]."
)

START_S = 60.0
"""How long the process may take to start on a busy machine."""
PARTING_S = 5.0
"""How long the process may take to end."""
LEVEL_EVERY_S = 1.0
LEVEL_STEP_DB = 3.0
"""A smaller change of the input level is not worth a message."""
MOST_ANSWERS = 256
"""Answers kept until the session takes them; more are let go."""


class ViewLink:
    """An observer of the session that keeps the page up to date; serves it while it is entered."""

    def __init__(self, settings: ViewSettings) -> None:
        """Set up; the record need not be there yet.

        Raises:
            DeviceError: the libraries for it are not installed.
        """
        if importlib.util.find_spec("starlette") is None:
            raise DeviceError(NO_LIBRARIES)
        self.settings = settings
        self._process: subprocess.Popen[str] | None = None
        self.url = ""
        self._answers: queue.Queue[Answer] = queue.Queue(MOST_ANSWERS)
        self._wake = threading.Event()
        self._trouble: str | None = None
        self._level: float | None = None
        self._level_shown, self._level_told = 0.0, 0.0
        self._over = False
        self._changing = threading.Lock()

    def __enter__(self) -> Self:
        """Start the process and wait until it serves.

        Raises:
            InputError: the address or the port cannot be used.
            DeviceError: the process did not start.
        """
        process = self._process = subprocess.Popen(
            # -P: a package of that name in the current folder is not run instead.
            [sys.executable, "-P", "-m", "assistant.session.view_process"],
            env={**os.environ, "PYTHONPATH": _search_path()},
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            encoding="utf-8",
            start_new_session=True,  # an interrupt of the session ends it in good order
        )
        self._write(self.settings.model_dump_json() + "\n")
        self._hearer = threading.Thread(target=self._hear, args=(process.stdout,), daemon=True)
        self._hearer.start()
        self._teller = threading.Thread(target=self._tell, daemon=True)
        try:
            self._await_start()
        except BaseException:
            self._end(process)
            raise
        self._teller.start()
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
        self._teller.join(PARTING_S)
        if self._process is not None:
            if self._teller.is_alive():
                # It waits for a process that does not read; only its end sets the pipe free.
                self._process.kill()
            self._end(self._process)

    def _end(self, process: subprocess.Popen[str]) -> None:
        """Close the process's input, which ends it, and see to it that it ends."""
        with contextlib.suppress(OSError, ValueError):
            if process.stdin is not None:
                process.stdin.close()
        try:
            process.wait(PARTING_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        self._hearer.join(PARTING_S)
        if process.stdout is not None:
            process.stdout.close()

    def _await_start(self) -> None:
        until = time.monotonic() + START_S
        codes = []
        while not self.url:
            answer = None
            with contextlib.suppress(queue.Empty):
                answer = self._answers.get(timeout=max(0.0, until - time.monotonic()))
            if answer is None or answer.what == "ended":
                raise DeviceError(
                    "The page for the second person could not be started: try again, or go on "
                    "without --view."
                )
            if answer.what == "error":
                raise InputError(answer.text)
            if answer.what == "ready":
                self.url = answer.text
            else:
                codes.append(answer)
        for each in codes:
            self._answers.put_nowait(each)

    @property
    def pid(self) -> int:
        """Number of the process, 0 when there is none."""
        return self._process.pid if self._process else 0

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:  # noqa: ARG002 - signature of an observer
        """An entry was put on record."""
        self.grown()

    def grown(self) -> None:
        """The record has grown, so it can be written."""
        with self._changing:
            if self._trouble:
                self._trouble = ""
        self._wake.set()

    def trouble(self, reason: str) -> None:
        """The record cannot be written."""
        with self._changing:
            self._trouble = reason
        self._wake.set()

    def heard(self, level_dbfs: float) -> None:
        """Take the input level, which is shown when it has changed, now and then."""
        level, now = max(level_dbfs, -99.0), time.monotonic()
        changed = abs(level - self._level_shown) >= LEVEL_STEP_DB
        if changed and now - self._level_told >= LEVEL_EVERY_S:
            self._level_told, self._level_shown = now, level
            with self._changing:
                self._level = level
            self._wake.set()

    def news(self) -> tuple[list[str], list[Event]]:
        """Return what to show to the operator and what to put on record since the last call."""
        shown: list[str] = []
        noted: list[Event] = []
        for answer in self.answers():
            match answer.what:
                case "code":
                    shown.append(f"code for the next viewer: {answer.text}")
                case "wrong":
                    shown.append(f"wrong code from {answer.address} ({answer.wrong_codes} so far)")
                case "ended":
                    shown.append("The page for a second person is no longer served.")
                case "joined" | "left" as did:
                    event = ViewerNoted(
                        viewer=answer.viewer,
                        did=did,
                        address=answer.address,
                        wrong_codes=answer.wrong_codes,
                    )
                    noted.append(event)
                    shown.append(f"viewer {answer.viewer} {did}, {answer.address}")
                case _:
                    pass
        return shown, noted

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
            with self._changing:
                news = News(trouble=self._trouble, level=self._level)
                if self._trouble == "":
                    self._trouble = None
                self._level = None
            if not self._write(news.model_dump_json(exclude_none=True) + "\n"):
                return

    def _write(self, line: str) -> bool:
        """Write to the process; False when it is gone."""
        pipe = self._process.stdin if self._process else None
        if pipe is None:
            return False
        try:
            pipe.write(line)
            pipe.flush()
        except (OSError, ValueError):
            return False
        return True

    def _hear(self, said: IO[str] | None) -> None:
        for line in said or ():
            with contextlib.suppress(ValidationError, queue.Full):
                self._answers.put_nowait(Answer.model_validate_json(line))
        with contextlib.suppress(queue.Full):
            self._answers.put_nowait(Answer(what="ended"))


def _search_path() -> str:
    """Where the process finds this program, besides what the environment says."""
    own = str(Path(__file__).resolve().parents[2])
    return os.pathsep.join(filter(None, [own, os.environ.get("PYTHONPATH", "")]))
