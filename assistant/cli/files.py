"""Finding what a user names: a file of his, or one that comes with the program."""

import os
import stat
from collections.abc import Sequence
from difflib import get_close_matches
from hashlib import sha256
from pathlib import Path

from assistant.errors import InputError, RecordError
from assistant.storage import bundled_files
from assistant.storage.atomic import replace_file

MOST_READ = 100_000_000
"""Bytes; nothing a user hands over is larger."""


def plan_bytes(name: str) -> tuple[bytes, str]:
    """The bytes of a plan and what to call it in errors."""
    if name in bundled_files.plan_names():
        return bundled_files.read_plan(name), f"{name}.toml"
    return _own_file(name, "plan", bundled_files.plan_names()), name


def short_hash(data: bytes) -> str:
    """The first 16 digits of the SHA-256 of a file, as reports print it beside a plan."""
    return sha256(data).hexdigest()[:16]


def grammar_bytes(name: str) -> tuple[bytes, str]:
    """The bytes of a grammar and what to call it in errors."""
    if name in bundled_files.languages():
        return bundled_files.read_grammar(name), f"{name}.toml"
    return _own_file(name, "grammar", bundled_files.languages()), name


def script_bytes(name: str) -> tuple[bytes, str]:
    """The bytes of a rehearsal script and what to call it in errors."""
    if name in bundled_files.script_names():
        return bundled_files.read_script(name), f"{name}.toml"
    return _own_file(name, "script", bundled_files.script_names()), name


def _own_file(name: str, what: str, shipped: Sequence[str]) -> bytes:
    """Read a file of the user's; where it is not there, say which shipped one was meant.

    Raises:
        InputError: it cannot be read.
    """
    path = Path(name)
    if len(path.parts) == 1 and not os.path.lexists(path):
        near = get_close_matches(path.stem, shipped, n=1)
        meant = f"did you mean {near[0]}? S" if near else "s"
        raise InputError(
            f"There is no {what} {name}, neither a file nor shipped: {meant}hipped are "
            f"{', '.join(shipped)}."
        )
    return read_file(path, what)


def require_output(path: Path, *suffixes: str, overwrite: bool) -> None:
    """Refuse a file that cannot be written as it is named, before the work for it begins.

    Args:
        path: of the file to be written.
        suffixes: allowed endings, with their dots; none where any will do.
        overwrite: an existing file may be replaced.

    Raises:
        InputError: the name promises another form than what is written, or there is such a file.
    """
    if suffixes and path.suffix.lower() not in suffixes:
        raise InputError(f"{path}: name a file ending in {' or '.join(suffixes)}.")
    if not overwrite and os.path.lexists(path):
        _be_a_file(path, "output")
        raise InputError(f"{path} exists: name another file, or replace it with --overwrite.")


def read_file(path: Path, what: str) -> bytes:
    """Read a file a user named.

    Raises:
        InputError: it is not there, is no file, may not be read, or is far too large.
    """
    _be_a_file(path, what)
    try:
        with path.open("rb") as file:
            data = file.read(MOST_READ + 1)
    except FileNotFoundError:
        raise InputError(f"There is no {what} {path}; check the name.") from None
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise InputError(f"The {what} {path} cannot be read: {reason}.") from None
    if len(data) > MOST_READ:
        raise InputError(f"The {what} {path} is larger than 100 MB; is it the right file?")
    return data


def write_file(path: Path, data: bytes, *, overwrite: bool) -> None:
    """Write a whole file, or leave none behind.

    Raises:
        InputError: the folder is not there or may not be written, there is such a file and it may
            not be replaced, or a device has that name.
    """
    require_output(path, overwrite=overwrite)
    if path.exists():
        _be_a_file(path, "output")
    try:
        replace_file(path, data)
    except RecordError as fault:
        raise InputError(str(fault)) from None


def _be_a_file(path: Path, what: str) -> None:
    """Refuse a folder, a device and a pipe: one would be replaced, or read for ever.

    Raises:
        InputError: the path leads to one of them, or cannot be looked at.
    """
    try:
        mode = path.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        return
    except (OSError, ValueError) as fault:
        reason = (getattr(fault, "strerror", None) or str(fault)).lower()
        raise InputError(f"The {what} {path} cannot be read: {reason}.") from None
    if not stat.S_ISREG(mode):
        raise InputError(f"The {what} {path} is no file; name a file.")
