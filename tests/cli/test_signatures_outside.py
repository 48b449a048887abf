"""Signatures as others see them: the vectors of RFC 8032, and OpenSSL as a second verifier."""

import shutil
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from assistant.journal.chain import read
from assistant.journal.entry import Entry
from assistant.journal.signing import check, sign
from assistant.storage.record_reader import RecordReader
from assistant.storage.signatures import load_signatures

Make = Callable[[str], Path]
Sign = Callable[..., int]

VECTORS = (
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        (
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701c"
            "f9b46bd25bf5f0595bbe24655141438e7a100b"
        ),
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0"
            "f11d8c387b2eaeb4302aeeb00d291612bb0c00"
        ),
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        (
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f76098"
            "4dc6594a7c15e9716ed28dc027beceea1ec40a"
        ),
    ),
)
"""RFC 8032, 7.1, tests 1 to 3: secret key, public key, message, signature."""


@pytest.mark.parametrize(("secret", "public", "message", "signature"), VECTORS)
def test_the_keys_are_those_of_rfc_8032(
    secret: str, public: str, message: str, signature: str
) -> None:
    """The same bytes from the same key."""
    key = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert key.public_key().public_bytes_raw().hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature


def last_of(record: Path) -> Entry:
    """Return the last entry."""
    *_, last = read(RecordReader(record).lines())
    return last


@pytest.mark.parametrize("secret", [vector[0] for vector in VECTORS])
def test_a_record_is_signed_as_rfc_8032_says(secret: str, taken: Make) -> None:
    """What is written beside a record is the key's own signature over the statement's bytes."""
    key, last = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret)), last_of(taken("whole"))
    utc = "2026-03-05T09:00:00.000000Z"
    made = sign(last, name="Ada", meaning="reviewed", utc=utc, key=key, previous=None)
    assert made.signature == key.sign(made.statement.payload()).hex()
    check([made], {last.seq: last.hash}, {"Ada": key.public_key()})


@pytest.mark.skipif(shutil.which("openssl") is None, reason="needs openssl")
def test_openssl_verifies_a_signature(
    taken: Make, sign: Sign, public: Path, tmp_path: Path
) -> None:
    """With the public key file as `keys` wrote it; not over other bytes, nor with another key."""
    record = taken("whole")
    for name, meaning in (("Mira Oostveld", "performed"), ("Ada Lindqvist", "reviewed")):
        assert sign(record, name, meaning) == 0
    for number, signature in enumerate(load_signatures(record)):
        said = signature.statement
        (tmp_path / "said").write_bytes(said.payload())
        (tmp_path / "signature").write_bytes(bytes.fromhex(signature.signature))
        other = ("Ada Lindqvist", "Mira Oostveld")[number]
        assert verified(tmp_path, public / f"{said.name}.pem")
        assert not verified(tmp_path, public / f"{other}.pem")
        (tmp_path / "said").write_bytes(said.payload().replace(b"2026", b"2027"))
        assert not verified(tmp_path, public / f"{said.name}.pem")


def verified(folder: Path, key: Path) -> bool:
    """Ask OpenSSL."""
    done = subprocess.run(
        [
            *(shutil.which("openssl") or "", "pkeyutl", "-verify", "-pubin", "-inkey", str(key)),
            *("-rawin", "-in", "said", "-sigfile", "signature"),
        ],
        cwd=folder,
        capture_output=True,
        check=False,
    )
    return b"Signature Verified Successfully" in done.stdout
