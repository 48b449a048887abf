"""Typed phrases and a confirm key, as a recogniser and as a reader of the terminal.

A foot switch that acts as a keyboard with one key confirms without a hand: Enter by default, or
any other single key.
"""

import contextlib
import sys
import threading
from collections.abc import Callable, Sequence
from typing import TextIO

from assistant.errors import DeviceError, GrammarError
from assistant.ports import Hypothesis, Utterance
from assistant.speech.phrase_graph import normal

ENTER = "\n"

_ERASE = ("\b", "\x7f")
_POLL_S = 0.2


class KeyboardRecogniser:
    """A `Recogniser` over what was typed: case and spacing do not matter, everything else does."""

    def __init__(self) -> None:
        """Start without phrases."""
        self._phrases: frozenset[str] = frozenset()

    @property
    def name(self) -> str:
        """The name that goes on record."""
        return "keyboard"

    def missing(self, words: Sequence[str]) -> list[str]:  # noqa: ARG002 - part of the port
        """Return no word, since every word can be typed."""
        return []

    def prepare(self, phrases: Sequence[str]) -> None:
        """Set the phrases that can be typed from now on.

        Raises:
            GrammarError: the list is empty, or a phrase has no word.
        """
        spoken = frozenset(normal(phrase) for phrase in phrases)
        if not spoken or "" in spoken:
            raise GrammarError("There is no phrase to listen for; give at least one, with words")
        self._phrases = spoken

    def hear(self, utterance: Utterance) -> Hypothesis:
        """Return the phrase that was typed, or ""; sound is not heard.

        Raises:
            RuntimeError: `prepare` was not called.
        """
        if not self._phrases:
            raise RuntimeError("prepare() must name the phrases before hear()")
        text = normal(utterance.typed)
        if text not in self._phrases:
            return Hypothesis("")
        return Hypothesis(text, 1.0)


class KeyboardReader:
    """Reads the terminal in a thread of its own and delivers utterances until it ends."""

    def __init__(
        self,
        stream: TextIO,
        deliver: Callable[[Utterance], None],
        *,
        confirm_key: str = ENTER,
        on_end: Callable[[], None] = lambda: None,
    ) -> None:
        """Set the reader; nothing is read before `start`.

        With Enter as the confirm key whole lines are read and an empty line is the key. With any
        other key the terminal is read key by key: that key confirms at once while nothing is
        typed, and Enter ends a typed phrase.

        Args:
            stream: the terminal, or a pipe or file in its place.
            deliver: takes each utterance.
            confirm_key: one character.
            on_end: called when the stream has ended.

        Raises:
            DeviceError: single keys are wanted from something that is no terminal.
        """
        if confirm_key != ENTER and not stream.isatty():
            raise DeviceError(
                f'The confirm key "{confirm_key}" needs a terminal; start the program in one, or'
                " confirm with Enter"
            )
        self._stream = stream
        self._deliver = deliver
        self._confirm_key = confirm_key
        self._on_end = on_end
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._read, name="keyboard", daemon=True)

    def start(self) -> None:
        """Read from now on."""
        self._thread.start()

    def stop(self) -> None:
        """Deliver nothing more; a terminal read key by key is set back as it was."""
        self._stop.set()
        if self._confirm_key != ENTER:
            self._thread.join(2 * _POLL_S)

    def _read(self) -> None:
        if self._confirm_key == ENTER:
            for line in self._stream:
                self._pass_on(utterance_of_line(line))
                if self._stop.is_set():
                    return
        else:
            typed = TypedKeys(self._confirm_key)
            reader = _read_windows_keys if sys.platform == "win32" else _read_terminal_keys
            reader(self._stream, self._stop, lambda key: self._pass_on(typed.press(key)))
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
            confirm_key: confirms while nothing is typed; inside a phrase it is a letter like
                any other.
        """
        self._confirm_key = confirm_key
        self._typed = ""

    def press(self, key: str) -> Utterance | None:
        """Take one key and return the utterance it completes, if it does."""
        if not self._typed and key == self._confirm_key:
            return Utterance(source="key")
        if key in {"\r", "\n"}:
            text, self._typed = self._typed.strip(), ""
            return Utterance(typed=text, source="text") if text else None
        if key in _ERASE:
            self._typed = self._typed[:-1]
        elif key.isprintable():
            self._typed += key
        return None


def _read_terminal_keys(
    stream: TextIO, stop: threading.Event, press: Callable[[str], None]
) -> None:
    """Read keys of a POSIX terminal until it ends; its settings are put back."""
    import os  # noqa: PLC0415 - with termios, which Windows lacks
    import select  # noqa: PLC0415 - the same
    import termios  # noqa: PLC0415 - the same
    import tty  # noqa: PLC0415 - the same

    number = stream.fileno()
    # A terminal that has gone away has no settings any more; that is an end like any other.
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
