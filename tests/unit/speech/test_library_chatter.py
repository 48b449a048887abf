"""What C libraries print stays off the terminal; the program's own words do not."""

import subprocess
import sys

import pytest

from assistant.speech.library_chatter import chatter_kept_out

SCENE = """
import os, sys
from assistant.speech.library_chatter import chatter_kept_out
os.write(2, b"before\\n")
with chatter_kept_out():
    os.write(2, b"ALSA lib pcm.c: no\\n")
    print("own", file=sys.stderr)
os.write(2, b"after\\n")
print("last", file=sys.stderr)
"""


def test_only_the_library_is_silenced() -> None:
    """Within the block and no longer."""
    done = subprocess.run([sys.executable, "-c", SCENE], capture_output=True, check=True, text=True)
    assert done.stderr.splitlines() == ["before", "own", "after", "last"]
    assert done.stdout == ""


def test_an_exchanged_standard_error_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """A program without one, or with another, keeps what it has."""
    monkeypatch.setattr(sys, "stderr", None)
    with chatter_kept_out():
        assert sys.stderr is None
