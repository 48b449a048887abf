"""A session as lines of text: what was said by whom, what was decided, what was noted."""

from typing import TypeAlias

from rich.console import Console
from rich.table import Table
from rich.text import Text

from assistant.journal.entry import Entry
from assistant.procedure.events import (
    AudioLost,
    ClockStepped,
    DeviceBack,
    DeviceLost,
    Event,
    Heard,
    NoiseRose,
    Opened,
    RemarkTaken,
    Resumed,
    SoundChecked,
    StorageTroubled,
    TimerRang,
    ViewerNoted,
)
from assistant.procedure.machine import Outcome

Notice: TypeAlias = (
    SoundChecked
    | DeviceLost
    | DeviceBack
    | AudioLost
    | ClockStepped
    | NoiseRose
    | StorageTroubled
    | ViewerNoted
)

_REASONS = {
    "no-phrase": "no phrase",
    "near-wording": "nearly a phrase",
    "other-label": "another batch or plan",
    "unclear": "not clear enough",
    "other-words": "other words around it",
    "contradicted": "taken back",
    "unanswered": "asked twice already",
    "too-early": "too early",
    "answer-wanted": "an answer is wanted first",
    "too-short": "too short",
    "too-long": "too long",
    "overflow": "sound was lost",
}


def describe(event: Event) -> str:
    """One event in a few words, without what was said because of it."""
    match event:
        case Heard():
            return _heard(event)
        case Opened():
            return f"record opened by {event.operator}; {event.engine}; {event.microphone}"
        case Resumed():
            return f"record resumed; {event.torn_bytes} torn bytes set aside"
        case TimerRang():
            return f"timer: {event.timer.value}"
        case RemarkTaken():
            return f"remark: {event.text}" if event.text else f"remark of {event.seconds} s kept"
        case _:
            return _notice(event)


def _notice(event: Notice) -> str:
    match event:
        case SoundChecked():
            return f"sound check: {event.snr_db} dB signal to noise"
        case DeviceLost():
            return f"{event.device} lost: {event.reason}"
        case DeviceBack():
            return f"{event.device} works: {event.name}"
        case AudioLost():
            return f"{event.milliseconds} ms of sound lost"
        case ClockStepped():
            return f"wall clock stepped by {event.seconds} s"
        case NoiseRose():
            return f"noise floor rose by {event.rise_db} dB"
        case StorageTroubled():
            return f"record could not be written for {event.seconds} s"
        case ViewerNoted():
            tried = f"; {event.wrong_codes} wrong codes so far" if event.wrong_codes else ""
            return f"viewer {event.viewer} {event.did}, {event.address}{tried}"


def _heard(event: Heard) -> str:
    by = {"voice": "", "text": " (typed)", "key": " (key)"}[event.source]
    quoted = f'"{event.text}"{by}' if event.text else f"something{by}"
    if event.decision == "accept":
        return quoted
    reason = _REASONS.get(event.reason, event.reason)
    return f"{quoted} {'in doubt' if event.decision == 'ask' else 'refused'}: {reason}"


class Transcript:
    """Prints each entry when it is on record."""

    def __init__(self, console: Console) -> None:
        """Print to `console`."""
        self._console = console
        self._began: int | None = None

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:
        """Print what happened and what the program says to it."""
        mono = int(entry.mono)
        if self._began is None:
            self._began = mono
        seconds = (mono - self._began) / 1e9
        stamp = f"{int(seconds // 60):3d}:{seconds % 60:04.1f}"
        style = self._style(event, advanced=outcome.advanced)
        sign = Text.assemble((f"{stamp}  ", "dim"), ("< ", style))
        self._print(sign, Text(describe(event), style=style))
        if said:
            self._print(Text.assemble(" " * (len(stamp) + 2), ("> ", "bold cyan")), Text(said))

    def _print(self, sign: Text, words: Text) -> None:
        """Print on one line; on a terminal further lines begin below the words."""
        if not self._console.is_terminal:
            self._console.print(sign + words, soft_wrap=True)
            return
        beside = Table.grid()
        beside.add_column(no_wrap=True)
        beside.add_column()
        beside.add_row(sign, words)
        self._console.print(beside)

    def trouble(self, reason: str) -> None:
        """Print why everything stands still."""
        self._console.print(Text(f"HOLD: {reason}", style="bold red"))

    @staticmethod
    def _style(event: Event, *, advanced: bool) -> str:
        if not isinstance(event, Heard):
            return "dim"
        return "green" if advanced else "yellow"
