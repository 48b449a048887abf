"""Who may sign a record, with which meaning, and when.

Checked before a signature is made and again whenever a record is proved, because the file of
signatures can be written by other programs.
"""

from collections.abc import Sequence

from assistant.journal.entry import Entry
from assistant.journal.signing import Signature, Statement
from assistant.plan import Plan

__all__ = ["ROLES", "objection", "objections"]

ROLES = {"performed": "operator", "witnessed": "witness"}
"""Meanings reserved for people with a role in the plan."""


def objection(
    said: Statement, before: Sequence[Signature], plan: Plan, ended: str, now: str
) -> str:
    """Return why a signature is invalid, "" if it is valid.

    Any two meanings exclude each other: a participant cannot review, and a reviewer cannot approve.
    So a person, and a key, can sign a record only once.

    Args:
        said: the statement to sign.
        before: the earlier signatures.
        plan: plan of the record.
        ended: UTC of the entry that is signed, RFC 3339 with microseconds; "" if unknown.
        now: current UTC in the same form.
    """
    role = ROLES.get(said.meaning)
    if role is not None:
        names = [person.name for person in plan.people if person.role == role]
        if said.name not in names:
            known = ", ".join(names) or "nobody"
            return f"cannot count as {said.meaning}: the plan's {role} is {known}"
    for one in before:
        other = one.statement
        if said.name == other.name:
            return f"is a second one: this person has signed as {other.meaning}"
        if said.key == other.key:
            return f"was made with the key of {other.name}, who has signed as {other.meaning}"
    if said.utc < ended:
        return f"is dated {said.utc}, before the session's end at {ended}"
    if said.utc > now:
        return f"is dated {said.utc}, and now it is {now}"
    return ""


def objections(
    signatures: Sequence[Signature], plan: Plan, last: Entry | None, now: str
) -> tuple[str, ...]:
    """Return for each signature why it is invalid, "" if it is valid.

    Args:
        signatures: all signatures of a record.
        plan: plan of the record.
        last: last entry of the record, None if there is none.
        now: current UTC, RFC 3339 with microseconds.
    """
    return tuple(
        objection(
            signature.statement,
            signatures[:number],
            plan,
            last.utc if last and last.seq == signature.statement.count else "",
            now,
        )
        for number, signature in enumerate(signatures)
    )
