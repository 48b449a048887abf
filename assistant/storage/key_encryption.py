"""Encryption of a private key by a passphrase, in a form that other programs open.

PKCS #8 (RFC 5958) with PBES2 (RFC 8018), scrypt (RFC 7914) and AES-256-CBC. The library that makes
keys writes PBKDF2 only, and reads both.
"""

import base64
import os
import textwrap

__all__ = ["encrypted_pem"]

COST, BLOCK, LANES = 1 << 14, 8, 5
"""N, r and p of scrypt: 16 MiB, the most that the openssl command opens without being told.

Five lanes make guessing as dear as N = 2**17 with one (OWASP Password Storage, from memory).
"""
_SALT_BYTES, _KEY_BYTES, _IV_BYTES = 16, 32, 16
_PBES2 = bytes.fromhex("06092a864886f70d01050d")  # 1.2.840.113549.1.5.13
_SCRYPT = bytes.fromhex("06092b06010401da47040b")  # 1.3.6.1.4.1.11591.4.11
_AES_256_CBC = bytes.fromhex("060960864801650304012a")  # 2.16.840.1.101.3.4.1.42
_SEQUENCE, _OCTETS, _INTEGER = 0x30, 0x04, 0x02
_SHORT = 128
"""Lengths below it are one byte of DER."""


def encrypted_pem(pkcs8: bytes, passphrase: bytes) -> bytes:
    """Return a private key encrypted, as PEM text.

    Args:
        pkcs8: the key in DER, not encrypted.
        passphrase: what opens it.
    """
    from cryptography.hazmat.primitives.ciphers import (  # noqa: PLC0415 - slow to import
        Cipher,
        algorithms,
        modes,
    )
    from cryptography.hazmat.primitives.kdf.scrypt import Scrypt  # noqa: PLC0415 - the same
    from cryptography.hazmat.primitives.padding import PKCS7  # noqa: PLC0415 - the same

    salt, iv = os.urandom(_SALT_BYTES), os.urandom(_IV_BYTES)
    key = Scrypt(salt=salt, length=_KEY_BYTES, n=COST, r=BLOCK, p=LANES).derive(passphrase)
    padder, encryptor = (
        PKCS7(algorithms.AES.block_size).padder(),
        Cipher(algorithms.AES(key), modes.CBC(iv)).encryptor(),
    )
    padded = padder.update(pkcs8) + padder.finalize()
    sealed = encryptor.update(padded) + encryptor.finalize()
    derivation = _der(_SEQUENCE, _der(_OCTETS, salt), _number(COST), _number(BLOCK), _number(LANES))
    method = _der(
        _SEQUENCE,
        _der(_SEQUENCE, _SCRYPT, derivation),
        _der(_SEQUENCE, _AES_256_CBC, _der(_OCTETS, iv)),
    )
    whole = _der(_SEQUENCE, _der(_SEQUENCE, _PBES2, method), _der(_OCTETS, sealed))
    body = "\n".join(textwrap.wrap(base64.b64encode(whole).decode(), 64))
    kind = "ENCRYPTED PRIVATE KEY"
    return f"-----BEGIN {kind}-----\n{body}\n-----END {kind}-----\n".encode()


def _der(tag: int, *parts: bytes) -> bytes:
    """Return a value of DER with its tag and length."""
    content = b"".join(parts)
    size = len(content)
    if size < _SHORT:
        return bytes([tag, size]) + content
    digits = size.to_bytes((size.bit_length() + 7) // 8)
    return bytes([tag, _SHORT | len(digits)]) + digits + content


def _number(value: int) -> bytes:
    """Return a positive whole number; a leading zero keeps it positive."""
    return _der(_INTEGER, value.to_bytes(value.bit_length() // 8 + 1))
