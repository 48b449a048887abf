"""Whatever stands in a register, a time stamp, signatures, a key or a sheet: read, or refused.

An own mutator with fixed seeds, as in `test_record_fuzz.py`: the inputs are the same everywhere.
"""

import random
import shutil
from collections.abc import Callable
from contextlib import suppress
from functools import cache, partial
from pathlib import Path

import openpyxl
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.x509 import Certificate

from assistant.cli.evaluation_inputs import read_laboratory
from assistant.errors import AssistantError
from assistant.journal.signing import check, sign
from assistant.journal.transcript import transcribe
from assistant.ports import Instant
from assistant.record.time_stamps import anchors, certificates_in, check_stamps, request
from assistant.record.transcripts import check_transcripts
from assistant.storage.keys import load_private_file, load_public, make_keys
from assistant.storage.register import Note, Register, sessions
from assistant.storage.signatures import SIGNATURES, add_signature, load_signatures
from assistant.storage.time_stamps import TimeStampFile
from assistant.storage.transcripts import TRANSCRIPTS, add_transcript, load_transcripts
from tests import stamp_authority
from tests.property.test_record_fuzz import genuine

CSV = (
    "Batch TV2611;;;\nVial;Inj 1 (% of target);Inj 2 (% of target);Net (mg)\n"
    + "".join(f"{n};{98 + n % 3},5;{99 + n % 2},1;{380 + n}\n" for n in range(1, 31))
    + "n;30;30;\n"
)
ODD = (
    *(b"\x00", b"\xff", b"\xfe\xff", b"\r", b"\n", b'"', b";" * 300, b"1" * 5000, b"-", b"%"),
    *(b"nan", b"inf", b"1e999", b"[" * 2000, b"{", b"\\ud800", "\u202e\u00b5".encode()),
)
KEY = Ed25519PrivateKey.from_private_bytes(b"a" * 32)
PUBLIC = KEY.public_key()
HEAD = "ab" * 32
Check = Callable[[Path], object]


def spoilt(raw: bytes, dice: random.Random) -> bytes:
    """Return the bytes with one to four changes: flipped, cut, doubled, exchanged for oddities."""
    data = bytearray(raw)
    for _ in range(dice.randrange(1, 5)):
        at, size = dice.randrange(len(data) + 1), dice.randrange(1, 40)
        match dice.randrange(6):
            case 0 if data:
                data[at % len(data)] ^= 1 << dice.randrange(8)
            case 1:
                del data[at : at + size]
            case 2:
                data[at:at] = data[at : at + size]
            case 3:
                data[at:at] = dice.choice(ODD)
            case 4:
                data[at : at + size] = dice.choice(ODD)
            case _:
                del data[at:]
    return bytes(data)


def survivors(path: Path, count: int, reader: Check) -> list[object]:
    """Return what was read of so many spoilt copies; any error but the program's own gets out."""
    dice, raw = random.Random(7), path.read_bytes()  # noqa: S311 - no secret
    found = []
    for _ in range(count):
        path.write_bytes(spoilt(raw, dice))
        with suppress(AssistantError):
            found.append(reader(path))
    path.write_bytes(raw)
    return found


def a_register(folder: Path) -> Path:
    """Two sessions."""
    path, told = folder / "register", genuine()
    register = Register(path)
    for first in told[:2]:
        for what, entry in (("opened", told[0]), ("head", told[9]), ("ended", told[-1])):
            note = Note.model_validate(
                {
                    "type": what,
                    "session": first.hash,
                    "count": entry.seq,
                    "head": entry.hash,
                    "folder": "records/one",
                }
            )
            register.add(note, Instant(entry.utc, int(entry.mono)), entry.boot, entry.by)
    return path


def signatures(folder: Path) -> Path:
    """Two under one record."""
    (folder / "record.jsonl").touch()
    previous = None
    for name, meaning in (("Ada Lindqvist", "reviewed"), ("Jonas Pell", "approved")):
        previous = sign(
            genuine()[-1],
            name=name,
            meaning=meaning,  # type: ignore[arg-type]  # one of four
            utc="2026-03-05T09:00:00.000000Z",
            key=KEY,
            previous=previous,
        )
        add_signature(folder, previous)
    return folder / SIGNATURES


def transcripts(folder: Path) -> Path:
    """Two texts of one remark."""
    (folder / "record.jsonl").touch()
    previous = None
    for text in ("bad plug", "loose plug"):
        previous = transcribe(
            genuine()[-1],
            text,
            name="Ada Lindqvist",
            utc="2026-03-05T09:00:00.000000Z",
            key=KEY,
            previous=previous,
        )
        add_transcript(folder, previous)
    return folder / TRANSCRIPTS


def public_key(folder: Path) -> Path:
    """One person's."""
    return make_keys(folder, "Ada", "correct horse battery")


