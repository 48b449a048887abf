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
from assistant.journal.signing import Meaning, sign, signature_code
from assistant.procedure.enums import END
from assistant.record import open_record, prove
from assistant.record.signing_rules import objection
from assistant.storage.keys import load_private_file
from assistant.storage.printed_name import printed_name
from assistant.storage.signatures import add_signature


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
    name = printed_name(options.name)
    require_own_key(options.key.name, name)
    key = load_private_file(options.key, passphrase(options.passphrase_file))
    signature = sign(
        proof.last.entry,
        name=name,
        meaning=options.meaning,
        utc=SystemClock().now().utc,
        key=key,
        previous=proof.signatures[-1] if proof.signatures else None,
    )
    why = objection(
        signature.statement,
        proof.signatures,
        record.plan,
        proof.last.entry.utc,
        signature.statement.utc,
    )
    if why:
        raise InputError(f"The signature of {name} {why}; nothing was signed.")
    add_signature(record.view.path, signature)
    last = proof.last.entry
    console = terminal()
    for line in signature_lines((*proof.signatures, signature)):
        console.print(line)
    console.print(f"signature code {signature_code(len(proof.signatures) + 1, signature)}")
    console.print(f"head code {head_code(last.seq, last.hash).text}")
    return 0


def require_own_key(file: str, name: str) -> None:
    """Refuse somebody else's key, which nobody could check later on."""
    if unicodedata.normalize("NFC", file) != f"{name}.key.pem":
        raise InputError(f"The key file {file} is not {name}.key.pem: sign with your own key.")
