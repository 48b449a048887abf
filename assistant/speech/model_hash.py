"""A hash over a model folder, so that the record identifies the model used."""

import hashlib
from pathlib import Path

from assistant.errors import DeviceError

_CHUNK = 1 << 20


def folder_hash(folder: Path) -> str:
    """Return SHA-256, in hexadecimal, over the names and contents of all files below a folder.

    Names are relative to the folder, with forward slashes, in order; compiled Python files are
    skipped, since they come and go.

    Raises:
        DeviceError: the folder or one of its files cannot be read.
    """
    total = hashlib.sha256()
    try:
        names = sorted(
            path.relative_to(folder).as_posix()
            for path in folder.rglob("*")
            if path.is_file() and path.suffix != ".pyc"
        )
        for name in names:
            total.update(f"{name}\0{_file_hash(folder / name)}\n".encode())
    except OSError as fault:
        raise DeviceError(f"The model folder {folder} cannot be read ({fault.strerror})") from fault
    if not names:
        raise DeviceError(f"The model folder {folder} contains no file; name another folder")
    return total.hexdigest()


def _file_hash(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while chunk := file.read(_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()
