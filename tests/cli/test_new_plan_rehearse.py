"""`new-plan`, `rehearse` and `verify` one after the other: what is written is heard to its end.

Nothing between them is changed by hand. The synthetic operator speaks, the real recogniser hears
him, the real record is written and proved. Each vessel and each kind of sampler is met once at
least; all of them together, typed, are in `tests/unit/testing/test_new_plans.py`.
"""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

import pytest


class Ended(Protocol):
    """A command that has ended."""

    returncode: int
    stdout: str
    stderr: str


Run = Callable[..., Ended]

POSITIONS = {"single": 1, "duplicate": 2, "triplicate": 3}


@pytest.mark.slow
@pytest.mark.timeout(3600)
@pytest.mark.parametrize(
    ("vessel", "sampler", "ports"),
    [
        ("double-cone", "triplicate", 1),
        ("v-blender", "duplicate", 1),
        ("drum", "single", 1),
        ("cylinder", "single", 2),
        ("rectangular-bin", "duplicate", 1),
        ("conical-bin", "single", 2),
    ],
)
def test_a_new_plan_is_rehearsed_unchanged(
    vessel: str, sampler: str, ports: int, command: Run, tmp_path: Path
) -> None:
    """The three commands succeed, every vial is taken, and the record is proven."""
    plan, record = tmp_path / "plan.toml", tmp_path / "record"
    answers = (f"vessel={vessel}", f"sampler={sampler}", f"ports={ports}")
    given = [word for answer in answers for word in ("--answer", answer)]
    assert command("new-plan", "-o", plan, "--defaults", *given).returncode == 0
    done = command("rehearse", plan, "--seed", 2, "--into", record, "--quiet")
    assert done.returncode == 0, done.stdout + done.stderr
    count = 10 * POSITIONS[sampler] * ports
    assert f"{count} samples taken of {count} planned" in done.stdout
    assert (record / "plan.toml").read_bytes() == plan.read_bytes()
    proven = command("verify", record)
    assert proven.returncode == 0
    assert proven.stdout.startswith("intact: ")
    lines = (record / "record.jsonl").read_bytes().splitlines()
    events = [json.loads(line)["event"] for line in lines]
    spoken = [
        event
        for event in events
        if event.get("source") == "voice" and event["decision"] == "accept"
    ]
    assert len(spoken) > count
