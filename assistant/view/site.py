"""The site: the page and its parts, the stream of events, and in a replay the time line."""

import asyncio
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files

from sse_starlette import EventSourceResponse
from starlette.applications import Starlette
from starlette.requests import ClientDisconnect, Request
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from assistant.view.admission import Admission, Refused
from assistant.view.guard import Guard
from assistant.view.publisher import Publisher
from assistant.view.wav import wav_response

__all__ = ["COOKIE", "Replay", "Site", "pages"]

COOKIE = "viewer"
LONGEST_CODE = 64
"""Bytes of a posted code; more is no code."""
STALLED_S = 5.0
"""A viewer who takes nothing for so long is cut off."""

_PARTS: Mapping[str, tuple[str, str]] = {
    "/page.css": ("page.css", "text/css"),
    "/page.js": ("page.js", "text/javascript"),
    "/picture.js": ("picture.js", "text/javascript"),
}


def pages() -> dict[str, bytes]:
    """Return every file of the page by its name; they are small and never read again."""
    names = ("page.html", "join.html", *(name for name, _ in _PARTS.values()))
    folder = files("assistant.view") / "page"
    return {name: (folder / name).read_bytes() for name in names}


@dataclass(frozen=True, slots=True)
class Replay:
    """A whole record to scrub through."""

    timeline: str
    """JSON: number, milliseconds and kind of every entry."""
    states: Sequence[str]
    """JSON of the page before the first entry, then after each."""
    head: Callable[[int], str]
    """JSON of the head code of an entry."""
    clip: Callable[[int], bytes | None]
    """Samples (mono, 16-bit) of what was said in an entry, None where there are none."""


@dataclass(frozen=True, slots=True)
class Site:
    """What is served, and to whom."""

    plan: str
    """JSON of `PlanPicture`, with the mode."""
    publisher: Publisher
    admission: Admission | None = None
    """None where only this machine can connect."""
    replay: Replay | None = None

    def app(self, hosts: frozenset[str], scheme: str) -> ASGIApp:
        """Return the site behind its guard.

        Args:
            hosts: what may stand in the Host header, port included.
            scheme: "http" or "https".
        """
        routes = [
            Route("/", self._page),
            Route("/plan", self._plan),
            Route("/events", self._events),
            *(Route(path, self._part) for path in _PARTS),
        ]
        if self.admission is not None:
            routes.append(Route("/join", self._join, methods=["POST"]))
        if self.replay is not None:
            routes += [
                Route("/timeline", self._timeline),
                Route("/state/{seq:int}", self._state),
                Route("/clip/{seq:int}", self._clip),
            ]
        return Guard(Starlette(routes=routes), hosts, scheme)

    def _may_look(self, request: Request) -> bool:
        token = request.cookies.get(COOKIE, "")
        return self.admission is None or self.admission.known(token)

    async def _page(self, request: Request) -> Response:
        name = "page.html" if self._may_look(request) else "join.html"
        return Response(_files()[name], media_type="text/html")

    async def _part(self, request: Request) -> Response:
        name, kind = _PARTS[request.url.path]
        return Response(_files()[name], media_type=kind)

    async def _plan(self, request: Request) -> Response:
        return self._json(request, self.plan)

    async def _timeline(self, request: Request) -> Response:
        assert self.replay is not None  # noqa: S101 - the route exists in a replay only
        return self._json(request, self.replay.timeline)

    async def _state(self, request: Request) -> Response:
        assert self.replay is not None  # noqa: S101 - as above
        seq = int(request.path_params["seq"])
        if seq >= len(self.replay.states):
            return PlainTextResponse("There is no such entry.", 404)
        head = self.replay.head(seq) if seq else "null"
        return self._json(request, f'{{"page":{self.replay.states[seq]},"head":{head}}}')

    async def _clip(self, request: Request) -> Response:
        assert self.replay is not None  # noqa: S101 - as above
        seq = int(request.path_params["seq"])
        pcm = self.replay.clip(seq) if 0 < seq < len(self.replay.states) else None
        if pcm is None:
            return PlainTextResponse("Nothing was recorded there.", 404)
        return wav_response(pcm)

    def _json(self, request: Request, text: str) -> Response:
        if not self._may_look(request):
            return PlainTextResponse("Ask the operator for a code.", 401)
        return Response(text, media_type="application/json")

    async def _join(self, request: Request) -> Response:
        assert self.admission is not None  # noqa: S101 - the route exists with codes only
        try:
            async with asyncio.timeout(STALLED_S):
                code = await _posted(request)
            token = await self.admission.take(code, _address(request))
        except Refused as refusal:
            return _asked_again(f"{refusal}.".capitalize(), 429 if refusal.busy else 403)
        except (ClientDisconnect, TimeoutError, ValueError):
            return _asked_again("That is no code.", 400)
        answer = RedirectResponse("/", 303)
        answer.set_cookie(COOKIE, token, secure=True, httponly=True, samesite="strict")
        return answer

    async def _events(self, request: Request) -> Response:
        if not self._may_look(request):
            return PlainTextResponse("Ask the operator for a code.", 401)
        if self.publisher.full:
            return PlainTextResponse("No more viewers fit; try again later.", 503)
        given = request.headers.get("last-event-id", "")
        last = int(given) if given.isascii() and given.isdigit() and len(given) < 16 else -1  # noqa: PLR2004 - no record is longer
        return EventSourceResponse(
            self._stream(request, last), send_timeout=STALLED_S, ping=15, sep="\n"
        )

    async def _stream(self, request: Request, last: int) -> AsyncIterator[bytes]:
        token, address = request.cookies.get(COOKIE, ""), _address(request)
        if self.admission is not None:
            self.admission.arrived(token, address)
        try:
            async for message in self.publisher.messages(last):
                yield message.event()
        finally:
            if self.admission is not None:
                self.admission.went(token)


def _asked_again(why: str, status: int) -> Response:
    form = _files()["join.html"].replace(b"<!-- why -->", why.encode())
    return Response(form, status, media_type="text/html")


async def _posted(request: Request) -> str:
    """The code of a posted form; reads no more than a code can be long.

    Raises:
        ValueError: it is longer, or not what the form sends.
    """
    body = b""
    async for piece in request.stream():
        body += piece
        if len(body) > LONGEST_CODE:
            raise ValueError("longer than any code")
    name, _, value = body.decode("ascii").partition("=")
    if name != "code":
        raise ValueError("not the form")
    return value.replace("+", " ")


def _address(request: Request) -> str:
    return request.client.host if request.client else "unknown"


_READ: dict[str, bytes] = {}


def _files() -> dict[str, bytes]:
    if not _READ:
        _READ.update(pages())
    return _READ
