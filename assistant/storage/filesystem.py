"""Every system call on files that can fail, in one small object."""

import errno
import os
import stat
import sys
from pathlib import Path

from assistant.errors import RecordError

__all__ = ["Disk", "failure"]

_BINARY: int = getattr(os, "O_BINARY", 0)  # Windows would translate newlines
_NOFOLLOW: int = getattr(os, "O_NOFOLLOW", 0)
_CLOSE_ON_EXEC: int = getattr(os, "O_CLOEXEC", 0)

# What a network or foreign file system answers to a full sync that it does not have.
_UNSUPPORTED = (errno.ENOTSUP, errno.EINVAL, errno.ENOTTY)

_CAUSES = {
    errno.ENOSPC: "the disk is full; free some space",
    errno.EDQUOT: "the disk quota is used up; free some space",
    errno.EROFS: "the disk is mounted read-only; mount it for writing",
    errno.EACCES: "permission is denied; let this account write there",
    errno.EPERM: "permission is denied; let this account write there",
    errno.ENOENT: "it is not there; bring the folder or its disk back",
    errno.ENODEV: "the disk is gone; connect it again",
    errno.ENXIO: "the disk is gone; connect it again",
    errno.ESTALE: "the disk is gone; connect it again",
    errno.EIO: "the disk reports an input/output error; check or replace it",
    errno.EEXIST: "it exists already; choose another folder",
    errno.ENOTDIR: "a part of the path is not a folder; choose another folder",
}


def failure(doing: str, path: Path, error: OSError) -> RecordError:
    """Return the error that tells a person what could not be done, where, and what to do."""
    cause = _CAUSES.get(error.errno or 0) or f"{error.strerror or error}; check the disk"
    return RecordError(f"Cannot {doing} {path}: {cause}.")


class Disk:
    """The operating system's file calls; each raises OSError as the system does."""

    def open(self, path: Path, flags: int, mode: int = 0o644) -> int:
        """Return a descriptor; a final symbolic link is not followed when writing."""
        if flags & (os.O_WRONLY | os.O_RDWR):
            flags |= _NOFOLLOW
        return os.open(path, flags | _BINARY | _CLOSE_ON_EXEC, mode)

    def close(self, descriptor: int) -> None:
        """Close a descriptor."""
        os.close(descriptor)

    def write(self, descriptor: int, data: bytes) -> int:
        """Write once; return how many bytes were taken, which may be fewer than given."""
        return os.write(descriptor, data)

    def read_at(self, descriptor: int, length: int, offset: int) -> bytes:
        """Return up to `length` bytes from `offset`."""
        os.lseek(descriptor, offset, os.SEEK_SET)
        return os.read(descriptor, length)

    def sync(self, descriptor: int) -> None:
        """Return once the file's bytes are on the medium, not merely in the drive's cache."""
        if sys.platform == "darwin":
            import fcntl  # noqa: PLC0415 - exists on Unix only

            try:
                fcntl.fcntl(descriptor, fcntl.F_FULLFSYNC)
            except OSError as error:
                if error.errno not in _UNSUPPORTED:
                    raise
            else:
                return
        os.fsync(descriptor)

    def sync_folder(self, folder: Path) -> None:
        """Return once the folder's list of names is on the medium; Windows has no such call."""
        if os.name == "nt":
            return
        descriptor = self.open(folder, os.O_RDONLY)
        try:
            self.sync(descriptor)
        finally:
            self.close(descriptor)

    def size(self, descriptor: int) -> int:
        """Return the length of an open file."""
        return os.fstat(descriptor).st_size

    def truncate(self, descriptor: int, length: int) -> None:
        """Cut an open file to `length` bytes."""
        os.ftruncate(descriptor, length)

    def replace(self, source: Path, target: Path) -> None:
        """Rename, replacing what stood at `target` in one step."""
        source.replace(target)

    def unlink(self, path: Path) -> None:
        """Remove a file's name."""
        path.unlink()

    def make_folder(self, path: Path) -> None:
        """Make one folder whose parent exists."""
        path.mkdir()

    def remove_folder(self, path: Path) -> None:
        """Remove one empty folder."""
        path.rmdir()

    def same_file(self, descriptor: int, path: Path) -> bool:
        """Tell whether the name still leads to the open file."""
        return os.path.samestat(os.fstat(descriptor), path.stat())

    def is_folder(self, path: Path) -> bool:
        """Tell whether a folder stands there; other answers of the system raise OSError."""
        try:
            return stat.S_ISDIR(path.stat().st_mode)
        except FileNotFoundError:
            return False

    def read_file(self, path: Path) -> bytes:
        """Return a whole file."""
        return path.read_bytes()
