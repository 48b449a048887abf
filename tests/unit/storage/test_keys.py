"""Keys and signatures as files."""

import shutil
import stat
import subprocess
import sys
import unicodedata
from base64 import b64decode, b64encode
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.x25519 import X25519PrivateKey
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    PrivateFormat,
    PublicFormat,
)

from assistant.errors import InputError, RecordBroken, RecordError
from assistant.journal.chain import seal
from assistant.journal.signed import fingerprint
from assistant.journal.signing import check, sign
from assistant.ports import Instant
from assistant.storage.keys import load_private, load_public, make_keys
from assistant.storage.printed_name import printed_name
from assistant.storage.record_writer import RecordFolder
from assistant.storage.signatures import add_signature, load_signatures

UTC = "2026-03-04T15:16:17.181920Z"
HEAD = seal(None, at=Instant(UTC, 1), boot="b", by="", event={}, outcome={})


def test_a_pair_is_made_and_loaded(tmp_path: Path) -> None:
    """The public key of the private key is the one under the printed name."""
    public = make_keys(tmp_path, "  Ad\u00e8le  O'Neil-Muster Jr ", "open sesame, please")
    assert public.name == "Ad\u00e8le O'Neil-Muster Jr.pem"
    make_keys(tmp_path, "Ben Exempel", "some other words")
    keys = load_public(tmp_path)
    assert sorted(keys) == ["Ad\u00e8le O'Neil-Muster Jr", "Ben Exempel"]
    private = load_private(tmp_path, "Ben Exempel", "some other words")
    assert fingerprint(private.public_key()) == fingerprint(keys["Ben Exempel"])


def test_the_private_key_is_kept_from_others(tmp_path: Path) -> None:
    """Encrypted, and readable for its owner only."""
    make_keys(tmp_path, "Ben", "twelve words")
    path = tmp_path / "Ben.key.pem"
    assert b"BEGIN ENCRYPTED PRIVATE KEY" in path.read_bytes()
    if sys.platform != "win32":
        assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0


def test_other_programs_read_the_keys(tmp_path: Path) -> None:
    """The openssl command, where there is one, opens both files."""
    make_keys(tmp_path, "Ben", "twelve words")
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("no openssl command here")
    private = str(tmp_path / "Ben.key.pem")
    call = [openssl, "pkey", "-in", private, "-passin", "pass:twelve words", "-pubout"]
    shown = subprocess.run(call, capture_output=True, check=True).stdout
    assert shown == (tmp_path / "Ben.pem").read_bytes()


def test_the_key_is_stretched_by_scrypt(tmp_path: Path) -> None:
    """As the openssl command reads the file; a short passphrase is none."""
    make_keys(tmp_path, "Ben", "twelve words")
    openssl = shutil.which("openssl")
    if openssl is None:
        pytest.skip("no openssl command here")
    call = [openssl, "asn1parse", "-in", str(tmp_path / "Ben.key.pem")]
    shown = subprocess.run(call, capture_output=True, check=True, text=True).stdout
    assert ":scrypt" in shown
    assert [line.split(":")[-1] for line in shown.splitlines() if "INTEGER" in line] == [
        "4000",
        "08",
        "05",
    ]
    with pytest.raises(InputError, match="at least 12 characters"):
        make_keys(tmp_path, "Ada", "eleven char")


@pytest.mark.parametrize(
    ("name", "scripts"),
    [
        ("\u0410da Lindqvist", "Cyrillic and Latin"),
        ("Ad\u03b1", "Greek and Latin"),
        ("\u0410\u03b1", "Cyrillic and Greek"),
    ],
)
def test_letters_of_two_scripts_name_nobody(tmp_path: Path, name: str, scripts: str) -> None:
    """Some look like those of the other; a mark or an invisible character is none of a name."""
    with pytest.raises(InputError, match=f"mixes letters of {scripts}"):
        make_keys(tmp_path, name, "twelve words")
    for hidden in ("Ada\u200b", "Ada\u202eB", "Ada\u00ad", "Ada\x1b[2J"):
        with pytest.raises(InputError, match="cannot be a printed name"):
            make_keys(tmp_path, hidden, "twelve words")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "name",
    [
        "\u041c\u0430\u0440\u0438\u044f \u0418\u0432\u0430\u043d\u043e\u0432\u0430",
        "\u5c71\u7530 \u30bf\u30ed\u30a6",
        "Ade\u0300le",
        "\u05d3\u05d5\u05d3",
    ],
)
def test_a_name_in_one_script_is_a_name(name: str) -> None:
    """Whichever it is; composed letters are spelled in one way, Japanese uses its scripts."""
    assert printed_name(name) == unicodedata.normalize("NFC", name)


@pytest.mark.parametrize("passphrase", ["", "Twelve words", "twelve words "])
def test_a_wrong_passphrase_is_told(tmp_path: Path, passphrase: str) -> None:
    """Wrong and missing alike."""
    make_keys(tmp_path, "Ben", "twelve words")
    with pytest.raises(InputError, match="does not open with this passphrase"):
        load_private(tmp_path, "Ben", passphrase)


