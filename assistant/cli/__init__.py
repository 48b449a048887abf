"""The command line: `sampling-assistant COMMAND`.

Exit codes: 0 done; 1 the answer is no (plan unfit, record broken, criterion not met); 2 bad input;
3 a device, library or model is missing; 4 criteria met, but points are open (`evaluate`).
"""

import sys
from collections.abc import Sequence

from assistant.cli.parser import build_parser
from assistant.errors import AssistantError
from assistant.printable import printable

INTERRUPTED = 130


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; nothing a user can cause ends in a traceback."""
    options = build_parser().parse_args(arguments)
    try:
        return int(options.command(options))
    except AssistantError as fault:
        print(f"sampling-assistant: {printable(str(fault))}", file=sys.stderr)  # noqa: T201 - the program's voice
        return fault.exit_code
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        print("sampling-assistant: interrupted; what is on record stays.", file=sys.stderr)  # noqa: T201 - as above
        return INTERRUPTED
