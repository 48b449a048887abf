"""The page for a second person, as the commands `rehearse` and `run` offer it."""

import threading
from datetime import UTC, datetime
from pathlib import Path

from rich.console import Console

from assistant.errors import InputError
from assistant.grammar.language import Language
from assistant.grammar.numbers import spell_code
from assistant.ports import Speaker
from assistant.session.view_link import ViewLink
from assistant.session.view_messages import ViewSettings
from assistant.user_folder import user_folder

HERE = "127.0.0.1"
SPOKEN_DIGITS = 16
"""Digits of the fingerprint that are spoken: 64 bits."""
SPEAKING_S = 60.0
"""Longest time to wait for a sentence to end."""


def page_of(folder: Path, port: int, host: str | None = None) -> tuple[ViewLink, str]:
    """Return the page of a session, and the fingerprint of its certificate ("" on this machine).

    Args:
        folder: of the record, which need not be there yet.
        port: to listen at.
        host: address of this machine to listen at; None for this machine alone.

    Raises:
        InputError: the address stands for several, or the certificate cannot be written.
        DeviceError: the libraries for the page are not installed.
    """
    if host is None:
        return ViewLink(ViewSettings(folder=folder, host=HERE, port=port)), ""
    if host in ("0.0.0.0", "::", "*", ""):  # noqa: S104 - refused, not bound
        raise InputError(
            f"--view-host {host}: name the one address of this machine that viewers will use."
        )
    # Imported here, since the page is an extra and most sessions have none.
    from assistant.view.certificate import certificate_for  # noqa: PLC0415

    made = certificate_for(host, user_folder() / "view", datetime.now(UTC))
    settings = ViewSettings(
        folder=folder, host=host, port=port, certificate=made.path, key=made.key
    )
    return ViewLink(settings), made.fingerprint


def announce(
    console: Console, page: ViewLink, fingerprint: str, language: Language, speaker: Speaker
) -> None:
    """Say where the page is; in the network, how to know that it is this one.

    Args:
        console: shows all of it.
        page: is being served.
        fingerprint: of its certificate, "" on this machine.
        language: spells what is spoken.
        speaker: speaks the beginning of the fingerprint.
    """
    console.print(f"page for a second person: {page.url}")
    for line in page.news()[0]:
        console.print(line)
    if not fingerprint:
        return
    pairs = ":".join(fingerprint[n : n + 2] for n in range(0, len(fingerprint), 2))
    console.print(f"fingerprint of its certificate (SHA-256): {pairs}")
    spelt = spell_code(language, fingerprint[:SPOKEN_DIGITS])
    over = threading.Event()
    speaker.say(f"Fingerprint: {spelt}.", over.set)
    over.wait(SPEAKING_S)
