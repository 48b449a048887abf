"""Reading a record of which something does not hold: every fault is noted, the rest is read."""

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

__all__ = ["begin_proof", "entries_alone", "told_as_far_as_it_holds"]


def begin_proof(folder: Path, faults: list[str]) -> Proof:
    """Return a proof not yet made, with the signatures; none where their file was changed.

    Args:
        folder: of the record.
        faults: takes a sentence about a changed file.
    """
    try:
        return Proof(load_signatures(folder), load_time_stamps(folder))
    except RecordBroken as fault:
        faults.append(str(fault))
    return Proof(())


def told_as_far_as_it_holds(
    record: OpenRecord, proof: Proof, faults: list[str], code: str = ""
) -> Iterator[FoldedEntry]:
    """Fold a record; a clip, plan or grammar that does not hold is a fault, but not the end.

    Args:
        record: opened for reading.
        proof: is filled as the entries pass.
        faults: takes one sentence about each file that does not hold.
        code: a head code as typed, "" for none.

    Raises:
        InputError: the head code is none.
        RecordBroken: names the first entry that does not hold, or that the code is another's.
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
    """Return the entries that the chain proves, where plan or grammar cannot be read.

    Nothing is folded: that each event could follow the one before is not shown.

    Args:
        view: of the record.
        proof: takes the heads at its signatures.
        faults: takes what does not hold, and which file was changed.
        code: a head code as typed, "" for none.

    Raises:
        InputError: the head code is none.
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
            faults.append(f"The file {name}.toml was changed: its bytes are not those on record.")
    return found
