"""Keeps what C libraries write to the standard error away from the terminal.

ALSA, JACK and PortAudio write there whenever a device is looked for; on a terminal that tears the
panel and hides the program's own words.
"""

import contextlib
import os
import sys
from collections.abc import Iterator

__all__ = ["chatter_kept_out"]

_STDERR = 2


@contextlib.contextmanager
def chatter_kept_out() -> Iterator[None]:
    """Discard what is written to file descriptor 2; `sys.stderr` still leads where it led."""
    ours, before = os.dup(_STDERR), sys.stderr
    nowhere = os.open(os.devnull, os.O_WRONLY)
    with contextlib.ExitStack() as stack:
        stack.callback(os.close, ours)
        if _leads_to_stderr():
            sys.stderr = stack.enter_context(
                open(
                    ours,
                    "w",
                    buffering=1,
                    encoding=before.encoding,
                    errors=before.errors,
                    closefd=False,
                )
            )
        os.dup2(nowhere, _STDERR)
        os.close(nowhere)
        try:
            yield
        finally:
            os.dup2(ours, _STDERR)
            sys.stderr = before


def _leads_to_stderr() -> bool:
    """Whether Python's standard error is the process's; a test or a service may exchange it."""
    try:
        return sys.stderr.fileno() == _STDERR
    except (AttributeError, OSError, ValueError):
        return False
