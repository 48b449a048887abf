"""`replay`: a record told again, in its own time or faster, from the beginning or from a spot."""

import contextlib
import importlib.util
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from assistant.cli.output import terminal
from assistant.conformance import FoldedEntry
from assistant.console.transcript import Transcript
from assistant.errors import DeviceError, InputError
from assistant.grammar.rendering import sentence
from assistant.procedure.effects import Say
from assistant.procedure.enums import INSERTING
from assistant.procedure.events import Event, Heard, RemarkTaken
from assistant.record import OpenRecord, open_record
from assistant.session.view_link import NO_LIBRARIES
from assistant.storage.record_reader import RecordReader

LONGEST_WAIT_S = 30.0
SLOWEST = 0.01


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `replay`."""

    record: Path
    speed: float
    aloud: bool
    view: bool
    view_port: int
    start: int | None
    deviation: int | None
    location: str | None


def run(options: Options) -> int:
    """Retell a record; with --aloud also its clips and prompts.

    Raises:
        InputError: the speed is none, or the record has no such spot.
        RecordBroken: the record does not hold, up to where it was told.
    """
    if not options.speed >= SLOWEST:  # not a number is not above it either
        raise InputError(f"--speed {options.speed:g}: give {SLOWEST} or more.")
    console = terminal()
    record = open_record(options.record)
    if options.view:
        return _in_browser(record, options, console)
    transcript = Transcript(console)
    voice = _Player(record.view) if options.aloud else None
    before: int | None = None
    boot = ""
    for told in _from(record, options):
        mono = int(told.entry.mono)
        if before is not None and boot == told.entry.boot:
            time.sleep(min((mono - before) / 1e9, LONGEST_WAIT_S) / options.speed)
        before, boot = mono, told.entry.boot
        said = " ".join(
            sentence(record.language, effect, spoken=True)
            for effect in told.outcome.effects
            if isinstance(effect, Say)
        )
        transcript.entered(told.entry, told.event, told.outcome, said)
        if voice is not None:
            voice.play(told.event, said)
    return 0


def _in_browser(record: OpenRecord, options: Options, console: Console) -> int:
    """Serve the record as a page with a time line, until interrupted."""
    if options.aloud:
        raise InputError("--view plays the sounds in the browser: leave out --aloud.")
    # Imported here, since the page is an extra.
    if importlib.util.find_spec("starlette") is None:
        raise DeviceError(NO_LIBRARIES)
    from assistant.session.view_replay import serve_replay, told_pages  # noqa: PLC0415

    start = next(_from(record, options)).entry.seq if _spot(options) else 0
    told = told_pages(record)
    with contextlib.suppress(KeyboardInterrupt):
        serve_replay(
            record,
            told,
            start,
            options.view_port,
            lambda url: console.print(f"replay: {url} (interrupt with Ctrl-C)"),
        )
    return 0


def _spot(options: Options) -> bool:
    """Whether it is to begin elsewhere than at the beginning."""
    return (options.start, options.deviation, options.location) != (None, None, None)


def _from(record: OpenRecord, options: Options) -> Iterator[FoldedEntry]:
    """Yield what is to be told; everything before it is proved all the same."""
    begun = False
    for told in record.told():
        begun = begun or _begins(told, options)
        if begun:
            yield told
    if not begun:
        raise InputError(f"The record in {options.record} has no {_wanted(options)}.")


def _begins(told: FoldedEntry, options: Options) -> bool:
    session = told.outcome.session
    if options.start is not None:
        return bool(told.entry.seq >= max(1, options.start))
    if options.deviation is not None:
        return bool(len(session.deviations) >= options.deviation > 0)
    if options.location is not None:
        there: bool = session.location.code.casefold() == options.location.casefold()
        return there and session.step in INSERTING
    return True


def _wanted(options: Options) -> str:
    if options.start is not None:
        return f"entry {options.start}"
    if options.deviation is not None:
        return f"deviation {options.deviation}"
    if options.location is not None:
        return f"insertion at {options.location}"
    return "entry"


class _Player:
    """Plays what the operator said and what the program answered, one after the other."""

    def __init__(self, view: RecordReader) -> None:
        from assistant.session.audio_devices import loudspeaker  # noqa: PLC0415 - needs an audio device

        self._view = view
        self._speaker = loudspeaker()

    def play(self, event: Event, said: str) -> None:
        """Play an entry and return when it has been heard."""
        clip = event.clip if isinstance(event, Heard | RemarkTaken) else ""
        if clip:
            self._wait(lambda done: self._speaker.play(self._view.clip(clip), done))
        if said:
            self._wait(lambda done: self._speaker.say(said, done))

    @staticmethod
    def _wait(start: Callable[[Callable[[], None]], None]) -> None:
        over = threading.Event()
        start(over.set)
        over.wait()
