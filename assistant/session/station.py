"""Where a session runs: program, engine, host, account and clock, for the first entry."""

import getpass
import platform
import shutil
import subprocess
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Final, Literal, TypedDict

from assistant.ports import EngineFacts
from assistant.speech.model_hash import folder_hash

Synchronised = Literal["", "yes", "no", "unknown"]
_ANSWERS: Final[dict[str, Synchronised]] = {"yes": "yes", "no": "no"}
_PATIENCE_S: Final = 2.0
_BOOT_ID: Final = Path("/proc/sys/kernel/random/boot_id")


class Identity(TypedDict):
    """Fields of the first entry that identify program and model."""

    engine_version: str
    model: str
    model_sha256: str
    program_sha256: str


@dataclass(frozen=True, slots=True)
class Station:
    """Machine and account; all empty for a rehearsal, so that its bytes are reproducible."""

    host: str = ""
    account: str = ""
    utc_offset: str = ""
    clock_synchronised: Synchronised = ""
    machine_boot: str = ""

    def clock_line(self, utc: str) -> str:
        """Say what the record's times will rest on, before the work begins.

        Args:
            utc: what the clock says now, RFC 3339.
        """
        return (
            f"This machine's clock: {utc[:10]} {utc[11:19]} UTC, time zone {self.utc_offset}, "
            f"synchronised: {self.clock_synchronised}. The record uses it; if it is wrong, stop "
            "here and set it."
        )


def this_station() -> Station:
    """Return what the operating system reports; "unknown" if it reports nothing."""
    offset = datetime.now().astimezone().strftime("%z")
    return Station(
        host=platform.node() or "unknown",
        account=_account(),
        utc_offset=f"{offset[:3]}:{offset[3:5]}",
        clock_synchronised=clock_synchronised(),
        machine_boot=machine_boot(),
    )


def machine_boot() -> str:
    """Return a name of this start of the machine; "" where the system has none (all but Linux)."""
    try:
        return _BOOT_ID.read_text("ascii").strip()[:36]
    except (OSError, ValueError):
        return ""


def _account() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def clock_synchronised() -> Synchronised:
    """Ask systemd whether the clock is synchronised; other systems are not queried."""
    program = shutil.which("timedatectl")
    if program is None:
        return "unknown"
    question = [program, "show", "--property", "NTPSynchronized", "--value"]
    try:
        asked = subprocess.run(  # noqa: S603 - fixed arguments to a program of the system
            question, capture_output=True, text=True, check=False, timeout=_PATIENCE_S
        )
    except (OSError, subprocess.TimeoutExpired):
        return "unknown"
    return _ANSWERS.get(asked.stdout.strip(), "unknown")


@cache
def program_sha256() -> str:
    """Return the hash over all files of the installed package, models included."""
    return folder_hash(Path(__file__).parents[1])


def identity(facts: EngineFacts) -> Identity:
    """Return the fields of the first entry about program and model."""
    return Identity(
        engine_version=facts.version,
        model=facts.model,
        model_sha256=facts.sha256,
        program_sha256=program_sha256(),
    )
