"""`rehearse`: a whole session with a simulated operator."""

import contextlib
import tempfile
from dataclasses import dataclass
from pathlib import Path

from assistant.cli.files import grammar_bytes, plan_bytes, script_bytes
from assistant.cli.output import terminal
from assistant.cli.summary import show_end
from assistant.cli.view_options import page_of
from assistant.console.transcript import Transcript
from assistant.rehearsal.script import Script, parse_script
from assistant.session.engine_factory import EngineChoice
from assistant.session.rehearse import Rehearsal, RehearsalSettings
from assistant.session.session_loop import Observer


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `rehearse`."""

    plan: str
    grammar: str
    into: Path | None
    script: str | None
    seed: int
    snr_db: float
    voice: str
    real_time: bool
    aloud: bool
    quiet: bool
    view: bool
    view_port: int
    engine: EngineChoice
    model: Path | None


def run(options: Options) -> int:
    """Rehearse; 0 when the record closed as complete, or as the script wanted it to end."""
    console = terminal()
    plan, plan_name = plan_bytes(options.plan)
    grammar, grammar_name = grammar_bytes(options.grammar)
    script = Script(title="by the book")
    if options.script:
        script = parse_script(*script_bytes(options.script))
    into = options.into or Path(tempfile.mkdtemp(prefix="rehearsal-")) / "record"
    settings = RehearsalSettings(
        plan=plan,
        plan_name=plan_name,
        grammar=grammar,
        grammar_name=grammar_name,
        into=into,
        script=script,
        seed=options.seed,
        snr_db=options.snr_db,
        voice=options.voice,
        real_time=options.real_time or options.aloud or options.view,
        engine=options.engine,
        model=options.model,
    )
    speaker = None
    if options.aloud:
        from assistant.session.audio_devices import loudspeaker  # noqa: PLC0415 - needs an audio device

        speaker = loudspeaker()
    observers: list[Observer] = [] if options.quiet else [Transcript(console)]
    with contextlib.ExitStack() as stack:
        page = page_of(into, options.view_port).link if options.view else None
        rehearsal = Rehearsal(settings, [*observers, page] if page else observers, speaker)
        if page:
            console.print(f"page for a second person: {stack.enter_context(page).url}")
        session = rehearsal.run()
    effort = rehearsal.effort
    console.print(
        f"hearing: {effort.repeated} phrases repeated, {effort.asked} asked back, "
        f"{effort.rescued} entered by hand because they were not understood",
    )
    show_end(console, session, into)
    return 0
