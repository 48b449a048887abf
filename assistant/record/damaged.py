"""Reading a record that is not intact: every fault is collected, the rest is read."""

from collections.abc import Iterator
from pathlib import Path

from assistant.clock import SystemClock
from assistant.conformance import FoldedEntry, proved
from assistant.errors import RecordBroken
from assistant.journal.chain import read
from assistant.journal.entry import Entry
from assistant.journal.head_code import watch
from assistant.journal.signing import note_heads
from assistant.record.identity import fingerprint
from assistant.record.opening import OpenRecord
from assistant.record.proof import Proof, prove_files
from assistant.storage.record_reader import RecordReader
from assistant.storage.signatures import load_signatures
from assistant.storage.time_stamps import load_time_stamps
from assistant.storage.transcripts import load_transcripts

__all__ = ["begin_proof", "entries_alone", "told_as_far_as_it_holds"]


def begin_proof(folder: Path, faults: list[str]) -> Proof:
    """Return an empty proof with the signatures; without any if their file was changed.

    Args:
        folder: folder of the record.
        faults: receives a sentence about a changed file.
    """
    try:
        return Proof(load_signatures(folder), load_time_stamps(folder), load_transcripts(folder))
    except RecordBroken as fault:
        faults.append(str(fault))
    return Proof(())


def told_as_far_as_it_holds(
    record: OpenRecord, proof: Proof, faults: list[str], code: str = ""
) -> Iterator[FoldedEntry]:
    """Fold a record; report a clip, plan or grammar that is not intact, and continue.

    Args:
        record: opened for reading.
        proof: is updated with every entry.
        faults: receives one sentence about each file that is not intact.
        code: a head code as typed, "" for none.

    Raises:
        InputError: the head code is malformed.
        RecordBroken: names the first invalid entry, or says that the code does not match.
    """
    try:
        next(record.entries(), None)
    except RecordBroken as fault:
        faults.append(str(fault))
    entries = proved(record.view.lines(), record.plan, record.language)
    if code:
        entries = watch(code, entries)
    for told in record.told(note_heads(entries, proof.counts, proof.heads)):
        proof.note(told)
        try:
            prove_files(record, told, proof)
        except RecordBroken as fault:
            faults.append(str(fault))
        yield told
    proof.times.end()
    proof.times.compare(SystemClock().now().utc)


def entries_alone(
    view: RecordReader, proof: Proof, faults: list[str], code: str = ""
) -> list[Entry]:
    """Return the entries that the chain proves, if plan or grammar cannot be read.

    Nothing is folded, so it is not shown that each event could follow the one before.

    Args:
        view: reader of the record.
        proof: receives the heads at its signatures.
        faults: receives what is invalid and which file was changed.
        code: a head code as typed, "" for none.

    Raises:
        InputError: the head code is malformed.
    """
    found: list[Entry] = []
    entries = read(view.lines())
    if code:
        entries = watch(code, entries)
    try:
        found.extend(note_heads(entries, proof.counts, proof.heads))
    except RecordBroken as fault:
        faults.append(str(fault))
    opened = found[0].event if found else {}
    for name, data in (("plan", view.plan), ("grammar", view.grammar)):
        if fingerprint(data) != opened.get(f"{name}_sha256"):
            faults.append(f"The file {name}.toml was changed: its bytes are not those recorded.")
    return found
