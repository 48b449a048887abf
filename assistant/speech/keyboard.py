"""Typed phrases and a confirm key, read from the terminal.

A foot switch that acts as a keyboard with one key confirms hands-free: Enter by default, or
any other single key.
"""

import contextlib
import sys
import threading
from collections.abc import Callable
from typing import TextIO

from assistant.errors import DeviceError
from assistant.ports import Utterance

ENTER = "\n"

_ERASE = ("\b", "\x7f")
_POLL_S = 0.2


class KeyboardReader:
    """Reads the terminal in its own thread and delivers utterances until the input ends."""

    def __init__(
        self,
        stream: TextIO,
        deliver: Callable[[Utterance], None],
        *,
        confirm_key: str = ENTER,
        by_key: bool = False,
        on_end: Callable[[], None] = lambda: None,
    ) -> None:
        """Configure the reader; nothing is read before `start`.

        With Enter as the confirm key whole lines are read and an empty line is the key. With any
        other key, or where somebody else shows what is typed, the terminal is read key by key and
        echoes nothing: the confirm key confirms at once while nothing is typed, and Enter ends a
        typed phrase.

        Args:
            stream: the terminal, or a pipe or file instead.
            deliver: called with each utterance.
            confirm_key: one character.
            by_key: read a terminal key by key whatever the confirm key; anything else by lines.
            on_end: called when the stream has ended.

        Raises:
            DeviceError: single keys were requested and the input is not a terminal.
        """
        if confirm_key != ENTER and not stream.isatty():
            raise DeviceError(
                f'The confirm key "{confirm_key}" needs a terminal; start the program in one, or'
                " confirm with Enter"
            )
        self._stream = stream
        self._deliver = deliver
        self._by_key = confirm_key != ENTER or (by_key and stream.isatty())
        self._keys = TypedKeys(confirm_key)
        self._on_end = on_end
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._read, name="keyboard", daemon=True)

    def start(self) -> None:
        """Start reading."""
        self._thread.start()

    def stop(self) -> None:
        """Stop delivering; restore the settings of a terminal that was read key by key."""
        self._stop.set()
        if self._by_key and self._thread.is_alive():
            self._thread.join(2 * _POLL_S)

    @property
    def typed(self) -> str:
        """What was typed since the last phrase, where the terminal is read key by key."""
        return self._keys.typed

    def _read(self) -> None:
        if not self._by_key:
            for line in self._stream:
                self._pass_on(utterance_of_line(line))
                if self._stop.is_set():
                    return
        else:
            reader = _read_windows_keys if sys.platform == "win32" else _read_terminal_keys
            reader(self._stream, self._stop, lambda key: self._pass_on(self._keys.press(key)))
        if not self._stop.is_set():
            self._on_end()

    def _pass_on(self, utterance: Utterance | None) -> None:
        if utterance is not None and not self._stop.is_set():
            self._deliver(utterance)


def utterance_of_line(line: str) -> Utterance:
    """Turn a line of the terminal into an utterance; an empty one is the confirm key."""
    text = line.strip()
    return Utterance(typed=text, source="text") if text else Utterance(source="key")


class TypedKeys:
    """Collects single keys into phrases, with one key that confirms."""

    def __init__(self, confirm_key: str) -> None:
        """Start with nothing typed.

        Args:
            confirm_key: confirms while nothing is typed; inside a phrase it is an ordinary
                character.
        """
        self._confirm_key = confirm_key
        self.typed = ""

    def press(self, key: str) -> Utterance | None:
        """Process one key and return the utterance it completes, if any."""
        key = ENTER if key == "\r" else key
        if not self.typed and key == self._confirm_key:
            return Utterance(source="key")
        if key == ENTER:
            text, self.typed = self.typed.strip(), ""
            if not text and self._confirm_key == ENTER:
                return Utterance(source="key")
            return Utterance(typed=text, source="text") if text else None
        if key in _ERASE:
            self.typed = self.typed[:-1]
        elif key.isprintable():
            self.typed += key
        return None


def _read_terminal_keys(
    stream: TextIO, stop: threading.Event, press: Callable[[str], None]
) -> None:
    """Read keys of a POSIX terminal until it ends; its settings are restored."""
    import os  # noqa: PLC0415 - with termios, which Windows lacks
    import select  # noqa: PLC0415 - the same
    import termios  # noqa: PLC0415 - the same
    import tty  # noqa: PLC0415 - the same

    number = stream.fileno()
    # A closed terminal has no settings any more; treat it as the end of the input.
    with contextlib.suppress(termios.error):
        before = termios.tcgetattr(number)
        try:
            tty.setcbreak(number)
            while not stop.is_set():
                if not select.select([number], [], [], _POLL_S)[0]:
                    continue
                try:
                    read = os.read(number, 64)
                except OSError:
                    return
                if not read:
                    return
                for key in read.decode("utf-8", "ignore"):
                    press(key)
        finally:
            termios.tcsetattr(number, termios.TCSADRAIN, before)


def _read_windows_keys(
    _stream: TextIO, stop: threading.Event, press: Callable[[str], None]
) -> None:
    """Read keys of a Windows console until stopped."""
    if sys.platform == "win32":
        import msvcrt  # noqa: PLC0415 - Windows only

        while not stop.wait(_POLL_S / 10):
            while msvcrt.kbhit():
                press(msvcrt.getwch())
