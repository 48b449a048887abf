"""Spoken remarks on paper: the text that somebody typed, or where to listen and for how long."""

from assistant.report.export import Entry, Export

__all__ = ["reason_of", "remark_of"]


def remark_of(export: Export, entry: Entry) -> str:
    """Return the text of a remark's entry, or the clip's number and length.

    Args:
        export: holds the typed texts.
        entry: of a remark, typed in the session or spoken.
    """
    if text := entry.event.get("text"):
        return str(text)
    typed = [each for each in export.transcripts if each.seq == entry.seq]
    if typed:
        return f'"{typed[-1].text}" (spoken; typed later by {typed[-1].name})'
    seconds = entry.event.get("seconds", "0")
    return f"spoken, clip of entry {entry.seq}, {seconds} s"


def reason_of(export: Export, reason: str, clip: str) -> str:
    """Return the reason given at a deviation's disposal.

    Args:
        export: holds the entries and the typed texts.
        reason: as typed in the session, "" where it was not.
        clip: name of the clip of a spoken one, "" without.
    """
    if reason or not clip:
        return reason
    for entry in export.entries:
        if entry.event.get("type") == "remark-taken" and entry.event.get("clip") == clip:
            return remark_of(export, entry)
    return f"spoken, clip {clip[:12]}"
