"""A machine whose clock is wrong, from outside: whole programs under `faketime`.

The steady clock runs on as it is; only the wall clock is moved, before the program starts.
"""

import os
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from assistant.procedure.enums import Kind
from assistant.record import open_record, prove

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(shutil.which("faketime") is None, reason="faketime is not installed"),
]


def run(shift: str, *words: str) -> None:
    """Begin or resume a session by keyboard that ends with its input, the clock moved by days."""
    done = subprocess.run(
        ["faketime", "-f", shift, sys.executable, "-m", "assistant", "run", *words],  # noqa: S607 - found on the path above
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=False,
        timeout=180,
        text=True,
        env={**os.environ, "FAKETIME_DONT_FAKE_MONOTONIC": "1"},
    )
    assert done.returncode == 1, done.stderr


@pytest.mark.model
@pytest.mark.parametrize(
    ("shifts", "days", "doubtful"),
    [
        (("-4000d",), [-1], 0),
        (("+0d", "-3d"), [-3], 0),
        (("+0d", "+2d"), [2], 1),
        (("+2d", "+0d"), [-2], 0),
    ],
    ids=["before the program was made", "set back", "set ahead", "put right"],
)
def test_a_clock_that_is_wrong_is_a_deviation(
    shifts: Sequence[str], days: list[int], doubtful: int, tmp_path: Path
) -> None:
    """Behind the program's own date, or moved between starts; an end that lies ahead is named."""
    where = ("--into", str(tmp_path / "r"), "--keyboard", "--silent", "--engine", "embedded")
    for number, shift in enumerate(shifts):
        run(shift, *(("--resume",) if number else ("bin",)), *where)
    proof = prove(open_record(tmp_path / "r"))
    assert proof.last is not None
    steps = [each for each in proof.last.outcome.session.deviations if each.kind is Kind.CLOCK_STEP]
    assert len(steps) == len(days)
    for step, expected in zip(steps, days, strict=True):
        moved = float(step.detail) / 86_400
        assert moved == pytest.approx(expected, abs=0.01) if expected != -1 else moved < -1
    assert (proof.times.doubtful > 0) == bool(doubtful)
