"""Reading a record of which something does not hold: every fault is noted, the rest is read."""

from collections.abc import Iterator

from assistant.clock import SystemClock
from assistant.conformance import Told, proved
from assistant.errors import RecordBroken
from assistant.journal.head_code import watch
from assistant.journal.signing import note_heads
from assistant.record.opening import OpenRecord
from assistant.record.proof import Proof, prove_files
from assistant.storage.signatures import load_signatures

__all__ = ["begin_proof", "told_as_far_as_it_holds"]


def begin_proof(record: OpenRecord, faults: list[str]) -> Proof:
    """Return a proof not yet made, with the signatures; none where their file was changed.

    Args:
        record: opened for reading.
        faults: takes a sentence about a changed file.
    """
    try:
        return Proof(load_signatures(record.view.path))
    except RecordBroken as fault:
        faults.append(str(fault))
    return Proof(())


def told_as_far_as_it_holds(
    record: OpenRecord, proof: Proof, faults: list[str], code: str = ""
) -> Iterator[Told]:
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