@pytest.mark.parametrize(
    "name", ["", " ", "../Ben", "a/b", "7 Ben", "Ben.", "B" * 61, "Ben\0", "B:n"]
)
def test_a_name_that_cannot_name_a_file_is_refused(tmp_path: Path, name: str) -> None:
    """On any of the systems."""
    for attempt in (make_keys, load_private):
        with pytest.raises(InputError, match="cannot be a printed name"):
            attempt(tmp_path, name, "twelve words")
    assert list(tmp_path.iterdir()) == []


def test_keys_are_never_overwritten(tmp_path: Path) -> None:
    """A person's old signatures need the old key; and a passphrase is needed."""
    make_keys(tmp_path, "Ben", "twelve words")
    before = (tmp_path / "Ben.pem").read_bytes()
    with pytest.raises(InputError, match="already has keys"):
        make_keys(tmp_path, "Ben", "twelve words")
    assert (tmp_path / "Ben.pem").read_bytes() == before
    with pytest.raises(InputError, match="needs a passphrase"):
        make_keys(tmp_path, "Ada", "")


def test_missing_and_foreign_files_are_told(tmp_path: Path) -> None:
    """Each with the path at fault."""
    with pytest.raises(InputError, match="There is no key"):
        load_private(tmp_path, "Ben", "twelve words")
    with pytest.raises(InputError, match="There is no folder"):
        load_public(tmp_path / "nowhere")
    (tmp_path / "Ben.pem").write_bytes(b"no key")
    with pytest.raises(InputError, match=r"Ben\.pem is not a public key"):
        load_public(tmp_path)
    other = X25519PrivateKey.generate()
    (tmp_path / "Ben.pem").write_bytes(
        other.public_key().public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo)
    )
    with pytest.raises(InputError, match=r"Ben\.pem is not an Ed25519 key"):
        load_public(tmp_path)
    (tmp_path / "Ben.key.pem").write_bytes(
        other.private_bytes(
            Encoding.PEM, PrivateFormat.PKCS8, BestAvailableEncryption(b"twelve words")
        )
    )
    (tmp_path / "Ben.key.pem").chmod(0o600)
    with pytest.raises(InputError, match=r"Ben\.key\.pem is not an Ed25519 key"):
        load_private(tmp_path, "Ben", "twelve words")
    (tmp_path / "Ben.key.pem").unlink()
    (tmp_path / "Ben.key.pem").mkdir()
    with pytest.raises(RecordError, match="Cannot read"):
        load_private(tmp_path, "Ben", "twelve words")


def test_signatures_are_added_and_read(tmp_path: Path) -> None:
    """Two people sign one record; the files alone are enough to check."""
    record, keys = tmp_path / "record", tmp_path / "keys"
    RecordFolder.create(record, b"", b"").close()
    keys.mkdir()
    assert load_signatures(record) == ()
    for name, meaning in (("Ada Muster", "performed"), ("Ben Exempel", "approved")):
        make_keys(keys, name, "twelve words")
        key = load_private(keys, name, "twelve words")
        last = load_signatures(record)[-1:]
        add_signature(
            record,
            sign(
                HEAD,
                name=name,
                meaning="performed" if meaning == "performed" else "approved",
                utc=UTC,
                key=key,
                previous=last[0] if last else None,
            ),
        )
    signatures = load_signatures(record)
    assert [s.statement.name for s in signatures] == ["Ada Muster", "Ben Exempel"]
    check(signatures, {1: HEAD.hash}, load_public(keys))


def test_a_signature_that_does_not_follow_is_not_added(tmp_path: Path) -> None:
    """Two signers at once: the second has to sign anew."""
    RecordFolder.create(tmp_path / "r", b"", b"").close()
    make_keys(tmp_path, "Ben", "twelve words")
    key = load_private(tmp_path, "Ben", "twelve words")
    signature = sign(HEAD, name="Ben", meaning="reviewed", utc=UTC, key=key, previous=None)
    add_signature(tmp_path / "r", signature)
    with pytest.raises(RecordBroken, match="Signature 2 does not follow"):
        add_signature(tmp_path / "r", signature)
    assert load_signatures(tmp_path / "r") == (signature,)


def test_nobody_signs_while_the_session_runs(tmp_path: Path) -> None:
    """The record is not at rest yet; and an unreadable file is told."""
    make_keys(tmp_path, "Ben", "twelve words")
    key = load_private(tmp_path, "Ben", "twelve words")
    signature = sign(HEAD, name="Ben", meaning="reviewed", utc=UTC, key=key, previous=None)
    record = tmp_path / "r"
    with (
        RecordFolder.create(record, b"", b""),
        pytest.raises(RecordError, match="Another run"),
    ):
        add_signature(record, signature)
    (record / "signatures.jsonl").mkdir()
    with pytest.raises(RecordError, match="Cannot read"):
        load_signatures(record)


def test_a_key_of_an_unknown_kind_is_refused(tmp_path: Path) -> None:
    """One changed byte can name an algorithm that no library knows."""
    public = make_keys(tmp_path, "Ada", "open sesame, please")
    lines = public.read_text("ascii").splitlines()
    der = b64decode(lines[1])
    known, unknown = bytes.fromhex("06032b6570"), bytes.fromhex("0603236570")
    assert known in der
    lines[1] = b64encode(der.replace(known, unknown)).decode()
    public.write_text("\n".join(lines), "ascii")
    with pytest.raises(InputError, match="is not a public key"):
        load_public(tmp_path)
