"""The listening end: a socket, a protocol that waits for nobody, and the end of it all."""

import asyncio
import logging
import socket
import ssl
from pathlib import Path
from typing import Any, cast

import uvicorn
from starlette.types import ASGIApp
from uvicorn.protocols.http.h11_impl import H11Protocol, RequestResponseCycle

from assistant.errors import InputError

__all__ = ["LOCAL", "ViewServer", "hosts_of", "listen"]

LOCAL = "127.0.0.1"
USUAL = (80, 443)
"""Ports that a browser does not write."""
MOST_CONNECTIONS = 160
LONGEST_HEAD = 8192
"""Bytes of a request's line and headers."""
PATIENCE_S = 8.0
"""A connection that has not finished asking after so long is cut."""


def listen(host: str, port: int) -> socket.socket:
    """Open the socket.

    Args:
        host: address or name of this machine.
        port: 0 lets the system choose one.

    Raises:
        InputError: the address is not one of this machine, or the port is taken.
    """
    if not 0 <= port < 2**16:
        raise InputError(f"--view-port {port}: a port is a number from 0 to 65535.")
    try:
        found = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
        family, kind, proto, _, address = found[0]
        opened = socket.socket(family, kind, proto)
    except (OSError, UnicodeError) as fault:
        reason = getattr(fault, "strerror", None) or "it cannot be a name"
        raise InputError(f"--view-host {host}: no such address: {reason}.") from None
    try:
        opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        opened.bind(address)
        opened.listen(MOST_CONNECTIONS)
    except (OSError, OverflowError) as fault:
        opened.close()
        reason = getattr(fault, "strerror", None) or str(fault)
        raise InputError(
            f"The page cannot be served at {host} port {port} ({reason.lower()}): name an address "
            "of this machine and a free port with --view-host and --view-port."
        ) from None
    return opened


def hosts_of(host: str, port: int) -> frozenset[str]:
    """Return what a browser may send as Host for an address that was bound."""
    names = (LOCAL, "localhost") if host == LOCAL else (f"[{host}]" if ":" in host else host,)
    # Browsers leave out the port that is usual for http or https.
    bare = names if port in USUAL else ()
    return frozenset((*(f"{name}:{port}" for name in names), *bare))


class _Impatient(H11Protocol):
    """Cuts a connection on which no whole request arrives in time, the first or a later one."""

    _seen: RequestResponseCycle | None = None
    """The exchange that was over when the connection was last looked at."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override] # as the base has it
        super().connection_made(transport)
        self._timer = self.loop.call_later(PATIENCE_S, self._look)

    def _look(self) -> None:
        cycle = cast("RequestResponseCycle | None", self.cycle)  # None until the first request
        idle = cycle is None or cycle.response_complete
        if idle and cycle is self._seen:
            self.transport.abort()
            return
        self._seen = cycle if idle else None
        self._timer = self.loop.call_later(PATIENCE_S, self._look)

    def connection_lost(self, exc: Exception | None) -> None:
        self._timer.cancel()
        super().connection_lost(exc)


class ViewServer:
    """Serves one site on one socket until it is told to stop."""

    def __init__(
        self, app: ASGIApp, opened: socket.socket, tls: tuple[Path, Path] | None = None
    ) -> None:
        """Set up; nothing is served yet.

        Args:
            app: the site behind its guard.
            opened: the listening socket.
            tls: files of the certificate and its key, for another machine's browser.
        """
        for name in ("uvicorn", "uvicorn.error", "uvicorn.asgi", "asyncio", "sse_starlette"):
            # What strangers send is nothing to print into the operator's screen.
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        certificate: dict[str, Any] = {}
        if tls is not None:
            certificate = {"ssl_certfile": str(tls[0]), "ssl_keyfile": str(tls[1])}
        self._config = uvicorn.Config(
            app,
            http=_Impatient,
            ws="none",
            lifespan="off",
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=False,
            limit_concurrency=MOST_CONNECTIONS,
            h11_max_incomplete_event_size=LONGEST_HEAD,
            timeout_keep_alive=5,
            timeout_graceful_shutdown=1,
            **certificate,
        )
        if tls is not None:
            self._config.load()
            if self._config.ssl is not None:
                self._config.ssl.minimum_version = ssl.TLSVersion.TLSv1_3
        self._socket = opened
        self._server = uvicorn.Server(self._config)

    async def serve(self) -> None:
        """Serve until `stop`, or until the process is asked to end."""
        await self._server.serve(sockets=[self._socket])

    def stop(self) -> None:
        """End soon."""
        self._server.should_exit = True
