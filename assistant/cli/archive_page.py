"""`archive page`: the archive in a browser on this machine, read only."""

from dataclasses import dataclass

import uvicorn

from assistant.archive.page import page
from assistant.cli.archive_common import opened
from assistant.cli.output import terminal
from assistant.errors import InputError

_HOST = "127.0.0.1"
_LOWEST, _HIGHEST = 1024, 65535


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `archive page`."""

    archive: str | None
    port: int


def run(options: Options) -> int:
    """Serve the page until interrupted.

    Raises:
        InputError: the port cannot be used.
        ArchiveError: the database cannot be used, or there is none.
    """
    if not _LOWEST <= options.port <= _HIGHEST:
        raise InputError(f"--port {options.port} is not between {_LOWEST} and {_HIGHEST}.")
    with opened(options.archive) as archive:
        terminal().print(f"http://{_HOST}:{options.port}/ shows the archive; Ctrl+C ends it.")
        try:
            uvicorn.run(
                page(archive),
                host=_HOST,
                port=options.port,
                log_level="critical",
                server_header=False,
            )
        except SystemExit:
            # uvicorn's way to say that it could not begin.
            raise InputError(
                f"Port {options.port} cannot be used here: name another with --port."
            ) from None
    return 0
