"""`time-stamp`: the head of a record stamped by an authority outside, over the network or by file.

Over the network also what a live session asked for and did not get. By file in two steps, where the
machine has no network: the request goes to a machine that has one, the authority's response comes
back, hours later if need be.
"""

from collections.abc import Callable
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path

from rich.console import Console

from assistant.cli.files import read_file, write_file
from assistant.cli.output import terminal
from assistant.cli.requirements import trusted_by
from assistant.conformance import FoldedEntry
from assistant.errors import InputError, RecordBroken
from assistant.journal.entry import Entry
from assistant.record import OpenRecord, open_record, prove
from assistant.record.authority import Authority
from assistant.record.time_stamps import anchors, read_response, request
from assistant.storage.time_stamps import TimeStampFile, add_time_stamp


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
            signed under the authority's certificates; it was not kept.
        InputError: the options, a file or the response cannot be used.
        DeviceError: the authority did not answer.
    """
    console, record = terminal(), open_record(options.record)
    if options.response is not None:
        _take_in(console, record, options.response, options.authority)
        return 0
    proof = prove(record)
    if proof.last is None:
        raise RecordBroken(f"{options.record} holds no entry; there is nothing to stamp.")
    last = proof.last.entry
    if options.request is not None:
        write_file(options.request, request(last.hash), overwrite=options.overwrite)
        console.print(f"{options.request}: time-stamp request for entry {last.seq}")
        return 0
    authority = Authority(options.url or "", trusted_by(options.authority))
    for count, head in sorted({**proof.unstamped, last.seq: last.hash}.items()):
        response, anchor = authority.stamp(count, head)
        name = add_time_stamp(options.record, count, response)
        console.print(f"{name}: entry {count}, {anchor.by}")
    return 0


def _take_in(console: Console, record: OpenRecord, path: Path, authority: Path | None) -> None:
    """Prove the record, find in it the entry that a response is over, and file it there."""
    trusted = trusted_by(authority)
    if not trusted:
        raise InputError(
            "Nothing was stamped: name the certificates of the authority with --authority."
        )
    response = read_file(path, "response")
    found: list[Entry] = []
    prove(record, seen=_finder(read_response(response, str(path)).imprint, found))
    if not found:
        raise RecordBroken(
            f"{path} is not over an entry of {record.view.path}: it answers another request."
        )
    entry = found[0]
    stamp = TimeStampFile(str(path), entry.seq, response)
    (anchor,) = anchors([stamp], {entry.seq: entry.hash}, trusted)
    name = add_time_stamp(record.view.path, entry.seq, response)
    console.print(f"{name}: entry {entry.seq}, {anchor.by}")


def _finder(imprint: bytes, found: list[Entry]) -> Callable[[FoldedEntry], None]:
    """Return what keeps the entry over whose hash an imprint was made."""

    def look(told: FoldedEntry) -> None:
        if sha256(told.entry.hash.encode()).digest() == imprint:
            found.append(told.entry)

    return look
