"""`transcribe`: a person listens to spoken remarks and types what is said in them."""

import threading
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from assistant.cli.output import terminal
from assistant.cli.passphrase import passphrase
from assistant.cli.sign import require_own_key
from assistant.clock import SystemClock
from assistant.errors import InputError
from assistant.journal.entry import Entry
from assistant.journal.transcript import LONGEST_TEXT, Transcript, transcribe
from assistant.printable import printable
from assistant.record import OpenRecord, open_record, prove
from assistant.storage.keys import load_private_file
from assistant.storage.printed_name import printed_name
from assistant.storage.transcripts import add_transcript, load_transcripts


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `transcribe`."""

    record: Path
    name: str
    key: Path
    passphrase_file: Path | None
    entry: int | None
    text: str | None


def run(options: Options) -> int:
    """Take texts for one remark, or for all that have none; each is kept as soon as it is typed.

    Returns:
        0 when every spoken remark has a text, else 1.

    Raises:
        RecordBroken: the record, or a text of it, does not hold.
        InputError: the name, the key, the entry or the text cannot be used.
        DeviceError: there is no loudspeaker to listen with.
    """
    record = open_record(options.record)
    remarks: list[Entry] = []
    proof = prove(
        record, seen=lambda told: remarks.append(told.entry) if _spoken(told.entry) else None
    )
    if options.text is not None and options.entry is None:
        raise InputError("--text is for one remark: name it with --entry.")
    name = printed_name(options.name)
    require_own_key(options.key.name, name)
    key = load_private_file(options.key, passphrase(options.passphrase_file))
    known = {each.statement.entry for each in proof.transcripts}
    chosen = _chosen(remarks, known, options)
    console = terminal()
    for entry, text in _texts(console, record, chosen, options.text):
        if not text:
            continue
        made = transcribe(
            entry,
            _usable(text),
            name=name,
            utc=SystemClock().now().utc,
            key=key,
            previous=_last(load_transcripts(record.view.path)),
        )
        add_transcript(record.view.path, made)
        known.add(entry.seq)
        console.print(f"entry {entry.seq}: {printable(made.statement.text)}")
    left = [entry for entry in remarks if entry.seq not in known]
    console.print(f"{len(remarks)} spoken remarks, {len(left)} without a text")
    return 1 if left else 0


def _spoken(entry: Entry) -> bool:
    return entry.event.get("type") == "remark-taken" and bool(entry.event.get("clip"))


def _chosen(remarks: Sequence[Entry], known: Collection[int], options: Options) -> list[Entry]:
    """Return the remarks to listen to: the one named, or all that have no text yet.

    Raises:
        InputError: the entry named is no spoken remark.
    """
    if options.entry is None:
        return [entry for entry in remarks if entry.seq not in known]
    found = [entry for entry in remarks if entry.seq == options.entry]
    if not found:
        numbers = ", ".join(str(entry.seq) for entry in remarks) or "none"
        raise InputError(
            f"Entry {options.entry} of {options.record} is no spoken remark; these are: {numbers}."
        )
    return found


def _texts(
    console: Console, record: OpenRecord, chosen: Sequence[Entry], given: str | None
) -> Iterator[tuple[Entry, str]]:
    """Yield each remark with its text, "" where it was passed over, until the input ends.

    Raises:
        DeviceError: there is no loudspeaker to listen with.
    """
    if given is not None:
        yield from ((entry, given) for entry in chosen)
        return
    if not chosen:
        return
    from assistant.session.audio_devices import loudspeaker  # noqa: PLC0415 - needs an audio device

    speaker = loudspeaker()
    for entry in chosen:
        console.print(f"entry {entry.seq}, {entry.utc}, {entry.event.get('seconds')} s")
        clip, text = record.view.clip(str(entry.event["clip"])), ""
        while not text:
            over = threading.Event()
            speaker.play(clip, over.set)
            over.wait()
            try:
                text = console.input("text (Enter: hear it again, -: pass over): ").strip()
            except EOFError:
                console.print("the input ended; what was typed before is kept")
                return
        yield entry, "" if text == "-" else text


def _usable(text: str) -> str:
    """Return a text in one line.

    Raises:
        InputError: there is none, or it is far too long.
    """
    line = " ".join(text.split())
    if not 1 <= len(line) <= LONGEST_TEXT:
        raise InputError(f"The text has {len(line)} characters: give 1 to {LONGEST_TEXT}.")
    return line


def _last(typed: Sequence[Transcript]) -> Transcript | None:
    return typed[-1] if typed else None
