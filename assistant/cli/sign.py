"""`sign`: a person puts name, time and meaning under a record that is closed and holds."""

import unicodedata
from dataclasses import dataclass
from pathlib import Path

from assistant.cli.output import terminal
from assistant.cli.passphrase import passphrase
from assistant.cli.verify import signature_lines
from assistant.clock import SystemClock
from assistant.errors import InputError, RecordBroken, RecordError
from assistant.journal.head_code import head_code
from assistant.journal.signing import Meaning, sign
from assistant.plan import Plan
from assistant.procedure.enums import END
from assistant.record import open_record, prove
from assistant.storage.keys import load_private_file
from assistant.storage.signatures import add_signature

_ROLES = {"performed": "operator", "witnessed": "witness"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `sign`."""

    record: Path
    name: str
    meaning: Meaning
    key: Path
    passphrase_file: Path | None


def run(options: Options) -> int:
    """Prove the record, then sign it.

    Raises:
        RecordBroken: the record, or a signature under it, does not hold; a line of it is torn.
        RecordError: the record is still open.
        InputError: the key, the passphrase or the name cannot be used.
    """
    record = open_record(options.record)
    proof = prove(record)
    if proof.last is None:
        raise RecordBroken(f"{options.record} holds no entry; there is nothing to sign.")
    if proof.last.outcome.session.state not in END:
        raise RecordError(
            f"The record in {options.record} is still open: finish the session with "
            f"run --resume --into {options.record}, then sign."
        )
    name = unicodedata.normalize("NFC", " ".join(options.name.split()))
    _require_part(record.plan, name, options.meaning)
    _require_own_key(options.key.name, name)
    key = load_private_file(options.key, passphrase(options.passphrase_file))
    signature = sign(
        proof.last.entry,
        name=name,
        meaning=options.meaning,
        utc=SystemClock().now().utc,
        key=key,
        previous=proof.signatures[-1] if proof.signatures else None,
    )
    add_signature(record.view.path, signature)
    last = proof.last.entry
    console = terminal()
    for line in signature_lines((*proof.signatures, signature)):
        console.print(line)
    console.print(f"head code {head_code(last.seq, last.hash).text}")
    return 0


def _require_part(plan: Plan, name: str, meaning: str) -> None:
    """Refuse a signature of having done what the plan has somebody else do."""
    role = _ROLES.get(meaning)
    if role is None:
        return
    names = [person.name for person in plan.people if person.role == role]
    if name not in names:
        known = ", ".join(names) or "nobody"
        raise InputError(
            f"{name} cannot sign as {meaning}: the plan's {role} is {known}; "
            "sign as reviewed or approved."
        )


def _require_own_key(file: str, name: str) -> None:
    """Refuse somebody else's key, which nobody could check later on."""
    if unicodedata.normalize("NFC", file) != f"{name}.key.pem":
        raise InputError(
            f"The key file {file} is not {name}.key.pem: each signs with a key of his."
        )
