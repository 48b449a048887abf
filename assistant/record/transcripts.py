"""Whether the typed texts of spoken remarks stand under a record, and by whom they are."""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from assistant.errors import RecordBroken
from assistant.journal.signed import forged
from assistant.journal.transcript import Transcript

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    Keys = Mapping[str, Ed25519PublicKey]

__all__ = ["check_transcripts", "fault_of"]


def fault_of(transcript: Transcript, heads: Mapping[int, str], utc: Mapping[int, str]) -> str:
    """Return why a text is not one of this record's, "" where it is; needs no key.

    Args:
        transcript: from `assistant.storage.transcripts`.
        heads: the record's hash at the entries that have a text.
        utc: the record's own time at these entries.
    """
    said = transcript.statement
    if heads.get(said.entry) != said.head:
        return f"was not made under this record as it stands at entry {said.entry}"
    if said.utc < utc[said.entry]:
        return f"is dated {said.utc}, before the remark at {utc[said.entry]}"
    return ""


def check_transcripts(
    transcripts: Sequence[Transcript],
    heads: Mapping[int, str],
    utc: Mapping[int, str],
    keys: "Keys | None" = None,
) -> None:
    """Prove that every text stands under this record, and is by the person that it names.

    Args:
        transcripts: of the record.
        heads: as for `fault_of`.
        utc: as for `fault_of`.
        keys: the public key of each person, by printed name; None to leave open whose it is.

    Raises:
        RecordBroken: names the first that does not.
    """
    for number, transcript in enumerate(transcripts, start=1):
        why = fault_of(transcript, heads, utc)
        if not why and keys is not None:
            why = forged(transcript, keys)
        if why:
            raise RecordBroken(
                f"Text {number} of a remark, by {transcript.statement.name}, {why}: do not rely on "
                "it, listen again."
            )
