"""What a proof shows: how far the record is anchored, how it ended, who signed.

A chain shows only that a record is consistent. Anyone who can write to the folder can seal another
one; only evidence from outside (a head code, a signature, a register or a time stamp) shows that
this is the original.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import product

from assistant.journal.head_code import parse
from assistant.journal.signing import MEANINGS, Signature
from assistant.printable import printable
from assistant.procedure.enums import END, State
from assistant.record.anchor import Anchor
from assistant.record.proof import Proof

__all__ = ["Standing", "signed", "standing_of"]


@dataclass(frozen=True, slots=True)
class Standing:
    """What was shown about an intact record."""

    entries: int
    state: State
    kind: str
    """Live, typed or rehearsal, according to the first entry; "" if it does not say."""
    anchors: tuple[Anchor, ...] = ()
    """Only anchors that were checked against something from outside."""
    doubtful_times: int = 0
    """Entries whose UTC disagrees with the steady clock, runs back or is in the future."""

    @property
    def anchored(self) -> int:
        """Number of entries covered by an anchor; 0 without one."""
        return max((anchor.count for anchor in self.anchors), default=0)

    def ending(self) -> str:
        """Describe how the session ended."""
        if self.state in END:
            return f"session: {self.state.value}"
        return f"session: open in {self.state.value}; it was not finished, or its end was cut off"

    def anchoring(self) -> str:
        """Describe how far the record is anchored, and by what."""
        whole = f"{self.entries} entries"
        if not self.anchors:
            return (
                "self-consistent only: without a head code (--head), a signature (--keys), a time "
                "stamp (--authority) or the station's register (verify --register) nothing shows "
                f"that these {whole} were not rewritten or cut off"
            )
        furthest = [anchor.by for anchor in self.anchors if anchor.count == self.anchored]
        by = ", ".join(dict.fromkeys(furthest))
        if self.anchored == self.entries:
            return f"anchored to the end, entry {self.entries}, by {by}"
        return (
            f"anchored up to entry {self.anchored} of {self.entries} by {by}; entries "
            f"{self.anchored + 1} to {self.entries} are self-consistent only"
        )

    @property
    def lines(self) -> tuple[str, str]:
        """The two statements, each one line."""
        return self.ending(), self.anchoring()

    def lacking(self, required: Iterable[str]) -> tuple[str, ...]:
        """Return a sentence for each requirement that is not met.

        Args:
            required: "anchored-to-end", "closed", "live", "steady-time", "trusted-time" and
                meanings of signatures; several must be signed by different persons.
        """
        wanted = set(required)
        found = []
        if "anchored-to-end" in wanted and self.anchored != self.entries:
            found.append(f"The record is not anchored to its end, entry {self.entries}.")
        if "closed" in wanted and self.state is not State.CLOSED:
            found.append(f"The session is not closed but {self.state.value}.")
        if "live" in wanted and self.kind != "live":
            found.append(f"The session is not live but {self.kind or 'of a kind not on record'}.")
        if "steady-time" in wanted and self.doubtful_times:
            found.append(
                f"At {self.doubtful_times} entries UTC disagrees with the steady clock, runs back "
                "or lies ahead of now."
            )
        if "trusted-time" in wanted and not self._stamped:
            found.append(f"No time stamp that was checked covers the last entry, {self.entries}.")
        meanings = [meaning for meaning in MEANINGS if meaning in wanted]
        if meanings and not self._signed(meanings):
            found.append(
                f"There are no genuine signatures at the end by different persons for: "
                f"{', '.join(meanings)}."
            )
        return tuple(found)

    @property
    def _stamped(self) -> bool:
        """Tell whether an authority stamped the end of the record."""
        return any(anchor.utc and anchor.count == self.entries for anchor in self.anchors)

    def _signed(self, meanings: Sequence[str]) -> bool:
        """Return whether different persons signed these meanings at the end of the record."""
        last = [anchor for anchor in self.anchors if anchor.name and anchor.count == self.entries]
        signers = [{one.name for one in last if one.meaning == each} for each in meanings]
        return any(len(set(names)) == len(meanings) for names in product(*signers))


def standing_of(
    proof: Proof, code: str, genuine: Iterable[Signature], others: Iterable[Anchor] = ()
) -> Standing | None:
    """Return what a proof shows; None for a record without entries.

    Args:
        proof: proof of the whole record.
        code: the head code that was checked, "" for none.
        genuine: the signatures that were checked with the signers' keys.
        others: anchors that were checked already: register, time stamps.

    Raises:
        InputError: the head code is malformed.
    """
    if proof.last is None:
        return None
    anchors = []
    if code:
        count, tidy = parse(code)
        anchors.append(Anchor(count, f"the head code {tidy}"))
    said = [signature.statement for signature in genuine]
    anchors += [signed(one.name, one.meaning, one.count) for one in said]
    anchors += others
    session = proof.last.outcome.session
    return Standing(
        proof.last.entry.seq, session.state, proof.kind, tuple(anchors), proof.times.doubtful
    )


def signed(name: str, meaning: str, count: int) -> Anchor:
    """Return the anchor given by a genuine signature."""
    return Anchor(count, f"the signature of {printable(name)} ({meaning})", name, meaning)
