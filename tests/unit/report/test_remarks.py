"""Spoken remarks on paper: a text, or where to listen and for how long."""

from functools import cache

from assistant.procedure.enums import State
from assistant.procedure.events import DeviceLost, RemarkTaken
from assistant.report.export import Export, Transcript
from assistant.report.export_tables import tables
from assistant.report.remarks import reason_of, remark_of
from assistant.testing import Departure
from tests.unit.report.test_session_sheet import export_of, printed

LOST = Departure(State.STOWING, DeviceLost(device="speaker", reason="unplugged"))
CLIP = "ab" * 32


@cache
def spoken() -> Export:
    """A deviation with its reason spoken."""
    return export_of(
        departures=(LOST, Departure(State.REMARKING, RemarkTaken(clip=CLIP, seconds="4.2")))
    )


def text(seq: int, words: str) -> Transcript:
    """A text that somebody typed later."""
    return Transcript(
        seq=seq,
        text=words,
        name="Ada Muster",
        utc="2026-03-05T01:02:03.000004Z",
        key="k",
        standing="genuine",
    )


def entry_of(export: Export) -> int:
    """The number of the remark's entry."""
    return next(e.seq for e in export.entries if e.event["type"] == "remark-taken")


def test_without_a_text_the_sheet_says_where_to_listen() -> None:
    """Number and length of the clip, beside the deviation and in the course of the session."""
    export = spoken()
    shown = printed(export)
    where = f"spoken, clip of entry {entry_of(export)}, 4.2 s"
    assert shown.count(where) == 2


def test_the_last_text_stands_on_the_sheet_and_all_in_the_tables() -> None:
    """With the name of the person who typed it."""
    seq = entry_of(spoken())
    texts = (text(1, "of another"), text(seq, "bad plug"), text(seq, "loose plug"))
    export = spoken().model_copy(update={"transcripts": texts})
    shown = printed(export)
    assert shown.count('"loose plug" (spoken; typed later by Ada Muster)') == 2
    assert "bad plug" not in shown
    rows = tables(export)["transcripts.csv"].decode("utf-8-sig").splitlines()
    assert len(rows) == 4
    assert f",{seq},bad plug,Ada Muster," in rows[2]


def test_a_typed_reason_stands_as_it_is() -> None:
    """And none is none; of a clip that no entry exported, the name is left."""
    export = spoken()
    assert reason_of(export, "typed", "") == "typed"
    assert reason_of(export, "", "") == ""
    assert reason_of(export, "", "cd" * 32) == "spoken, clip cdcdcdcdcdcd"
    (entry,) = (e for e in export.entries if e.event["type"] == "remark-taken")
    written = entry.model_copy(update={"event": {"type": "remark-taken", "text": "typed"}})
    assert remark_of(export, written) == "typed"
