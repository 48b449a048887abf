"""The page for a second person, as the commands `rehearse` and `run` offer it."""

import contextlib
import ipaddress
import re
import threading
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console

from assistant.errors import InputError
from assistant.grammar.language import Language
from assistant.grammar.numbers import spell_code
from assistant.ports import Speaker
from assistant.session.live import LiveSession
from assistant.session.view_link import ViewLink
from assistant.session.view_messages import ViewSettings
from assistant.user_folder import user_folder

HERE = "127.0.0.1"
_NAME = re.compile(r"[a-z]([a-z0-9.-]{0,61}[a-z0-9])?")
SPOKEN_DIGITS = 16
"""Digits of the fingerprint that are spoken: 64 bits."""
SPEAKING_S = 60.0
"""Longest time to wait for a sentence to end."""


@dataclass(frozen=True, slots=True)
class Page:
    """A page that can be served."""

    link: ViewLink
    fingerprint: str = ""
    """Of its certificate, 64 hexadecimal digits; "" on this machine alone."""


def page_of(folder: Path, port: int, host: str | None = None) -> Page:
    """Return the page of a session.

    Args:
        folder: of the record, which need not be there yet.
        port: to listen at.
        host: address of this machine to listen at; None for this machine alone.

    Raises:
        InputError: the address stands for several, or the certificate cannot be written.
        DeviceError: the libraries for the page are not installed.
    """
    if host is None:
        return Page(ViewLink(ViewSettings(folder=folder, host=HERE, port=port)))
    host = _as_browsers_write_it(host)
    # Imported here, since the page is an extra and most sessions have none.
    from assistant.view.certificate import certificate_for  # noqa: PLC0415

    made = certificate_for(host, user_folder() / "view", datetime.now(UTC))
    settings = ViewSettings(
        folder=folder, host=host, port=port, certificate=made.path, key=made.key
    )
    return Page(ViewLink(settings), made.fingerprint)


def _as_browsers_write_it(host: str) -> str:
    """Return an address in its shortest form, a name in small letters.

    Raises:
        InputError: it is neither, or stands for every address of this machine.
    """
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        if _NAME.fullmatch(host.lower()):
            return host.lower()
    else:
        if not address.is_unspecified:
            return address.compressed
    raise InputError(
        f"--view-host {host}: name the one address of this machine that viewers will use."
    )


class SessionPage:
    """The page of a live session, or none."""

    def __init__(self, console: Console, page: Page | None) -> None:
        """Take the page; None where nobody wants one."""
        self._console, self._page = console, page
        self.observers = (page.link,) if page else ()

    def open(self, stack: contextlib.ExitStack, language: Language, speaker: Speaker) -> None:
        """Serve it until the stack ends, and say where it is and how to know that it is this one.

        Args:
            stack: ends it.
            language: spells what is spoken.
            speaker: speaks the beginning of the certificate's fingerprint.
        """
        if self._page is None:
            return
        link, fingerprint = stack.enter_context(self._page.link), self._page.fingerprint
        self._console.print(f"page for a second person: {link.url}")
        for line in link.news()[0]:
            self._console.print(line)
        if not fingerprint:
            return
        pairs = ":".join(fingerprint[n : n + 2] for n in range(0, len(fingerprint), 2))
        self._console.print(f"fingerprint of its certificate (SHA-256): {pairs}")
        over = threading.Event()
        spelt = spell_code(language, fingerprint[:SPOKEN_DIGITS])
        speaker.say(f"Fingerprint: {spelt}.", over.set)
        over.wait(SPEAKING_S)

    def tick(self, live: LiveSession) -> None:
        """Tell it the input level; put on record and show what its process has to say."""
        if self._page is None:
            return
        link = self._page.link
        if live.hears:
            link.heard(live.level_dbfs)
        shown, noted = link.news()
        for event in noted:
            live.loop.take(event)
        for line in shown:
            self._console.print(line)
