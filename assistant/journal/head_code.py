"""Head codes: a few spoken characters that pin down a record up to an entry.

A chain proves that nothing inside it changed. It cannot show that its end was cut off, or that all
of it was written anew. Whoever heard or wrote down the head code of entry 214 can: the code holds
the count, 40 bits derived from the hash of that entry, and a check character against slips.

Form: `214-7QKD-2MXA-R`. The symbols are digits and the capital letters without I, L, O and U. The
check character is Damm's (H. M. Damm, totally anti-symmetric quasigroups) over the field of 32
elements, step `2 * (interim + symbol)`: it shows every single wrong symbol and every swap of two
neighbours, the digits of the count included.

Forty bits are few for a machine to try, so they are stretched by PBKDF2: a forger needs about 2**40
records of his making, each costing 2**15 rounds of HMAC, to meet one given code. It is a seal for
the ear and the paper; a signature (`assistant.journal.signing`) is the stronger one.
"""

import hashlib
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from assistant.errors import InputError, RecordBroken
from assistant.journal.entry import Entry

__all__ = ["HeadCode", "head_code", "matches", "parse", "watch"]

SYMBOLS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_BODY = 8  # symbols of 5 bits
_ROUNDS = 1 << 15
_SALT = b"record head code, method 1"
_POLYNOMIAL = 0b100101  # x**5 + x**2 + 1, primitive over the field of two elements
_LOOKALIKES = str.maketrans("OIL", "011")
_SEPARATORS = re.compile(r"[\s\-]+")

# ICAO Annex 10 volume II (from memory): the spelling alphabet, the digits as pronounced.
_WORDS = """
zero one two tree fower fife six seven eight niner
alfa bravo charlie delta echo foxtrot golf hotel juliett kilo mike
november papa quebec romeo sierra tango victor whiskey x-ray yankee zulu
"""
_SPOKEN = dict(zip(SYMBOLS, _WORDS.split(), strict=True))


@dataclass(frozen=True, slots=True)
class HeadCode:
    """One head code, to be shown and to be said."""

    seq: int
    """The entry it pins down, which is also the count of entries up to there."""
    text: str
    """As typed: count, two groups of four symbols, check character."""
    spoken: str
    """As spoken, with commas between the groups."""


def head_code(seq: int, hash_: str) -> HeadCode:
    """Return the code of a record that ends with entry `seq` of that hash.

    Args:
        seq: number of the entry, from 1.
        hash_: its 64 hexadecimal digits.

    Raises:
        ValueError: there is no such entry or hash.
    """
    digest = bytes.fromhex(hash_)
    if seq < 1 or len(digest) != hashlib.sha256().digest_size:
        raise ValueError("a head is the number of an entry, from 1, and a SHA-256 hash")
    stretched = hashlib.pbkdf2_hmac("sha256", digest, _SALT + b"%d" % seq, _ROUNDS, dklen=5)
    number = int.from_bytes(stretched)
    body = "".join(SYMBOLS[number >> shift & 31] for shift in range(35, -1, -5))
    groups = [str(seq), body[:4], body[4:], _check_symbol(f"{seq}{body}")]
    spoken = ", ".join(" ".join(_SPOKEN[symbol] for symbol in group) for group in groups)
    return HeadCode(seq, "-".join(groups), spoken)


def parse(typed: str) -> tuple[int, str]:
    """Return the count and the tidy form of a code as somebody typed it.

    Small letters, missing or extra hyphens and spaces do not matter, and O, I and L are taken for
    the digits that they look like.

    Raises:
        InputError: it is not a head code, or a character was mistyped.
    """
    plain = _SEPARATORS.sub("", typed).upper().translate(_LOOKALIKES)
    count, body, check = plain[: -_BODY - 1], plain[-_BODY - 1 : -1], plain[-1:]
    if re.fullmatch(r"[1-9][0-9]{0,15}", count) is None or not set(plain) <= set(SYMBOLS):
        raise InputError(
            f"{typed!r} is not a head code: type a number, eight characters and a check character, "
            "like 214-7QKD-2MXA-R."
        )
    if _check_symbol(count + body) != check:
        raise InputError(f"A character of the head code {typed!r} is wrong: compare it again.")
    return int(count), f"{count}-{body[:4]}-{body[4:]}-{check}"


def watch(code: str, entries: Iterable[Entry]) -> Iterator[Entry]:
    """Pass the entries of a record on, and refuse the record if the code is not its own.

    A record that has grown since the code was given is accepted: it still holds what it held.

    Args:
        code: as typed.
        entries: in order, already checked (`assistant.journal.chain.read`).

    Raises:
        InputError: the code is none, before the first entry is passed on.
        RecordBroken: the record is shorter than the code says, or is another one.
    """
    seq, text = parse(code)
    seen = 0
    for entry in entries:
        seen = entry.seq
        if seen == seq and head_code(seq, entry.hash).text != text:
            raise RecordBroken(
                f"Entry {seq} does not lead to the head code {text}: the record was written anew "
                "or belongs to another session; compare with another copy."
            )
        yield entry
    if seen < seq:
        raise RecordBroken(
            f"The record ends at entry {seen}, but the head code {text} was given at entry {seq}: "
            "its end was cut off; look for another copy."
        )


def matches(code: str, entries: Iterable[Entry]) -> bool:
    """Tell whether a code was given for these entries or for their beginning.

    Raises:
        InputError: the code is none.
        RecordBroken: the entries themselves do not hold, when they are read on the way.
    """
    seq, text = parse(code)
    return any(entry.seq == seq and head_code(seq, entry.hash).text == text for entry in entries)


def _check_symbol(symbols: str) -> str:
    """Return Damm's check symbol over the field of 32 elements."""
    interim = 0
    for symbol in symbols:
        interim = _double(interim ^ SYMBOLS.index(symbol))
    return SYMBOLS[interim]


def _double(element: int) -> int:
    """Multiply by x in the field of 32 elements."""
    doubled = element << 1
    return doubled ^ _POLYNOMIAL if doubled & 32 else doubled
