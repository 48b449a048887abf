"""Comparing a record with the register of its station."""

from collections.abc import Iterable
from pathlib import Path
from typing import Literal

from assistant.errors import RecordBroken, RecordError
from assistant.journal.chain import read
from assistant.record.anchor import Anchor
from assistant.record.proof import Proof
from assistant.storage.record_reader import RecordReader
from assistant.storage.register import Session

__all__ = ["Whereabouts", "misfits", "registered", "whereabouts"]

Whereabouts = Literal["there", "missing", "replaced", "damaged"]


def registered(proof: Proof, session: Session | None, register: Path) -> Anchor:
    """Verify that a record contains every head noted in the register; return the anchor.

    Args:
        proof: proof of the record; its heads include those at the register's counts.
        session: the register's notes on it, None if there are none.
        register: file of the register, for messages.

    Raises:
        RecordBroken: the session is not registered, or the record was rewritten or cut off.
    """
    if session is None:
        raise RecordBroken(
            f"The register {register} knows no session that began with this first entry: the "
            "record was rewritten, or belongs to another station."
        )
    for count, head in session.heads.items():
        if proof.heads.get(count) != head:
            raise RecordBroken(
                f"The register {register} noted another entry {count} of this session: the record "
                "was rewritten or cut off before that; look for another copy."
            )
    return Anchor(max(session.heads), f"the register {register.name}")


def whereabouts(session: Session) -> Whereabouts:
    """Return whether a session's record stands in the folder noted in the register.

    Only its first entry is looked at.
    """
    try:
        first = next(read(RecordReader(Path(session.folder)).lines()), None)
    except RecordBroken:
        return "damaged"
    except RecordError:
        return "missing"
    if first is None:
        return "missing"
    return "there" if first.hash == session.session else "replaced"


def misfits(sessions: Iterable[Session]) -> list[tuple[Session, Whereabouts]]:
    """Return the sessions whose record is not where the register says, and how that is."""
    found = [(session, whereabouts(session)) for session in sessions]
    return [(session, where) for session, where in found if where != "there"]
