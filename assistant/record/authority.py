"""A time-stamping authority that is asked over the network (RFC 3161, 3.4)."""

import urllib.request
from collections.abc import Sequence
from http.client import HTTPException
from typing import TYPE_CHECKING

from assistant.errors import DeviceError, InputError
from assistant.record.anchor import Anchor
from assistant.record.time_stamps import anchors, request
from assistant.storage.time_stamps import TimeStampFile

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

__all__ = ["Authority"]

PATIENCE_S = 20.0
_MOST_BYTES = 1_000_000
"""A response has some kB."""


class Authority:
    """Stamps hashes of entries; what it answers is checked before it is used."""

    def __init__(self, url: str, trusted: Sequence["Certificate"]) -> None:
        """Ask nothing yet.

        Args:
            url: its address, http or https.
            trusted: its root and intermediate certificates.

        Raises:
            InputError: the address is none, or there is no certificate.
        """
        if not url.startswith(("http://", "https://")):
            raise InputError(f"{url} is no address of an authority: it begins with http or https.")
        if not trusted:
            raise InputError(
                "Nothing can be stamped: name the certificates of the authority with --authority."
            )
        self.url = url
        self._trusted = trusted

    def stamp(self, count: int, head: str) -> tuple[bytes, Anchor]:
        """Have an entry stamped; return the response and what it vouches for.

        Args:
            count: number of the entry.
            head: its hash.

        Raises:
            DeviceError: the authority did not answer.
            InputError: it answered with something else, or refused.
            RecordBroken: the answer is over something else, or not signed under the certificates.
        """
        answer = self._ask(request(head))
        (anchor,) = anchors([TimeStampFile(self.url, count, answer)], {count: head}, self._trusted)
        return answer, anchor

    def _ask(self, asked: bytes) -> bytes:
        try:
            query = urllib.request.Request(  # noqa: S310 - http and https only, above
                self.url, data=asked, headers={"Content-Type": "application/timestamp-query"}
            )
            with urllib.request.urlopen(query, timeout=PATIENCE_S) as reply:  # noqa: S310 - as above
                answer: bytes = reply.read(_MOST_BYTES)
        except (OSError, ValueError, HTTPException) as fault:
            raise DeviceError(
                f"The authority at {self.url} gave no time stamp ({fault}): try again later, or "
                "take the request there by file (--request)."
            ) from None
        return answer
