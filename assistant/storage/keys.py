"""Keys for signatures, as PEM files that other programs read too.

A person's private key is in `NAME.key.pem` (PKCS #8, encrypted with a passphrase), the public one
in `NAME.pem`. The file's name is the printed name: whoever keeps the folder of public keys answers
for who is who.
"""

import contextlib
import unicodedata
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import InputError, RecordError
from assistant.storage.atomic import replace_file
from assistant.storage.filesystem import Disk, failure

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (
        Ed25519PrivateKey,
        Ed25519PublicKey,
    )

__all__ = ["load_private", "load_private_file", "load_public", "make_keys"]

_PRIVATE = ".key.pem"
_PUBLIC = ".pem"
MOST_PASSPHRASE = 1023
"""Bytes; the library that encrypts the key takes no more."""
_LONGEST = 60  # characters; file systems take 255 bytes
_ALLOWED = " .'-"


def make_keys(folder: Path, name: str, passphrase: str, disk: Disk | None = None) -> Path:
    """Make a person's key pair in an existing folder and return the path of the public key.

    Args:
        folder: where both files go.
        name: the printed name.
        passphrase: protects the private key.
        disk: the system calls.

    Raises:
        InputError: the name cannot be one, a passphrase is missing, or the person has keys there.
        RecordError: the files cannot be written.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (  # noqa: PLC0415 - slow
        Ed25519PrivateKey,
    )
    from cryptography.hazmat.primitives.serialization import (  # noqa: PLC0415 - slow
        BestAvailableEncryption,
        Encoding,
        PrivateFormat,
        PublicFormat,
    )

    name = _printed(name)
    if not passphrase:
        raise InputError(f"The key of {name} needs a passphrase: choose one.")
    if len(passphrase.encode()) > MOST_PASSPHRASE:
        raise InputError(f"A passphrase has at most {MOST_PASSPHRASE} bytes: choose a shorter one.")
    private, public = folder / f"{name}{_PRIVATE}", folder / f"{name}{_PUBLIC}"
    if private.exists() or public.exists():
        raise InputError(f"{name} already has keys in {folder}: use them, or another folder.")
    key = Ed25519PrivateKey.generate()
    encryption = BestAvailableEncryption(passphrase.encode())
    secret = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, encryption)
    known = key.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    try:
        replace_file(private, secret, disk, secret=True)
        replace_file(public, known, disk)
    except RecordError:
        for half in (private, public):  # half a pair would bar the next attempt
            with contextlib.suppress(OSError):  # a disk that takes no file holds none either
                half.unlink()
        raise
    return public


def load_private(
    folder: Path, name: str, passphrase: str, disk: Disk | None = None
) -> "Ed25519PrivateKey":
    """Return a person's private key from the folder that `make_keys` put it in.

    Raises:
        InputError: there is none, or the passphrase is wrong.
        RecordError: the file cannot be read.
    """
    return load_private_file(folder / f"{_printed(name)}{_PRIVATE}", passphrase, disk)


def load_private_file(path: Path, passphrase: str, disk: Disk | None = None) -> "Ed25519PrivateKey":
    """Return the private key in a file.

    Raises:
        InputError: there is none, or the passphrase is wrong.
        RecordError: the file cannot be read.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (  # noqa: PLC0415 - slow
        Ed25519PrivateKey,
    )
    from cryptography.hazmat.primitives.serialization import (  # noqa: PLC0415 - slow
        load_pem_private_key,
    )

    pem = _read(path, disk)
    try:
        key = load_pem_private_key(pem, passphrase.encode() or None)
    except (ValueError, TypeError) as error:
        raise InputError(f"{path} does not open with this passphrase: type it again.") from error
    if not isinstance(key, Ed25519PrivateKey):
        raise InputError(f"{path} is not an Ed25519 key: make one with this program.")
    return key


def load_public(folder: Path, disk: Disk | None = None) -> dict[str, "Ed25519PublicKey"]:
    """Return the public keys of a folder by printed name; private keys beside them are left alone.

    Raises:
        InputError: there is no such folder, or a file in it is not an Ed25519 public key.
        RecordError: a file cannot be read.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (  # noqa: PLC0415 - slow
        Ed25519PublicKey,
    )
    from cryptography.hazmat.primitives.serialization import (  # noqa: PLC0415 - slow
        load_pem_public_key,
    )

    if not folder.is_dir():
        raise InputError(f"There is no folder {folder}: name the folder of public keys.")
    keys = {}
    for path in sorted(folder.glob(f"*{_PUBLIC}")):
        if path.name.endswith(_PRIVATE):
            continue
        try:
            key = load_pem_public_key(_read(path, disk))
        except ValueError as error:
            raise InputError(f"{path} is not a public key: take it out of the folder.") from error
        if not isinstance(key, Ed25519PublicKey):
            raise InputError(f"{path} is not an Ed25519 key: take it out of the folder.")
        keys[unicodedata.normalize("NFC", path.name.removesuffix(_PUBLIC))] = key
    return keys


def _printed(name: str) -> str:
    """Return a printed name that can also name a file, or raise InputError."""
    tidy = unicodedata.normalize("NFC", " ".join(name.split()))
    sound = all(
        c.isalpha() or c.isdigit() or unicodedata.combining(c) or c in _ALLOWED for c in tidy
    )
    if not tidy or not sound or len(tidy) > _LONGEST or not tidy[0].isalpha() or tidy[-1] == ".":
        raise InputError(
            f"{name!r} cannot be a printed name: use up to {_LONGEST} letters, digits, spaces, "
            "full stops, hyphens and apostrophes, beginning with a letter."
        )
    return tidy


def _read(path: Path, disk: Disk | None) -> bytes:
    """Return a key file."""
    try:
        return (disk or Disk()).read_file(path)
    except FileNotFoundError as error:
        raise InputError(f"There is no key {path}: make it first, or name its folder.") from error
    except OSError as error:
        raise failure("read", path, error) from error
