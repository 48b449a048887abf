"""Commands on a small file system that fills up or turns read-only, in a mount namespace.

Called as `small_disk.py SCENE FOLDER RECORD`; prints what happened as JSON.
"""

import atexit
import contextlib
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

PROGRAM = [sys.executable, "-W", "error", "-m", "assistant"]
MOUNT = ["mount", "-t", "tmpfs", "-o"]
PATIENCE_S = 150.0
LINES = 14
"""Typed at once: their entries are more than the last page of the record has room for."""


def ended(*words: object) -> dict[str, Any]:
    """Run a command to its end."""
    done = subprocess.run(
        [*PROGRAM, *map(str, words)], capture_output=True, text=True, check=False, timeout=100
    )
    return {"code": done.returncode, "out": done.stdout, "err": done.stderr}


def fill(disk: Path) -> Path:
    """Leave no byte free."""
    filler = disk / "filler"
    with contextlib.suppress(OSError), filler.open("wb", buffering=0) as file:
        while True:
            file.write(bytes(256))
    return filler


def until(condition: Callable[[], bool]) -> None:
    """Wait for something to happen."""
    deadline = time.monotonic() + PATIENCE_S
    while not condition():
        if time.monotonic() > deadline:
            raise TimeoutError("it did not happen")
        time.sleep(0.05)


def session(disk: Path) -> dict[str, Any]:
    """Resume a session by typing; the disk is full for a while."""
    record, told = disk / "record", Path(os.environ["TMPDIR"]) / "told"
    path = record / "record.jsonl"
    before = path.read_bytes()
    with told.open("wb") as out, (told.with_suffix(".err")).open("wb") as err:
        words = [*PROGRAM, "run", "--resume", "--into", str(record)]
        options = ["--keyboard", "--silent", "--engine", "embedded"]
        work = subprocess.Popen([*words, *options], stdin=subprocess.PIPE, stdout=out, stderr=err)
        assert work.stdin is not None
        atexit.register(work.kill)
        until(lambda: len(path.read_bytes()) > len(before))
        time.sleep(0.5)
        filler, full = fill(disk), path.read_bytes()
        work.stdin.write(b"stand by\n" * LINES)
        work.stdin.flush()
        until(lambda: b"HOLD" in told.read_bytes())
        held = path.read_bytes()
        time.sleep(1.5)
        held_later = path.read_bytes()
        filler.unlink()
        until(lambda: len(path.read_bytes()) > len(held))
        time.sleep(0.5)
        work.stdin.close()
        code = work.wait(PATIENCE_S)
    after = path.read_bytes()
    return {
        "code": code,
        "out": " ".join(told.read_text("utf-8").split()),
        "err": told.with_suffix(".err").read_text("utf-8"),
        "held": held == held_later and held.startswith(full),
        "before": before.count(b"\n"),
        "entries": after.count(b"\n"),
        "kept": after.startswith(before),
        "verified": ended("verify", record)["code"],
    }


def writers(disk: Path) -> Iterator[tuple[str, list[object]]]:
    """Commands that each write a file or a folder onto the disk."""
    record, pairs = disk / "record", disk / "pairs"
    secret = ("--passphrase-file", pairs / "passphrase")
    yield "csv", ["export", record, "--as", "csv", "-o", disk / "tables"]
    yield "json", ["export", record, "--as", "json", "-o", disk / "old.json", "--overwrite"]
    yield "sheet", ["export", record, "--as", "sheet", "-o", disk / "sheet.pdf"]
    yield "draw", ["draw", "bin", "-o", disk / "plan.svg"]
    yield "labels", ["labels", "bin", "-o", disk / "labels.pdf"]
    yield "new-plan", ["new-plan", "--defaults", "-o", disk / "plan.toml"]
    yield "assays", ["assays", record, "-o", disk / "assays.csv"]
    yield "keys", ["keys", "Ben Exempel", "--into", disk, *secret]
    key = pairs / "Ada Lindqvist.key.pem"
    signing = ["sign", record, "--as", "Ada Lindqvist", "--meaning", "reviewed", "--key", key]
    yield "sign", [*signing, *secret]
    new = disk / "new"
    yield "run", ["run", "bin", "--into", new, "--keyboard", "--silent"]
    yield "rehearse", ["rehearse", "bin", "--into", new, "--quiet"]


def prepare(disk: Path) -> None:
    """Put keys and an older export beside the record."""
    pairs = disk / "pairs"
    pairs.mkdir()
    (pairs / "passphrase").write_text("correct horse\n", "utf-8")
    made = ended(
        "keys", "Ada Lindqvist", "--into", pairs, "--passphrase-file", pairs / "passphrase"
    )
    assert made["code"] == 0, made
    (disk / "old.json").write_text("old export", "utf-8")


def entries(disk: Path) -> list[str]:
    """Everything on the disk but locks, by name."""
    return sorted(str(path.relative_to(disk)) for path in disk.rglob("*") if path.name != ".lock")


def files(disk: Path) -> dict[str, Any]:
    """Let every command that writes meet a full disk."""
    prepare(disk)
    (disk / "tables").mkdir()
    fill(disk)
    there = entries(disk)
    done = {name: ended(*words) for name, words in writers(disk)}
    return {
        "commands": done,
        "there": there,
        "left": entries(disk),
        "old": (disk / "old.json").read_text("utf-8"),
    }


def read_only(disk: Path) -> dict[str, Any]:
    """Let every command that writes meet a disk that turned read-only."""
    prepare(disk)
    subprocess.run([*MOUNT, "remount,ro", "none", str(disk)], check=True)
    done = {name: ended(*words) for name, words in writers(disk)}
    return {"commands": done, "verified": ended("verify", disk / "record")["code"]}


def main(scene: str, disk: Path, record: Path) -> None:
    """Mount the disk, copy the record onto it, play the scene."""
    subprocess.run([*MOUNT, "size=400k", "none", str(disk)], check=True)
    shutil.copytree(record, disk / "record")
    os.environ["TMPDIR"] = str(disk.parent)
    play = {"session": session, "files": files, "read-only": read_only}[scene]
    print(json.dumps(play(disk)))  # noqa: T201 - the test reads it


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]))
