"""Verifying a record: chain, order, times, plan, grammar, clips, torn tails and signed heads."""

from collections.abc import Callable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING

from assistant.clock import SystemClock
from assistant.conformance import Difference, FoldedEntry
from assistant.errors import RecordBroken
from assistant.journal.head_code import watch
from assistant.journal.signing import Signature, check, note_heads
from assistant.journal.transcript import Transcript
from assistant.procedure.events import Heard, Opened, RemarkTaken, Resumed
from assistant.record.anchor import Anchor
from assistant.record.moments import STAMPED, moment
from assistant.record.opening import OpenRecord
from assistant.record.signing_rules import objections
from assistant.record.time_stamps import anchors, check_stamps
from assistant.record.times import Times
from assistant.record.transcripts import check_transcripts
from assistant.storage.signatures import load_signatures
from assistant.storage.time_stamps import TimeStampFile, load_time_stamps
from assistant.storage.transcripts import load_transcripts

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

__all__ = ["Proof", "prove", "prove_files"]

MOST_SHOWN = 20
"""Most differing numbers kept for display; limits memory."""


@dataclass(slots=True)
class Proof:
    """Result of verifying a record in one pass."""

    signatures: tuple[Signature, ...]
    stamps: tuple[TimeStampFile, ...] = ()
    transcripts: tuple[Transcript, ...] = ()
    """Typed texts of spoken remarks."""
    heads: dict[int, str] = field(default_factory=dict)
    """Hash of the record at the count of each signature and time stamp."""
    due: dict[int, str] = field(default_factory=dict)
    """Hash of the record at each moment of which it says itself that a time stamp is asked for."""
    utc: dict[int, str] = field(default_factory=dict)
    """What the record's own clock said at each of these."""
    clips: int = 0
    torn: int = 0
    """Torn tails that were set aside and are complete."""
    last: FoldedEntry | None = None
    opened: Opened | None = None
    """The first entry's event."""
    software: tuple[str, ...] = ()
    """Names and versions of the programs that wrote it, in order, without duplicates."""
    differences: list[Difference] = field(default_factory=list)
    """Numbers that this version derives differently; the first `MOST_SHOWN` of them."""
    differing: int = 0
    """Total number of differences."""
    times: Times = field(default_factory=Times)
    """Whether wall clock and steady clock agree."""

    def note(self, told: FoldedEntry) -> None:
        """Process an entry."""
        self.last = told
        if told.entry.seq in self.heads:
            self.utc[told.entry.seq] = told.entry.utc
        self.times.note(told)
        if isinstance(told.event, Opened | Resumed):
            self.software = tuple(dict.fromkeys((*self.software, told.event.software)))
        if isinstance(told.event, Opened):
            self.opened = told.event
        if self._asks and moment(told.entry, told.event, told.outcome) in STAMPED:
            self.due[told.entry.seq] = told.entry.hash
        self.differing += len(told.differences)
        self.differences += told.differences[: max(0, MOST_SHOWN - len(self.differences))]

    @property
    def kind(self) -> str:
        """Live, typed or rehearsal, according to the first entry; "" if it does not say."""
        opened = self.opened
        if opened and opened.kind == "live" and not (opened.host and opened.account):
            return "called live without host and account"
        return opened.kind if opened else ""

    @property
    def _asks(self) -> bool:
        """Whether an authority is asked, by the first entry."""
        return bool(self.opened and self.opened.stamp_authority)

    @property
    def unstamped(self) -> dict[int, str]:
        """Hash at each moment for which a time stamp was asked and is not there."""
        there = {stamp.count for stamp in self.stamps}
        return {count: head for count, head in self.due.items() if count not in there}

    @property
    def counts(self) -> frozenset[int]:
        """Entries at which somebody signed or an authority stamped, or of which there is a text."""
        signed = {signature.statement.count for signature in self.signatures}
        texts = {each.statement.entry for each in self.transcripts}
        return frozenset(signed | texts | {stamp.count for stamp in self.stamps})

    def stamped(self, trusted: Sequence["Certificate"]) -> tuple[Anchor, ...]:
        """Return the anchors that the time stamps are; doubt times that lie after their stamp.

        Args:
            trusted: root and intermediate certificates of the authority; without any, nothing is
                checked and nothing returned.

        Raises:
            RecordBroken: a stamp was not signed under these certificates.
        """
        if not trusted:
            return ()
        found = anchors(self.stamps, self.heads, trusted)
        for anchor in found:
            self.times.stamp(anchor.count, self.utc[anchor.count], anchor.utc)
        return found

    def delay_s(self, anchor: Anchor) -> float:
        """Return how long after its entry, by the record's own clock, a time stamp was made, s."""
        own = datetime.fromisoformat(self.utc[anchor.count])
        return (datetime.fromisoformat(anchor.utc) - own).total_seconds()


def prove(
    record: OpenRecord,
    code: str = "",
    counts: AbstractSet[int] = frozenset(),
    seen: Callable[[FoldedEntry], None] = lambda _: None,
) -> Proof:
    """Verify everything about a record except who signed it; one pass, constant memory.

    Args:
        record: opened for reading.
        code: a head code as typed, "" for none.
        counts: further entry counts whose hashes are kept in `Proof.heads`.
        seen: is shown each entry once it is proved, so that one pass does for both.

    Raises:
        InputError: the head code is malformed.
        RecordBroken: names the first invalid entry, clip, tail or signature.
    """
    path = record.view.path
    proof = Proof(load_signatures(path), load_time_stamps(path), load_transcripts(path))
    entries = record.entries()
    if code:
        entries = watch(code, entries)
    for told in record.told(note_heads(entries, proof.counts | counts, proof.heads)):
        proof.note(told)
        prove_files(record, told, proof)
        seen(told)
    proof.times.end()
    proof.times.compare(SystemClock().now().utc)
    check(proof.signatures, proof.heads)
    check_stamps(proof.stamps, proof.heads)
    check_transcripts(proof.transcripts, proof.heads, proof.utc)
    _require_rules(proof, record)
    return proof


def _require_rules(proof: Proof, record: OpenRecord) -> None:
    """Refuse a signature by the wrong person, a second one, or one with an impossible date."""
    last = proof.last.entry if proof.last else None
    found = objections(proof.signatures, record.plan, last, SystemClock().now().utc)
    for number, (signature, why) in enumerate(zip(proof.signatures, found, strict=True), start=1):
        if why:
            raise RecordBroken(
                f"Signature {number} of {signature.statement.name} {why}: do not rely on it."
            )


def prove_files(record: OpenRecord, told: FoldedEntry, proof: Proof) -> None:
    """Verify the files that an entry names, and count them.

    Raises:
        RecordBroken: a clip or a torn line is missing or was changed.
    """
    match told.event:
        case Heard(clip=clip) | RemarkTaken(clip=clip) if clip:
            record.view.clip(clip)
            proof.clips += 1
        case Resumed() if told.event.torn_bytes:
            kept = {tail.sha256: len(tail.data) for tail in record.view.asides()}
            if kept.get(told.event.torn_sha256) != told.event.torn_bytes:
                raise RecordBroken(
                    f"Entry {told.entry.seq} names a torn line that is not in the folder "
                    f"{record.view.path / 'aside'}: look for another copy of it."
                )
            proof.torn += 1
