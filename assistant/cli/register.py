"""`register`: the sessions that a station's register knows, and whether their records agree."""

from dataclasses import dataclass
from pathlib import Path

from rich.table import Table

from assistant.cli.output import terminal
from assistant.errors import AssistantError
from assistant.printable import printable
from assistant.record import open_record, prove
from assistant.record.registered import registered
from assistant.storage.register import Session, sessions

_AGREES = "agrees"


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `register`."""

    register: Path


def run(options: Options) -> int:
    """List the sessions in order; 1 where a record is missing or no longer agrees.

    Raises:
        InputError: there is no register, or it cannot be read.
        RecordBroken: the register itself was changed; names the line.
    """
    known = sessions(options.register)
    answers = [_standing(session, options.register) for session in known.values()]
    faults = sum(answer != _AGREES for answer in answers)
    console = terminal()
    console.print(f"{len(known)} sessions, {faults} whose record is missing or does not agree")
    table = Table(box=None, padding=(0, 2, 0, 0))
    for heading in ("begun (UTC)", "entries", "ended", "record", "folder"):
        table.add_column(heading, justify="right" if heading == "entries" else "left")
    for session, answer in zip(known.values(), answers, strict=True):
        ended = "yes" if session.ended else "no"
        began, count = session.began[:19].replace("T", " "), str(max(session.heads))
        table.add_row(began, count, ended, answer, printable(session.folder))
    if known:
        console.print(table)
    console.print("What was cut off the end of the register itself does not show here.")
    return 1 if faults else 0


def _standing(session: Session, register: Path) -> str:
    """Prove a record where it stood and compare every head that was noted."""
    try:
        record = open_record(Path(session.folder))
        if record.first_hash() != session.session:
            return "not there"
        registered(prove(record, counts=session.heads.keys()), session, register)
    except AssistantError:
        return "does not hold" if Path(session.folder).exists() else "not there"
    return _AGREES
