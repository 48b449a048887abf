"""`verify`: is this record what it was when it was written, and could it have happened?"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from assistant.cli.output import terminal
from assistant.cli.requirements import show_lacking, trusted_by
from assistant.errors import RecordBroken
from assistant.journal.head_code import head_code
from assistant.journal.signing import Signature, check, require_last
from assistant.printable import printable
from assistant.procedure.enums import END
from assistant.procedure.events import Opened
from assistant.procedure.model import begin
from assistant.record import OpenRecord, Proof, open_record, prove, software
from assistant.record.anchor import Anchor
from assistant.record.registered import misfits, registered
from assistant.record.standing import standing_of
from assistant.record.times import Times
from assistant.record.transcripts import check_transcripts
from assistant.storage.keys import load_public
from assistant.storage.register import Session, sessions

_MINUTE_S, _HOUR_S = 60.0, 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `verify`."""

    record: Path
    head: str | None
    keys: Path | None
    authority: Path | None
    signed: str | None
    register: Path | None
    require: list[str]
    re_hear: bool


def run(options: Options) -> int:
    """Check chain, order, times, plan, grammar, clips, torn tails, head code and signatures.

    Raises:
        RecordBroken: something does not hold; says which entry, clip or signature.
    """
    console = terminal()
    record = open_record(options.record)
    known = sessions(options.register) if options.register else {}
    session = known.get(record.first_hash())
    proof = prove(record, options.head or "", session.heads.keys() if session else frozenset())
    genuine = proof.signatures if options.keys is not None else ()
    outside = [registered(proof, session, options.register)] if options.register else []
    outside += proof.stamped(trusted_by(options.authority))
    standing = standing_of(proof, options.head or "", genuine, outside)
    if proof.last is None or standing is None:
        raise RecordBroken(f"{options.record} holds no entry; nothing can be proved.")
    last = proof.last.entry
    if options.signed is not None:
        require_last(options.signed, proof.signatures)
    if options.keys is not None:
        public = load_public(options.keys)
        check(proof.signatures, proof.heads, public)
        check_transcripts(proof.transcripts, proof.heads, proof.utc, public)
    console.print(
        f"intact: {last.seq} entries in order, {proof.clips} clips unchanged; "
        f"head code {head_code(last.seq, last.hash).text}"
    )
    for line in standing.lines:
        console.print(line)
    if proof.torn:
        console.print(f"torn lines set aside: {proof.torn}; their bytes are kept")
    for stranger in record.view.strangers():
        console.print(f"no part of the record: {printable(stranger)}")
    if proof.opened:
        console.print(_opening(proof.opened))
    _show_times(console, proof.times)
    _show_versions(console, proof)
    _show_signatures(console, proof, options.keys)
    _show_stamps(console, proof, standing.anchors)
    _show_register(console, proof, session, known)
    if options.re_hear:
        _rehear(console, record)
    return show_lacking(console, standing, options.require)


def _opening(opened: Opened) -> str:
    """Return kind, devices and machine of a session, as the program wrote them at its opening."""
    said: list[str] = [opened.kind or "kind not on record"]
    names = ("microphone", opened.microphone), ("loudspeaker", opened.speaker)
    for what, name in (*names, ("host", opened.host), ("account", opened.account)):
        if name:
            said.append(f'{what} "{printable(name)}"')
    if opened.clock_affirmed:
        said.append(
            f"time zone {opened.utc_offset}, clock synchronised: {opened.clock_synchronised}, "
            f"affirmed: {opened.clock_affirmed}"
        )
    return f"first entry: {', '.join(said)}"


def _show_stamps(console: Console, proof: Proof, anchors: Iterable[Anchor]) -> None:
    """Say what each time stamp shows, or that it was not checked, and how many are missing."""
    stamps = proof.stamps
    shown = [anchor for anchor in anchors if anchor.utc]
    for anchor in shown:
        console.print(
            f"{anchor.by}: entries 1 to {anchor.count} were there then, "
            f"{_apart(proof.delay_s(anchor))} entry {anchor.count} by the record's own clock"
        )
    if stamps and not shown:
        console.print(
            f"time stamps: {len(stamps)}, not checked: name the authority's certificates with "
            "--authority"
        )
    if missing := proof.unstamped:
        console.print(
            f"time stamps missing: {len(missing)} of the {len(proof.due)} that the session asked "
            "for; not answered yet, or removed"
        )


