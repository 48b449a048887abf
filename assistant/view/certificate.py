"""The page's own certificate: made at first use, kept for the address, checked by its fingerprint.

No authority vouches for a machine in a booth. The browser warns, and the viewer compares the
fingerprint that it shows with the one that the operator sees and hears.
"""

import contextlib
import datetime as dt
import ipaddress
import os
import re
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from assistant.errors import InputError

__all__ = ["Certificate", "certificate_for"]

VALID_DAYS = 365
RENEW_DAYS = 30
"""With fewer days left a new one is made."""


@dataclass(frozen=True, slots=True)
class Certificate:
    """The files of a certificate, and its fingerprint."""

    path: Path
    key: Path
    fingerprint: str
    """SHA-256 of the certificate, 64 capital hexadecimal digits."""


def certificate_for(host: str, folder: Path, now: dt.datetime) -> Certificate:
    """Return the certificate for an address, made if there is none that is still good.

    Args:
        host: address or name of this machine, as a browser will name it.
        folder: where certificates are kept; made when it is not there.
        now: this moment, aware.

    Raises:
        InputError: the folder cannot be written.
    """
    stem = re.sub(r"[^0-9A-Za-z.-]", "_", host)
    path, key = folder / f"{stem}.pem", folder / f"{stem}.key.pem"
    try:
        found = _good(path, key, now)
        if found is None:
            folder.mkdir(parents=True, exist_ok=True)
            found = _make(host, path, key, now)
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise InputError(f"The certificate in {folder} cannot be written: {reason}.") from None
    return Certificate(path, key, found.fingerprint(hashes.SHA256()).hex().upper())


def _good(path: Path, key: Path, now: dt.datetime) -> x509.Certificate | None:
    """The certificate that is there, if it can be used for some time yet."""
    if not (path.is_file() and key.is_file()):
        return None
    with contextlib.suppress(ValueError, TypeError):  # the latter: locked with a passphrase
        found = x509.load_pem_x509_certificate(path.read_bytes())
        private = serialization.load_pem_private_key(key.read_bytes(), None)
        left = found.not_valid_after_utc - now
        same = found.public_key() == private.public_key()
        if same and left > dt.timedelta(days=RENEW_DAYS):
            return found
    return None


def _make(host: str, path: Path, key: Path, now: dt.datetime) -> x509.Certificate:
    private = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "sampling session")])
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + dt.timedelta(days=VALID_DAYS))
        .add_extension(x509.SubjectAlternativeName([_named(host)]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(private, hashes.SHA256())
    )
    secret = private.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    )
    # Nobody but this account may read the key, from its first byte on.
    key.unlink(missing_ok=True)
    with os.fdopen(os.open(key, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
        file.write(secret)
    path.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    return made


def _named(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        return x509.DNSName(host)
