"""Who may look from another machine: one code for each viewer, each good once.

A code is 40 bits from the system's source of chance, spelt like a head code. Wrong codes are
answered one after the other, each later than the one before, so that trying many is of no use.
"""

import asyncio
import hmac
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from assistant.journal.head_code import SYMBOLS

__all__ = ["Admission", "Refused", "Visit"]

SLOWEST_S = 10.0
FIRST_WAIT_S = 0.25
MOST_WAITING = 4
"""Wrong codes that may wait for their answer at the same time."""
AWAY_S = 15.0
"""A viewer without a connection for so long has left."""

Did = Literal["joined", "left", "wrong"]


@dataclass(frozen=True, slots=True)
class Visit:
    """A viewer came or went, or somebody tried a wrong code."""

    viewer: int
    """Number of the code used, from 1; 0 for a wrong one."""
    did: Did
    address: str
    wrong_codes: int
    """Wrong codes so far, from anybody."""


@dataclass(slots=True)
class _Viewer:
    number: int
    address: str
    streams: int = 0
    present: bool = False


class Refused(Exception):  # noqa: N818 - an answer, not an accident
    """The code is not good; `busy` when too many wrong ones are waiting for their answer."""

    def __init__(self, *, busy: bool) -> None:
        """Say why."""
        super().__init__("too many wrong codes" if busy else "wrong code")
        self.busy = busy


class Admission:
    """Issues codes, takes them in, and knows who is there."""

    def __init__(
        self,
        issued: Callable[[str], None],
        visited: Callable[[Visit], None],
        *,
        first_wait_s: float = FIRST_WAIT_S,
        away_s: float = AWAY_S,
    ) -> None:
        """Issue the first code.

        Args:
            issued: is told each new code, to show it to the operator.
            visited: is told who came and went, and of wrong codes.
            first_wait_s: how long the first wrong code waits for its answer; doubled each time.
            away_s: how long a viewer may be without a connection.
        """
        self._issued, self._visited = issued, visited
        self._first_wait_s, self._away_s = first_wait_s, away_s
        self._viewers: dict[str, _Viewer] = {}
        self._lock = asyncio.Lock()
        self._waiting = 0
        self.wrong = 0
        """Wrong codes so far."""
        self._code = ""
        self._issue()

    def _issue(self) -> None:
        symbols = "".join(secrets.choice(SYMBOLS) for _ in range(8))
        self._code = f"{symbols[:4]}-{symbols[4:]}"
        self._issued(self._code)

    async def take(self, typed: str, address: str) -> str:
        """Take a code and return the token that stands for this viewer from now on.

        Raises:
            Refused: it is not the present code, or too many wrong ones are waiting.
        """
        plain = "".join(typed.upper().split()).replace("-", "")
        if self._waiting >= MOST_WAITING:
            raise Refused(busy=True)
        self._waiting += 1
        try:
            async with self._lock:
                return await self._judge(plain, address)
        finally:
            self._waiting -= 1

    async def _judge(self, plain: str, address: str) -> str:
        right = self._code.replace("-", "")
        if not hmac.compare_digest(plain.encode(), right.encode()):
            self.wrong += 1
            self._visited(Visit(0, "wrong", address, self.wrong))
            wait = self._first_wait_s * 2.0 ** min(self.wrong - 1, 16)
            await asyncio.sleep(min(wait, SLOWEST_S))
            raise Refused(busy=False)
        token = secrets.token_urlsafe(32)
        self._viewers[token] = _Viewer(len(self._viewers) + 1, address)
        self._issue()
        return token

    def known(self, token: str) -> bool:
        """Whether a token stands for a viewer."""
        return token in self._viewers

    def arrived(self, token: str, address: str) -> None:
        """A viewer has opened a stream."""
        viewer = self._viewers[token]
        viewer.streams += 1
        viewer.address = address
        if not viewer.present:
            viewer.present = True
            self._tell(viewer, "joined")

    def went(self, token: str) -> None:
        """A stream has ended; without another one in time, the viewer has left."""
        viewer = self._viewers[token]
        viewer.streams -= 1
        asyncio.get_running_loop().call_later(self._away_s, self._look, viewer)

    def _look(self, viewer: _Viewer) -> None:
        if viewer.streams == 0 and viewer.present:
            viewer.present = False
            self._tell(viewer, "left")

    def _tell(self, viewer: _Viewer, did: Did) -> None:
        self._visited(Visit(viewer.number, did, viewer.address, self.wrong))
