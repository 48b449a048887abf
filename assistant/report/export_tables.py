"""An export as tables for a spreadsheet, such as one row per sample and one per entry.

Five files go into one folder: `about.csv`, `samples.csv`, `events.csv`, `deviations.csv` and
`signatures.csv`. Every row repeats the condition of the record, so that a table from a damaged
record is always recognisable. Encoding is UTF-8 with a byte order mark, which spreadsheets need.
"""

import csv
import io
import json
import re
from collections.abc import Iterable, Mapping, Sequence

from pydantic import JsonValue

from assistant.report.export import Deviation, Entry, Export, Moment, Sample

__all__ = ["tables", "to_csv"]

Cell = str | int
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_FORMULA = ("=", "+", "-", "@", "\t", "\r")

_SAMPLES = [
    "condition",
    "vial",
    "location",
    "description",
    "insertion",
    "attempt",
    "position",
    "port",
    "depth_mm",
    "status",
    "mass_mg",
    "taken_utc",
    "taken_by",
    "emptied_utc",
    "emptied_by",
    "weighed_utc",
    "weighed_by",
    "voided_utc",
    "voided_by",
    "deviations",
    "batch",
    "product",
]
_EVENTS = [
    "condition",
    "seq",
    "utc",
    "by",
    "type",
    "source",
    "text",
    "decision",
    "reason",
    "clip",
    "state",
    "said",
    "rest",
    "hash",
]
_DEVIATIONS = [
    "condition",
    "number",
    "kind",
    "detail",
    "vials",
    "location",
    "insertion",
    "status",
    "raised_utc",
    "raised_by",
    "raised_seq",
    "disposed_utc",
    "disposed_by",
    "disposed_seq",
    "reason",
    "reason_clip",
]
_TRANSCRIPTS = ("condition", "seq", "text", "name", "utc", "key", "standing")
_SIGNATURES = (
    "condition",
    "name",
    "meaning",
    "utc",
    "entries",
    "head",
    "key",
    "standing",
)


def tables(export: Export) -> dict[str, bytes]:
    """Return the content of every file, by file name.

    Args:
        export: export of one record.
    """
    mark = export.condition
    signed = [
        (mark, s.name, s.meaning, s.utc, s.count, s.head, s.key, s.standing)
        for s in export.signatures
    ]
    typed = [(mark, t.seq, t.text, t.name, t.utc, t.key, t.standing) for t in export.transcripts]
    session = session_kind(export)
    return {
        "about.csv": to_csv(("what", "value"), _about(export)),
        **{
            name: to_csv((header[0], "session", *header[1:]), (_with(row, session) for row in rows))
            for name, header, rows in (
                ("samples.csv", _SAMPLES, [_sample(export, s) for s in export.samples]),
                ("events.csv", _EVENTS, [_event(mark, e) for e in export.entries]),
                ("deviations.csv", _DEVIATIONS, [_deviation(mark, d) for d in export.deviations]),
                ("signatures.csv", _SIGNATURES, signed),
                ("transcripts.csv", _TRANSCRIPTS, typed),
            )
        },
    }


def session_kind(export: Export) -> str:
    """Return whether the session was live or a rehearsal, as its first entry says."""
    if export.session.kind == "typed":
        return "typed without a microphone"
    return export.session.kind or "not on record whether live or a rehearsal"


def _with(row: Sequence[Cell], session: str) -> Sequence[Cell]:
    """Put the kind of session behind the condition: both qualify every row."""
    return (row[0], session, *row[1:])


def _about(export: Export) -> Iterable[Sequence[Cell]]:
    yield "condition", export.condition
    yield from (("fault", fault) for fault in export.faults)
    yield from (("shown", line) for line in export.shown)
    if export.head is not None:
        yield "entries", export.head.seq
        yield "head code", export.head.code
        yield "head", export.head.hash
    for name, value in export.session:
        if isinstance(value, Moment):
            yield f"{name} utc", value.utc
            yield f"{name} by", value.by
        elif value is not None:
            yield name, value
    yield from ((person.role, person.name) for person in export.people)
    yield from export.totals.items()
    for signature in export.signatures:
        words = f"{signature.meaning}, {signature.utc}, {signature.standing}"
        yield f"signed by {signature.name}", words


def _sample(export: Export, sample: Sample) -> Sequence[Cell]:
    return (
        export.condition,
        sample.vial,
        sample.location,
        sample.description,
        sample.insertion,
        sample.attempt,
        sample.position,
        sample.port,
        sample.depth_mm,
        sample.status,
        sample.mass_mg,
        *_when(sample.taken),
        *_when(sample.emptied),
        *_when(sample.weighed),
        *_when(sample.voided),
        " ".join(str(number) for number in sample.deviations),
        export.session.batch,
        export.session.product,
    )


def _when(moment: Moment | None) -> tuple[str, str]:
    return (moment.utc, moment.by) if moment else ("", "")


_SHOWN = ("type", "source", "text", "decision", "reason", "clip")


def _event(mark: str, entry: Entry) -> Sequence[Cell]:
    shown = [str(entry.event.get(name, "")) for name in _SHOWN]
    rest = {name: value for name, value in entry.event.items() if name not in _SHOWN}
    spelt = json.dumps(rest, ensure_ascii=False, sort_keys=True) if rest else ""
    state = str(entry.outcome.get("state", ""))
    return (mark, entry.seq, entry.utc, entry.by, *shown, state, said(entry), spelt, entry.hash)


def said(entry: Entry) -> str:
    """Return the prompts caused by an entry."""
    effects = entry.outcome.get("effects")
    words = [_text(effect) for effect in effects] if isinstance(effects, list) else []
    return " ".join(word for word in words if word)


def _text(effect: JsonValue) -> str:
    return str(effect.get("text", "")) if isinstance(effect, Mapping) else ""


def _deviation(mark: str, deviation: Deviation) -> Sequence[Cell]:
    raised, disposed = deviation.raised, deviation.disposed
    return (
        mark,
        deviation.number,
        deviation.kind,
        deviation.detail,
        " ".join(str(vial) for vial in deviation.vials),
        deviation.location,
        deviation.insertion,
        deviation.status,
        raised.utc,
        raised.by,
        raised.seq,
        *_when(disposed),
        disposed.seq if disposed else "",
        deviation.reason,
        deviation.reason_clip,
    )


def to_csv(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> bytes:
    """Return a table as CSV, UTF-8 with a byte order mark, harmless to a spreadsheet."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(header)
    writer.writerows([_harmless(cell) for cell in row] for row in rows)
    return out.getvalue().encode("utf-8-sig")


def _harmless(cell: Cell) -> Cell:
    """Keep a spreadsheet from interpreting text as a formula."""
    if isinstance(cell, str) and cell.startswith(_FORMULA) and not _NUMBER.fullmatch(cell):
        return f"'{cell}"
    return cell