def private_key(folder: Path) -> Path:
    """The same person's, whose passphrase is not known: what opens it takes long by design."""
    make_keys(folder, "Ada", "correct horse battery")
    return folder / "Ada.key.pem"


def csv_sheet(folder: Path) -> Path:
    """Injections, decimal commas, summary rows."""
    path = folder / "lab.csv"
    path.write_text(CSV, "utf-8")
    return path


def workbook(folder: Path) -> Path:
    """The same as a workbook."""
    book = openpyxl.Workbook()
    for row in CSV.splitlines():
        book.active.append(row.split(";"))
    book.save(folder / "lab.xlsx")
    return folder / "lab.xlsx"


def time_stamp(folder: Path) -> Path:
    """An answer of OpenSSL's authority, the certificate that it is trusted by beside it."""
    if shutil.which("openssl") is None:
        pytest.skip("needs openssl")
    stamp_authority.found(folder / "office")
    office = stamp_authority.Authority(folder / "office")
    path = folder / "000009-1.tsr"
    path.write_bytes(office.reply(request(HEAD)))
    return path


def checked_stamp(path: Path) -> object:
    """Read an answer and check it as `verify --authority` does."""
    root = path.parent / "office" / "root.pem"
    stamp = TimeStampFile(path.name, 9, path.read_bytes())
    check_stamps([stamp], {9: HEAD})
    return anchors([stamp], {9: HEAD}, trusted_by_test(root))


@cache
def trusted_by_test(root: Path) -> tuple[Certificate, ...]:
    """The authority's certificate, read once."""
    return certificates_in(root.read_bytes(), root)


def a_laboratory(path: Path) -> object:
    """Read a sheet as `evaluate` does."""
    return read_laboratory(path, None)


KINDS: dict[str, tuple[Callable[[Path], Path], Check, int]] = {
    "register": (a_register, sessions, 25_000),
    "time stamp": (time_stamp, checked_stamp, 75_000),
    "signatures": (signatures, lambda path: load_signatures(path.parent), 25_000),
    "transcripts": (transcripts, lambda path: load_transcripts(path.parent), 25_000),
    "public key": (public_key, lambda path: load_public(path.parent), 20_000),
    "private key": (private_key, partial(load_private_file, passphrase="wrong" * 3), 200),
    "sheet": (csv_sheet, a_laboratory, 25_000),
    "workbook": (workbook, a_laboratory, 5_000),
}


@pytest.mark.parametrize("kind", KINDS)
def test_a_hundred_spoilt_files(kind: str, tmp_path: Path) -> None:
    """Read or refused; unspoilt, each is read."""
    make, reader, count = KINDS[kind]
    path = make(tmp_path)
    if kind != "private key":
        assert reader(path)
    survivors(path, min(100, count // 10), reader)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_a_hundred_thousand_spoilt_files(kind: str, tmp_path: Path) -> None:
    """The same, many times over all kinds."""
    make, reader, count = KINDS[kind]
    survivors(make(tmp_path), count, reader)


def test_a_time_stamp_that_still_holds_says_the_same(tmp_path: Path) -> None:
    """What nobody signed may be changed, but neither time nor authority nor entry."""
    path = time_stamp(tmp_path)
    said = checked_stamp(path)
    assert all(found == said for found in survivors(path, 2_000, checked_stamp))


def checked_signatures(path: Path) -> object:
    """Read signatures and check each with its signer's key, as `verify --keys` does."""
    found, last = load_signatures(path.parent), genuine()[-1]
    check(found, {last.seq: last.hash}, {"Ada Lindqvist": PUBLIC, "Jonas Pell": PUBLIC})
    return found


def checked_texts(path: Path) -> object:
    """The same for the texts of remarks."""
    found, last = load_transcripts(path.parent), genuine()[-1]
    heads, utc = {last.seq: last.hash}, {last.seq: last.utc}
    check_transcripts(found, heads, utc, {"Ada Lindqvist": PUBLIC})
    return found


@pytest.mark.parametrize(
    ("make", "proved"),
    [
        (a_register, sessions),
        (signatures, checked_signatures),
        (transcripts, checked_texts),
    ],
)
def test_what_survives_says_the_same(
    make: Callable[[Path], Path], proved: Check, tmp_path: Path
) -> None:
    """A spoilt chain that holds all the same is the sound one, or its beginning."""
    path = make(tmp_path)
    whole = str(proved(path))
    lines = path.read_bytes().splitlines(keepends=True)
    beginnings = {whole}
    for count in range(len(lines)):
        path.write_bytes(b"".join(lines[:count]))
        beginnings.add(str(proved(path)))
    path.write_bytes(b"".join(lines))
    assert {str(found) for found in survivors(path, 1_000, proved)} <= beginnings
