"""The story of one record as its folder tells it: what was said, by whom, with which clip."""

from dataclasses import dataclass
from pathlib import Path

from assistant.conformance import words_on_record
from assistant.errors import AssistantError
from assistant.record import open_record

__all__ = ["Line", "story_of"]


@dataclass(frozen=True, slots=True)
class Line:
    """One entry."""

    seq: int
    utc: str
    by: str
    what: str
    """The phrase or remark, or the kind of event."""
    clip: str
    """Name of the clip, "" for none."""
    said: str
    """What the program said because of it."""


def story_of(folder: Path | None) -> tuple[list[Line], str]:
    """Return the entries as far as they can be proved, and why not all of them, "" where all.

    Args:
        folder: of the record, None if nobody knows where it stands.
    """
    lines: list[Line] = []
    if folder is None:
        return lines, "The archive does not know where this record stands."
    try:
        for told in open_record(folder).told():
            event = told.entry.event
            clip, text = (str(event.get(name, "")) for name in ("clip", "text"))
            said = " ".join(filter(None, words_on_record(told.entry.outcome)))
            what = text or str(event.get("type", ""))
            lines.append(Line(told.entry.seq, told.entry.utc, told.entry.by, what, clip, said))
    except AssistantError as fault:
        return lines, str(fault)
    return lines, ""
