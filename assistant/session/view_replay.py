"""A whole record as a page with a time line: every entry at once, served until interrupted."""

import asyncio
import contextlib
import json
from collections.abc import Callable
from dataclasses import dataclass, field

from assistant.conformance import FoldedEntry
from assistant.console.transcript import describe
from assistant.errors import RecordError
from assistant.procedure.events import Heard, RemarkTaken
from assistant.procedure.model import begin
from assistant.record import OpenRecord
from assistant.view.page_json import head_json, plan_json
from assistant.view.page_state import PageState, after, begin_page
from assistant.view.publisher import Publisher
from assistant.view.server import LOCAL, ViewServer, hosts_of, listen
from assistant.view.site import Replay, Site

__all__ = ["ToldPages", "serve_replay", "told_pages"]


@dataclass(slots=True)
class ToldPages:
    """The pages of a record and what stands on its time line."""

    pages: list[PageState]
    """Before the first entry, then after each."""
    line: list[dict[str, object]] = field(default_factory=list)
    clips: dict[int, str] = field(default_factory=dict)
    """Name of the clip of each entry that has one."""


def told_pages(record: OpenRecord) -> ToldPages:
    """Fold a record into its pages; every entry is checked on the way.

    Raises:
        RecordBroken: the record does not hold.
    """
    found = ToldPages([begin_page(begin(record.plan), record.language)])
    for told in record.told():
        _add(found, told, record)
    return found


def _add(found: ToldPages, told: FoldedEntry, record: OpenRecord) -> None:
    before = found.pages[-1]
    page = after(before, told, record.language, describe(told.event))
    found.pages.append(page)
    clip = told.event.clip if isinstance(told.event, Heard | RemarkTaken) else ""
    if clip:
        found.clips[page.seq] = clip
    found.line.append(
        {
            "seq": page.seq,
            "ms": page.elapsed_ms,
            "clip": bool(clip),
            "deviation": page.deviation_count > before.deviation_count,
        }
    )


def serve_replay(
    record: OpenRecord, told: ToldPages, start: int, port: int, ready: Callable[[str], None]
) -> None:
    """Serve the page to this machine until interrupted.

    Args:
        record: whose clips are played.
        told: its pages.
        start: entry to begin with.
        port: to listen at; 0 for any.
        ready: is told the address.

    Raises:
        InputError: the port cannot be used.
    """

    def clip(seq: int) -> bytes | None:
        with contextlib.suppress(RecordError):
            return record.view.clip(told.clips[seq]) if seq in told.clips else None
        return None

    replay = Replay(
        timeline=json.dumps(told.line),
        states=[page.model_dump_json() for page in told.pages],
        head=lambda seq: head_json(seq, told.pages[seq].hash),
        clip=clip,
    )
    plan = plan_json(record.plan, record.language, "replay", start)
    site = Site(plan, Publisher(), replay=replay)
    opened = listen(LOCAL, port)
    bound = int(opened.getsockname()[1])
    server = ViewServer(site.app(hosts_of(LOCAL, bound), "http"), opened)
    ready(f"http://{LOCAL}:{bound}/")
    asyncio.run(server.serve())
