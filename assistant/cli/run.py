"""`run`: the live session."""

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from rich.console import Console, RenderableType
from rich.live import Live

from assistant.cli.clock_affirmation import affirm_clock
from assistant.cli.engine_options import EngineOptions, chosen_engine
from assistant.cli.files import grammar_bytes, plan_bytes
from assistant.cli.output import terminal
from assistant.cli.station_records import StationRecords
from assistant.cli.summary import show_end
from assistant.cli.view_options import Page, SessionPage, page_of
from assistant.clock import ManualClock
from assistant.console.panel import opening_panel, panel
from assistant.console.transcript import Transcript, describe
from assistant.errors import InputError
from assistant.grammar import Language, parse_grammar
from assistant.journal.entry import Entry
from assistant.plan import parse_plan
from assistant.procedure.enums import State
from assistant.procedure.events import Event, Heard
from assistant.procedure.machine import Outcome
from assistant.procedure.model import Session
from assistant.session.audio_devices import Wanted, open_devices
from assistant.session.live import LiveSession, Setting, first_operator
from assistant.session.pronunciation_check import refuse_alike
from assistant.speech.keyboard import ENTER
from assistant.storage.record_reader import RecordReader
from assistant.storage.record_writer import RecordFolder

CAUTION = """\
A vessel can move, powder can burn, tip over or harm. Follow your site's procedures, local codes and
licensed practice. This program records; it never grants permission."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Options(EngineOptions):
    """Options of `run`."""

    plan: str | None
    grammar: str
    into: Path
    operator: str | None
    audio: Path | None
    resume: bool
    microphone: str
    speaker: str
    silent: bool
    keyboard: bool
    headset: bool
    key: Literal["enter", "space"]
    plain: bool
    register: Path | None
    authority_url: str | None
    authority: Path | None
    view: bool
    view_port: int
    view_host: str | None


def run(options: Options) -> int:
    """Run a session; 0 when its record closed as complete, 1 when incomplete or still open."""
    console = terminal()
    console.print(CAUTION, style="bold")
    with contextlib.ExitStack() as stack:
        language, opened = _words(options, stack)
        engine, profile_sha256 = chosen_engine(options, language)
        panel_on = console.is_terminal and not options.plain and options.audio is None
        devices = stack.enter_context(open_devices(_wanted(options, echoed=panel_on)))
        station = StationRecords(
            options.into, options.register, options.authority_url, options.authority
        )
        page = SessionPage(console, _page(options))
        watcher = _Watcher(console, lambda: devices.typed, page, panel=panel_on)
        clock, affirmed = _clock(console, options)
        setting = Setting(
            language=language,
            engine=engine,
            speaker=devices.speaker,
            microphone=devices.microphone_name,
            listens=not options.keyboard and options.audio is None,
            shown=watcher.show,
            delays=devices.delays,
            operator=options.operator or "",
            profile_sha256=profile_sha256,
            headset=options.headset,
            stamp_authority=options.authority_url or "",
            clock_affirmed=affirmed,
            observers=(watcher, *station.observers, *page.observers),
            on_tick=watcher.tick,
        )
        live = LiveSession(opened(), setting, devices.queue, clock)
        # Before the microphone is open, so that the sound check does not hear the fingerprint.
        page.open(stack, language, devices.speaker)
        devices.start()
        with watcher.shown():
            session = live.run(devices.blocks())
        station.finish(console)
    return _ended(console, session, options.into)


def _ended(console: Console, session: Session, into: Path) -> int:
    """Show how a session ended; return the exit code."""
    show_end(console, session, into)
    if session.state is State.CLOSED:
        return 0
    if session.state is not State.STOPPED:
        console.print(f"the record is open: go on with --resume --into {into}")
    return 1


def _page(options: Options) -> Page | None:
    """The page for a second person, if one is wanted."""
    if not (options.view or options.view_host):
        return None
    return page_of(options.into, options.view_port, options.view_host)


def _clock(
    console: Console, options: Options
) -> tuple[ManualClock | None, Literal["", "yes", "not asked"]]:
    """The clock of a file of sound, or None for the machine's, and whether that was affirmed."""
    if options.audio:
        return ManualClock(), ""
    begun = options.resume and any(RecordReader(options.into).lines())
    return None, affirm_clock(console, asks=not begun)


def _wanted(options: Options, *, echoed: bool) -> Wanted:
    return Wanted(
        audio=options.audio,
        microphone=options.microphone or "",
        speaker=options.speaker or "",
        keyboard_only=options.keyboard,
        silent=options.silent,
        confirm_key=" " if options.key == "space" else ENTER,
        echoed=echoed,
    )


def _words(
    options: Options, stack: contextlib.ExitStack
) -> tuple[Language, Callable[[], RecordFolder]]:
    """The language to work in, and what opens the record: a new one only when all else is there."""
    if options.resume:
        folder = stack.enter_context(_resumed(options))
        return parse_grammar(folder.grammar, str(folder.path / "grammar.toml")), lambda: folder
    if not options.plan:
        raise InputError("Name the plan to follow, or --resume to go on with a record.")
    plan, name = plan_bytes(options.plan)
    read = parse_plan(plan, name)
    grammar, grammar_name = grammar_bytes(options.grammar)
    language = parse_grammar(grammar, grammar_name)
    refuse_alike(language, read)
    first_operator(read, options.operator or "")
    return language, lambda: stack.enter_context(RecordFolder.create(options.into, plan, grammar))


def _resumed(options: Options) -> RecordFolder:
    """Open the record to go on with; the plan need not be named, but if it is, it must be it."""
    folder = RecordFolder.open(options.into)
    if options.plan and plan_bytes(options.plan)[0] != folder.plan:
        folder.close()
        raise InputError(f"The record in {options.into} follows another plan than {options.plan}.")
    return folder


class _Watcher:
    """Shows the session: a panel on a terminal, else lines."""

    def __init__(
        self, console: Console, typed: Callable[[], str], page: SessionPage, *, panel: bool
    ) -> None:
        self._console = console
        self._typed = typed
        self._page = page
        self._panel = panel
        self._transcript = Transcript(console)
        self._live: LiveSession | None = None
        self._said = self._heard = self._trouble = ""

    @contextlib.contextmanager
    def shown(self) -> Iterator[None]:
        """Keep the panel on the screen while the session runs."""
        if not self._panel:
            yield
            return
        with Live(console=self._console, get_renderable=self._drawn, refresh_per_second=8):
            yield

    def show(self, words: str) -> None:
        """Show what is said before the session begins."""
        self._said = words
        if not self._panel:
            self._console.print(words)

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:
        """Keep the last words, or print a line."""
        self._said, self._trouble = said or self._said, ""
        if isinstance(event, Heard):
            self._heard = describe(event)
        if not self._panel:
            self._transcript.entered(entry, event, outcome, said)

    def trouble(self, reason: str) -> None:
        """Show why everything stands still."""
        self._trouble = reason
        if not self._panel:
            self._transcript.trouble(reason)

    def tick(self, live: LiveSession) -> None:
        """Keep the session, which the panel's own thread draws; see to the page."""
        self._live = live
        self._page.tick(live)

    def _drawn(self) -> RenderableType:
        """Draw the panel as things stand."""
        live = self._live
        if live is None:
            return opening_panel(self._said, self._typed())
        return panel(
            live.language,
            live.loop.session,
            said=self._said,
            heard=self._heard,
            typed=self._typed(),
            trouble=self._trouble,
            level_dbfs=live.level_dbfs if live.hears else None,
            timer_s=live.loop.timers.left_s(live.clock.now().mono_ns),
        )
