"""The machine's clock, shown and affirmed before a record rests on it."""

import sys
from typing import Literal

from rich.console import Console

from assistant.clock import SystemClock
from assistant.errors import InputError
from assistant.session.station import this_station

YES = ("y", "yes")


def affirm_clock(console: Console, *, asks: bool) -> Literal["yes", "not asked"]:
    """Show date, time, zone and synchronisation, and ask whether they are right.

    Args:
        console: to show it on.
        asks: False where a record goes on that was begun with an affirmed clock.

    Returns:
        "not asked" where nobody sits at a terminal.

    Raises:
        InputError: they are not affirmed.
    """
    console.print(this_station().clock_line(SystemClock().now().utc))
    if not asks or not sys.stdin.isatty():
        return "not asked"
    console.print("Are date, time, zone and synchronisation as they should be? Type yes to begin.")
    if sys.stdin.readline().strip().lower() not in YES:
        raise InputError(
            "No session was begun: the machine's clock was not affirmed. Set it, and start again."
        )
    return "yes"
