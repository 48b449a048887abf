"""`register`: the sessions that a station's register knows, and whether their records agree."""

from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.table import Table

from assistant.cli.output import terminal
from assistant.errors import AssistantError, RecordBroken
from assistant.journal.head_code import head_code, parse
from assistant.printable import printable
from assistant.procedure.enums import END
from assistant.record import open_record, prove
from assistant.record.registered import registered, whereabouts
from assistant.storage.register import Ledger, Session, read_register

_AGREES = "agrees"


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `register`."""

    register: Path
    head: str | None


def run(options: Options) -> int:
    """List the sessions in order; 1 where a record is missing or does not agree.

    Raises:
        InputError: there is no register, or it cannot be read; or the head code is none.
        RecordBroken: the register itself was changed, or is not the one of the head code.
    """
    ledger = read_register(options.register, options.head or "")
    known = ledger.sessions.values()
    answers = [_answer(session, options.register) for session in known]
    faults = sum(record != _AGREES for record, _ in answers)
    console = terminal()
    console.print(f"{len(known)} sessions, {faults} whose record does not agree with the register")
    table = Table(box=None, padding=(0, 2, 0, 0))
    for heading in ("begun (UTC)", "entries", "ended", "record", "folder"):
        table.add_column(heading, justify="right" if heading == "entries" else "left")
    for session, (record, ended) in zip(known, answers, strict=True):
        began, count = session.began[:19].replace("T", " "), str(max(session.heads))
        table.add_row(began, count, ended, record, printable(session.folder))
    if known:
        console.print(table)
    _show_end(console, ledger, options.head or "")
    return 1 if faults else 0


def _show_end(console: Console, ledger: Ledger, code: str) -> None:
    """Say how long the register is, and how far something outside vouches for that."""
    if not ledger.lines:
        console.print("the register is empty")
        return
    now = head_code(ledger.lines, ledger.head).text
    console.print(f"register: {ledger.lines} lines; head code {now}, to be noted elsewhere")
    if code:
        count, tidy = parse(code)
        console.print(f"anchored up to line {count} of {ledger.lines} by the head code {tidy}")
    else:
        console.print(
            "lines cut off its end show only by a head code of the register that was noted "
            "elsewhere (--head)"
        )


def _answer(session: Session, register: Path) -> tuple[str, str]:
    """Prove a record where it stood and compare every head that was noted; and whether it ended."""
    noted = "yes" if session.ended else "no"
    where = whereabouts(session)
    if where != "there":
        return where, noted
    try:
        proof = prove(open_record(Path(session.folder)), counts=session.heads.keys())
    except AssistantError:
        return "damaged", noted
    if proof.last and proof.last.outcome.session.state in END and not session.ended:
        noted = "by its record only"
    try:
        registered(proof, session, register)
    except RecordBroken:
        return "differs", noted
    return _AGREES, noted
