"""The view's own process: follows the record as it grows, and serves the page.

It reads the record like anybody else and writes nothing, so the session depends on it in no way:
`assistant.session.view_link` starts it, says when the record has grown, and hears who came.

On its standard input: a line with the settings, then one for each piece of news; the end of the
input ends the process. On its output: a line for each thing the session must know
(`assistant.session.view_messages`).
"""

import asyncio
import json
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

from assistant.conformance import follow, proved
from assistant.console.transcript import describe
from assistant.errors import AssistantError
from assistant.procedure.model import begin
from assistant.record import OpenRecord, open_record
from assistant.record.opening import with_own_files
from assistant.session.view_messages import Answer, News, ViewSettings
from assistant.storage.appender import MAX_LINE
from assistant.storage.record_reader import RECORD
from assistant.view.admission import Admission, Visit
from assistant.view.page_json import head_json, plan_json
from assistant.view.page_state import PageState, after, begin_page
from assistant.view.publisher import Message, Publisher
from assistant.view.server import ViewServer, hosts_of, listen
from assistant.view.site import Site

LAST_WORDS_S = 0.5
"""How long viewers have to take the last page after the session's end."""

HEAD_AFTER_S = 0.1
"""The page goes out first; in a burst of entries only the last one's head code is worked out."""


class Follower:
    """Folds the record in a thread of its own, whenever it has grown."""

    def __init__(self, record: OpenRecord, path: Path) -> None:
        """Follow a record that may have no entry yet."""
        self._record, self._path = record, path
        self._grown = threading.Event()
        self._ended = False

    def grown(self) -> None:
        """Look for new entries."""
        self._grown.set()

    def end(self) -> None:
        """Read what is there, then stop."""
        self._ended = True
        self._grown.set()

    def pages(self) -> Iterator[PageState]:
        """Yield the page before the first entry and after each, waiting for more until the end.

        Raises:
            RecordBroken: what was written is not a record.
        """
        record = self._record
        page = begin_page(begin(record.plan), record.language)
        yield page
        entries = proved(self._lines(), record.plan, record.language)
        proven = with_own_files(record.view, entries)
        for told in follow(proven, record.plan, record.language):
            page = after(page, told, record.language, describe(told.event))
            yield page

    def _lines(self) -> Iterator[bytes]:
        """Yield whole lines only; half a line is being written, or was torn."""
        with self._path.open("rb") as file:
            while True:
                self._grown.clear()
                last = self._ended
                start = file.tell()
                while (line := file.readline(MAX_LINE)).endswith(b"\n"):
                    yield line[:-1]
                    start = file.tell()
                file.seek(start)
                if last:
                    return
                self._grown.wait()


class ViewProcess:
    """The page of one session."""

    def __init__(self, settings: ViewSettings) -> None:
        """Open everything.

        Raises:
            AssistantError: the record, the plan or the address cannot be used.
        """
        self._record = open_record(settings.folder)
        self._socket = listen(settings.host, settings.port)
        self._settings = settings
        self._follower = Follower(self._record, settings.folder / RECORD)
        self._publisher = Publisher()
        self._shown: PageState | None = None
        self._head_wanted = asyncio.Event()

    async def run(self) -> None:
        """Serve until the session ends."""
        settings, loop = self._settings, asyncio.get_running_loop()
        tls = None
        if settings.certificate and settings.key:
            tls = settings.certificate, settings.key
        port = int(self._socket.getsockname()[1])
        hosts = hosts_of(settings.host, port)
        site = Site(
            plan=plan_json(self._record.plan, self._record.language, "live"),
            publisher=self._publisher,
            admission=Admission(_code, _visit) if tls else None,
        )
        scheme = "https" if tls else "http"
        server = ViewServer(site.app(hosts, scheme), self._socket, tls)
        heads = asyncio.create_task(self._heads())
        threading.Thread(target=self._listen, args=(loop,), daemon=True).start()
        following = asyncio.create_task(asyncio.to_thread(self._follow, loop))
        following.add_done_callback(lambda _: loop.call_later(LAST_WORDS_S, server.stop))
        shown = f"[{settings.host}]" if ":" in settings.host else settings.host
        _tell(Answer(what="ready", text=f"{scheme}://{shown}:{port}/"))
        await server.serve()
        heads.cancel()
        self._follower.end()

    def _follow(self, loop: asyncio.AbstractEventLoop) -> None:
        try:
            for page in self._follower.pages():
                loop.call_soon_threadsafe(self._publish, page)
        except AssistantError as fault:
            trouble = json.dumps({"trouble": f"The page cannot follow the record: {fault}"})
            loop.call_soon_threadsafe(self._publisher.publish, Message("trouble", trouble))
        loop.call_soon_threadsafe(self._publisher.close)

    def _publish(self, page: PageState) -> None:
        self._publisher.publish(Message("state", page.model_dump_json(), page.seq))
        self._shown = page
        self._head_wanted.set()

    async def _heads(self) -> None:
        """Work out the newest head code; it takes too long to wait for it with the page."""
        while True:
            await self._head_wanted.wait()
            await asyncio.sleep(HEAD_AFTER_S)
            self._head_wanted.clear()
            page = self._shown
            if page is not None and page.seq:
                made = await asyncio.to_thread(head_json, page.seq, page.hash)
                self._publisher.publish(Message("head", made))

    def _listen(self, loop: asyncio.AbstractEventLoop) -> None:
        """Take news from the session."""
        for line in sys.stdin:
            news = News.model_validate_json(line)
            if news.trouble is not None:
                data = json.dumps({"trouble": news.trouble})
                loop.call_soon_threadsafe(self._publisher.publish, Message("trouble", data))
            if news.level is not None:
                data = json.dumps({"level": round(news.level, 1)})
                loop.call_soon_threadsafe(self._publisher.publish, Message("level", data))
            self._follower.grown()
        self._follower.end()


def _tell(answer: Answer) -> None:
    sys.stdout.write(answer.model_dump_json() + "\n")
    sys.stdout.flush()


def _code(code: str) -> None:
    _tell(Answer(what="code", text=code))


def _visit(visit: Visit) -> None:
    _tell(
        Answer(
            what=visit.did,
            viewer=visit.viewer,
            address=visit.address,
            wrong_codes=visit.wrong_codes,
        )
    )


def main() -> int:
    """Serve what the first line of the standard input says."""
    try:
        process = ViewProcess(ViewSettings.model_validate_json(sys.stdin.readline()))
        asyncio.run(process.run())
    except AssistantError as fault:
        _tell(Answer(what="error", text=str(fault)))
        return fault.exit_code
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
