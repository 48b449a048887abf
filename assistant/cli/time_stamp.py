"""`time-stamp`: the head of a record stamped by an authority outside, over the network or by file.

By file in two steps, where the machine has no network: the request goes to a machine that has one,
the authority's response comes back, hours later if need be.
"""

import urllib.error
import urllib.request
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from assistant.cli.files import read_file, write_file
from assistant.cli.output import terminal
from assistant.cli.requirements import trusted_by
from assistant.errors import DeviceError, InputError, RecordBroken
from assistant.journal.entry import Entry
from assistant.record import OpenRecord, open_record, prove
from assistant.record.time_stamps import anchors, read_response, request
from assistant.storage.time_stamps import TimeStampFile, add_time_stamp

PATIENCE_S = 20.0
_MOST_BYTES = 1_000_000
"""A response has some kB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `time-stamp`."""

    record: Path
    request: Path | None
    overwrite: bool
    response: Path | None
    url: str | None
    authority: Path | None


def run(options: Options) -> int:
    """Write the request, or take in a response, from a file or from the authority itself.

    Raises:
        RecordBroken: the record does not hold, or the response is not over an entry of it or not
            signed under the authority's certificates; nothing was kept.
        InputError: the options, a file or the response cannot be used.
        DeviceError: the authority did not answer.
    """
    record = open_record(options.record)
    proof = prove(record)
    if proof.last is None:
        raise RecordBroken(f"{options.record} holds no entry; there is nothing to stamp.")
    console, asked = terminal(), request(proof.last.entry.hash)
    if options.request is not None:
        write_file(options.request, asked, overwrite=options.overwrite)
        console.print(f"{options.request}: time-stamp request for entry {proof.last.entry.seq}")
        return 0
    trusted = trusted_by(options.authority)
    if not trusted:
        raise InputError(
            "Nothing was stamped: name the certificates of the authority with --authority."
        )
    where = options.url or str(options.response)
    answer = _ask(where, asked) if options.url else read_file(Path(where), "response")
    stamp, head = _filed(record, answer, where)
    (anchor,) = anchors([stamp], {stamp.count: head}, trusted)
    name = add_time_stamp(options.record, stamp.count, answer)
    console.print(f"{name}: entry {stamp.count}, {anchor.by}")
    return 0


def _filed(record: OpenRecord, answer: bytes, where: str) -> tuple[TimeStampFile, str]:
    """Find the entry that a response is over; return it filed there, and the entry's hash."""
    imprint = read_response(answer, where).imprint
    entry = _entry_of(record.entries(), imprint)
    if entry is None:
        raise RecordBroken(
            f"{where} is not over an entry of {record.view.path}: it answers another request."
        )
    return TimeStampFile(where, entry.seq, answer), entry.hash


def _entry_of(entries: Iterable[Entry], imprint: bytes) -> Entry | None:
    return next((e for e in entries if sha256(e.hash.encode()).digest() == imprint), None)


def _ask(url: str, asked: bytes) -> bytes:
    """Ask the authority over HTTP (RFC 3161, 3.4).

    Raises:
        InputError: the address is none.
        DeviceError: it did not answer, or with something else.
    """
    if not url.startswith(("http://", "https://")):
        raise InputError(f"{url} is no address of an authority: it begins with http or https.")
    try:
        query = urllib.request.Request(  # noqa: S310 - http and https only, above
            url, data=asked, headers={"Content-Type": "application/timestamp-query"}
        )
        with urllib.request.urlopen(query, timeout=PATIENCE_S) as reply:  # noqa: S310 - as above
            answer: bytes = reply.read(_MOST_BYTES)
    except (OSError, ValueError, urllib.error.URLError) as fault:
        raise DeviceError(
            f"The authority at {url} gave no time stamp ({fault}): try again later, or take the "
            "request there by file (--request)."
        ) from None
    return answer
