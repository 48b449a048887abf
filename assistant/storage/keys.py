"""Keys for signatures, as PEM files that other programs read too.

A person's private key is in `NAME.key.pem` (PKCS #8, encrypted with a passphrase), the public one
in `NAME.pem`. The private file must be readable by its owner only. The file's name is the printed
name: whoever keeps the folder of public keys answers for who is who.
"""

import contextlib
import os
import stat
import unicodedata
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.errors import InputError, RecordError
from assistant.storage.atomic import replace_file
from assistant.storage.filesystem import Disk, failure
from assistant.storage.key_encryption import encrypted_pem
from assistant.storage.printed_name import printed_name

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
LEAST_PASSPHRASE = 12
"""Characters; shorter ones are guessed however slow a guess is."""


def make_keys(folder: Path, name: str, passphrase: str, disk: Disk | None = None) -> Path:
    """Make a person's key pair in an existing folder and return the path of the public key.

    Args:
        folder: where both files go.
        name: the printed name.
        passphrase: protects the private key.
        disk: the system calls.

    Raises:
        InputError: the name cannot be one, the passphrase is missing, too short or too long, or the
            person has keys there.
        RecordError: the files cannot be written.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (  # noqa: PLC0415 - slow
        Ed25519PrivateKey,
    )
    from cryptography.hazmat.primitives.serialization import (  # noqa: PLC0415 - slow
        Encoding,
        NoEncryption,
        PrivateFormat,
        PublicFormat,
    )

    name = printed_name(name)
    if not passphrase:
        raise InputError(f"The key of {name} needs a passphrase: choose one.")
    if len(passphrase) < LEAST_PASSPHRASE:
        raise InputError(f"A passphrase has at least {LEAST_PASSPHRASE} characters: add words.")
    if len(passphrase.encode()) > MOST_PASSPHRASE:
        raise InputError(f"A passphrase has at most {MOST_PASSPHRASE} bytes: choose a shorter one.")
    private, public = folder / f"{name}{_PRIVATE}", folder / f"{name}{_PUBLIC}"
    if private.exists() or public.exists():
        raise InputError(f"{name} already has keys in {folder}: use them, or another folder.")
    key = Ed25519PrivateKey.generate()
    plain = key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    secret = encrypted_pem(plain, passphrase.encode())
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
        InputError: there is none, other accounts can read it, or the passphrase is wrong.
        RecordError: the file cannot be read.
    """
    return load_private_file(folder / f"{printed_name(name)}{_PRIVATE}", passphrase, disk)


def load_private_file(path: Path, passphrase: str, disk: Disk | None = None) -> "Ed25519PrivateKey":
    """Return the private key in a file.

    Raises:
        InputError: there is none, other accounts can read it, or the passphrase is wrong.
        RecordError: the file cannot be read.
    """
    from cryptography.exceptions import UnsupportedAlgorithm  # noqa: PLC0415 - slow
    from cryptography.hazmat.primitives.asymmetric.ed25519 import (  # noqa: PLC0415 - slow
        Ed25519PrivateKey,
    )
    from cryptography.hazmat.primitives.serialization import (  # noqa: PLC0415 - slow
        load_pem_private_key,
    )

    _require_private(path)
    pem = _read(path, disk)
    try:
        key = load_pem_private_key(pem, passphrase.encode() or None)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
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
    from cryptography.exceptions import UnsupportedAlgorithm  # noqa: PLC0415 - slow
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
        except (ValueError, UnsupportedAlgorithm) as error:
            raise InputError(f"{path} is not a public key: take it out of the folder.") from error
        if not isinstance(key, Ed25519PublicKey):
            raise InputError(f"{path} is not an Ed25519 key: take it out of the folder.")
        keys[unicodedata.normalize("NFC", path.name.removesuffix(_PUBLIC))] = key
    return keys


def _require_private(path: Path) -> None:
    """Refuse a private key that other accounts could copy; Windows has no such modes."""
    if os.name != "nt" and path.is_file() and stat.S_IMODE(path.stat().st_mode) & 0o077:
        raise InputError(f"Other accounts can use the key {path}: run chmod 600 on it first.")


def _read(path: Path, disk: Disk | None) -> bytes:
    """Return a key file."""
    try:
        return (disk or Disk()).read_file(path)
    except FileNotFoundError as error:
        raise InputError(f"There is no key {path}: make it first, or name its folder.") from error
    except OSError as error:
        raise failure("read", path, error) from error
