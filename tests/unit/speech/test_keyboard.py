"""Typed lines and the confirm key, over pipes and a real pseudo-terminal."""

import io
import os
import queue
import sys
import threading
import time

import pytest

from assistant.errors import DeviceError
from assistant.ports import Utterance
from assistant.speech.keyboard import ENTER, KeyboardReader, TypedKeys, utterance_of_line


def test_lines_of_a_pipe_are_delivered_and_its_end_is_told() -> None:
    """A typed phrase is text, an empty line is the confirm key."""
    told: list[Utterance] = []
    ended = threading.Event()
    lines = io.StringIO("bottom port open\n\n  Say again \n")
    KeyboardReader(lines, told.append, on_end=ended.set).start()
    assert ended.wait(5)
    assert told == [
        Utterance(typed="bottom port open", source="text"),
        Utterance(source="key"),
        Utterance(typed="Say again", source="text"),
    ]


def test_a_stopped_reader_delivers_nothing_more() -> None:
    """Neither the line in hand nor the end."""
    read, write = os.pipe()
    told: list[Utterance] = []
    ended = threading.Event()
    with os.fdopen(read) as lines, os.fdopen(write, "w") as typed:
        reader = KeyboardReader(lines, told.append, on_end=ended.set)
        reader.start()
        reader.stop()
        typed.write("say again\n")
        typed.flush()
        typed.close()
        assert not ended.wait(0.3)
    assert told == []


def test_a_line_is_text_unless_it_is_empty() -> None:
    """White space alone is nothing typed."""
    assert utterance_of_line(" \t\n") == Utterance(source="key")
    assert utterance_of_line("stop sampling now\n").typed == "stop sampling now"


def test_single_keys_make_phrases_and_one_key_confirms() -> None:
    """The confirm key is a letter like any other inside a phrase; erasing works."""
    keys = TypedKeys("b")
    assert keys.press("b") == Utterance(source="key")
    told = [keys.press(key) for key in "stand by!\x7f\n"]
    assert told[:-1] == [None] * (len(told) - 1)
    assert told[-1] == Utterance(typed="stand by", source="text")
    assert keys.press("\r") is None
    assert keys.press("\x1b") is None
    assert keys.press("b") == Utterance(source="key")


def test_a_single_key_needs_a_terminal() -> None:
    """The sentence says what to do instead."""
    with pytest.raises(DeviceError, match="confirm with Enter") as caught:
        KeyboardReader(io.StringIO(""), print, confirm_key="b")
    assert caught.value.exit_code == 3


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_a_terminal_is_read_key_by_key_and_put_back() -> None:
    """A foot switch that types a letter confirms at once; the settings are restored on stop."""
    import termios  # noqa: PLC0415 - POSIX only

    master, slave = os.openpty()
    told: queue.SimpleQueue[Utterance] = queue.SimpleQueue()
    ended = threading.Event()
    with os.fdopen(slave) as terminal:
        before = termios.tcgetattr(slave)
        reader = KeyboardReader(terminal, told.put, confirm_key="b", on_end=ended.set)
        reader.start()
        deadline = time.monotonic() + 5
        while termios.tcgetattr(slave)[3] & termios.ICANON and time.monotonic() < deadline:
            time.sleep(0.01)
        os.write(master, b"b")
        assert told.get(timeout=5) == Utterance(source="key")
        os.write(master, b"say again\n")
        assert told.get(timeout=5) == Utterance(typed="say again", source="text")
        reader.stop()
        assert termios.tcgetattr(slave) == before
        assert not ended.is_set()
        os.close(master)


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_a_terminal_that_goes_away_ends_the_reader() -> None:
    """A closed window is an end, not a crash."""
    master, slave = os.openpty()
    ended = threading.Event()
    with os.fdopen(slave) as terminal:
        reader = KeyboardReader(terminal, print, confirm_key="b", on_end=ended.set)
        reader.start()
        os.close(master)
        assert ended.wait(5)


def test_enter_confirms_where_keys_are_read() -> None:
    """What is typed can be shown while it grows; Enter alone, or after white space, is the key."""
    keys = TypedKeys(ENTER)
    assert keys.press("\r") == Utterance(source="key")
    assert [keys.press(key) for key in "stand"] == [None] * 5
    assert keys.typed == "stand"
    assert keys.press("\n") == Utterance(typed="stand", source="text")
    assert keys.typed == ""
    keys.press(" ")
    assert keys.press("\n") == Utterance(source="key")


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_a_terminal_that_somebody_else_draws_on_echoes_nothing() -> None:
    """Enter tears no border; a pipe is read by lines all the same."""
    import termios  # noqa: PLC0415 - POSIX only

    master, slave = os.openpty()
    told: queue.SimpleQueue[Utterance] = queue.SimpleQueue()
    with os.fdopen(slave) as terminal:
        reader = KeyboardReader(terminal, told.put, by_key=True)
        reader.start()
        deadline = time.monotonic() + 5
        while termios.tcgetattr(slave)[3] & termios.ECHO and time.monotonic() < deadline:
            time.sleep(0.01)
        assert not termios.tcgetattr(slave)[3] & termios.ECHO
        os.write(master, b"over\n\n")
        assert told.get(timeout=5) == Utterance(typed="over", source="text")
        assert told.get(timeout=5) == Utterance(source="key")
        assert reader.typed == ""
        reader.stop()
        os.close(master)
    by_lines = KeyboardReader(io.StringIO("over\n"), told.put, by_key=True)
    by_lines.start()
    assert told.get(timeout=5) == Utterance(typed="over", source="text")


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are POSIX")
def test_what_was_never_started_can_be_stopped() -> None:
    """The program may end before it listens, such as when the clock is not affirmed."""
    master, slave = os.openpty()
    with os.fdopen(slave) as terminal:
        KeyboardReader(terminal, print, by_key=True).stop()
    os.close(master)
