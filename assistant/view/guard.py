"""What every request must satisfy before it is looked at, and what every answer carries.

The page is same-origin only: a page from elsewhere, a name that was made to point here, and a form
posted from afar are refused before any route sees them.
"""

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["Guard"]

LONGEST_TARGET = 256
"""Characters of path and query; the page needs fewer than thirty."""

LARGEST_HEAD = 8192
"""Bytes of all headers."""

ALWAYS = {
    "Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "connect-src 'self'; media-src 'self'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # With "no-referrer" a browser would send the form's origin as "null".
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Cache-Control": "no-store",
}


class Guard:
    """Stands before the site."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str], scheme: str) -> None:
        """Guard a site.

        Args:
            app: the site.
            hosts: what may stand in the Host header, port included.
            scheme: "http" or "https".
        """
        self._app, self._hosts, self._scheme = app, hosts, scheme

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse a request or pass it on."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        refusal = self._refusal(scope)
        if refusal is None:
            await self._app(scope, receive, _with_headers(send))
            return
        await refusal(scope, receive, _with_headers(send))

    def _refusal(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        if headers.getlist("host") not in [[host] for host in self._hosts]:
            return PlainTextResponse("This name is not served here.", 421)
        if scope["method"] not in ("GET", "POST"):
            return PlainTextResponse("Only reading is possible.", 405)
        if sum(len(name) + len(value) for name, value in scope["headers"]) > LARGEST_HEAD:
            return PlainTextResponse("The request is too large.", 431)
        if len(scope["raw_path"]) + len(scope["query_string"]) > LONGEST_TARGET:
            return PlainTextResponse("The address is too long.", 414)
        own = f"{self._scheme}://{headers['host']}"
        foreign = headers.get("origin", own) != own
        site = headers.get("sec-fetch-site", "none")
        followed_link = headers.get("sec-fetch-mode") == "navigate" and scope["method"] == "GET"
        if foreign or (site not in ("same-origin", "none") and not followed_link):
            return PlainTextResponse("Requests from other pages are refused.", 403)
        return None


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(raw=message.setdefault("headers", []))
            for name, value in ALWAYS.items():
                headers[name] = value
        await send(message)

    return sending
