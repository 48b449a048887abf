"""The command line: `sampling-assistant COMMAND`.

Exit codes: 0 done; 1 the answer is no (plan unfit, record broken, criterion not met); 2 bad input;
3 a device, library or model is missing; 4 criteria met, but points are open (`evaluate`).
"""

import contextlib
import io
import os
import sys
from collections.abc import Sequence

from assistant.cli.parser import build_parser
from assistant.errors import AssistantError, InputError
from assistant.printable import printable

INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; nothing a user can cause ends in a traceback."""
    _spell_what_the_terminal_lacks()
    options = build_parser().parse_args(arguments)
    try:
        code = int(options.command(options))
        sys.stdout.flush()
    except AssistantError as fault:
        _complain(printable(str(fault)))
        return fault.exit_code
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        _complain("interrupted; what is on record stays.")
        return INTERRUPTED
    except OSError as fault:
        # Every file that a command opens is named; what is left is where its output goes.
        if fault.filename is not None:
            raise
        _complain(f"The output could not be written: {fault.strerror}.")
        _drop_output()
        return InputError.exit_code
    return code


def _complain(sentence: str) -> None:
    print(f"sampling-assistant: {sentence}", file=sys.stderr)  # noqa: T201 - the program's voice


def _spell_what_the_terminal_lacks() -> None:
    """Print letters that the terminal's encoding lacks as their codes instead of failing."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def _drop_output() -> None:
    """Let what could not be written go, so that it is not tried again at the exit."""
    with contextlib.suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