def _apart(seconds: float) -> str:
    """Return a signed time in the unit that suits it, and on which side it lies."""
    size = abs(seconds)
    shown = f"{size:.0f} s" if size < _MINUTE_S else f"{size / _MINUTE_S:.1f} min"
    if size >= _HOUR_S:
        shown = f"{size / _HOUR_S:.1f} h"
    return f"{shown} {'before' if seconds < 0 else 'after'}"


def _show_register(
    console: Console, proof: Proof, own: Session | None, known: Mapping[str, Session]
) -> None:
    """Say if the end of this session was not noted, and which others have no record any more."""
    last = proof.last
    if own and not own.ended and last and last.outcome.session.state in END:
        console.print(
            f"register: no end of this session is noted; its record is "
            f"{last.outcome.session.state.value} at entry {last.entry.seq}, and the last note is "
            f"of entry {max(own.heads)}"
        )
    for session, how in misfits(known.values()):
        ended = "ended" if session.ended else "not ended"
        console.print(
            f"register: {how}: the record of the session begun {session.began} "
            f"({max(session.heads)} entries noted, {ended}) in {printable(session.folder)}"
        )


def _show_times(console: Console, times: Times) -> None:
    """Say where the wall clock does not fit, no step of it being on record."""
    if not times.doubtful:
        console.print("times: UTC agrees with the steady clock, or its steps are on record")
        return
    entries = "entry" if times.doubtful == 1 else "entries"
    console.print(
        f"times: at {times.doubtful} {entries} UTC does not fit, and no step is on record:"
    )
    for doubt in times.doubts:
        console.print(f"  {doubt}")
    if times.doubtful > len(times.doubts):
        console.print(f"  and {times.doubtful - len(times.doubts)} more")


def _show_versions(console: Console, proof: Proof) -> None:
    """Say which version wrote the record, and what this one derives otherwise from its events."""
    wrote = ", ".join(proof.software)
    if not proof.differing:
        console.print(f"written by {wrote}; re-derived by {software()} alike")
        return
    console.print(
        f"written by {wrote}; {software()} derives {proof.differing} numbers otherwise. The "
        "versions differ; this says nothing against the record:"
    )
    for each in proof.differences:
        console.print(
            f"  entry {each.seq}, {each.what}: recorded {each.recorded}, derived {each.derived}"
        )
    if proof.differing > len(proof.differences):
        console.print(f"  and {proof.differing - len(proof.differences)} more")


def _rehear(console: Console, record: OpenRecord) -> None:
    """List what is heard otherwise today: it points out, it does not disprove.

    Raises:
        DeviceError: an engine or its model is missing.
        InputError: the record's grammar is not English.
    """
    from assistant.session.clip_recheck import both_engines, rehear  # noqa: PLC0415 - heavy

    engines = both_engines(record.language)
    alike, otherwise = Counter[str](), Counter[str]()
    heard = 0
    told = rehear(record.told(), begin(record.plan), record.language, record.view, engines)
    for each in told:
        heard += 1
        alike.update(one.engine for one in each.again if one.text == each.heard.text)
        otherwise.update(one.engine for one in each.otherwise)
        for one in each.otherwise:
            console.print(
                f'entry {each.entry.seq}: on record "{each.heard.text}", {one.engine} hears '
                f'"{one.text}"; clip {each.heard.clip}',
            )
    if not heard:
        console.print("nothing to hear again: nothing on record was confirmed by voice")
        return
    for engine in engines:
        same, other = alike[engine.name], otherwise[engine.name]
        line = f"{same + other} of {heard} voice confirmations, {same} alike, {other} otherwise"
        console.print(f"heard again by {engine.name}: {line}")
    console.print("The rest, if any: spoken numbers, or no clip was kept")


def _show_signatures(console: Console, proof: Proof, keys: Path | None) -> None:
    """Show who signed, when and why; proved to be theirs where the public keys are given."""
    how = "genuine" if keys is not None else "not checked: name the public keys with --keys"
    for line in signature_lines(proof.signatures):
        console.print(f"{line} ({how})")
    if not proof.signatures:
        console.print("nobody has signed it")
    for typed in proof.transcripts:
        said = typed.statement
        console.print(f"text of entry {said.entry} by {printable(said.name)}, {said.utc} ({how})")


def signature_lines(signatures: tuple[Signature, ...]) -> Iterator[str]:
    """Yield name, meaning and time of each signature, as 21 CFR 11.50 wants them shown."""
    for signature in signatures:
        said = signature.statement
        yield f"{said.meaning} by {printable(said.name)}, {said.utc}, at entry {said.count}"
