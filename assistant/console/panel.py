"""The panel of a live session, readable at three metres and without colour."""

from rich.console import Group, RenderableType
from rich.panel import Panel
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from assistant.grammar.language import Language
from assistant.grammar.rendering import phrase, sentence
from assistant.procedure import queries
from assistant.procedure.effects import Say
from assistant.procedure.enums import State
from assistant.procedure.model import Session
from assistant.procedure.prompts import again, tally

_FLOOR_DBFS = -60.0
_METER = 24
_SILENT_DBFS = -100.0
"""No microphone in a room is so quiet: it is off, muted, or another one is plugged in."""


def panel(
    language: Language,
    session: Session,
    *,
    said: str,
    heard: str,
    typed: str,
    trouble: str,
    level_dbfs: float | None,
    timer_s: float | None,
) -> RenderableType:
    """Draw the state of a session.

    Args:
        language: the words of the phrases.
        session: as it stands.
        said: the last prompt; shown beside the pending instruction where it is another.
        heard: the last utterance and what became of it.
        typed: what is being typed.
        trouble: why everything stands still, "" where it does not.
        level_dbfs: input level, None without a microphone.
        timer_s: seconds until the next timer, None when none runs.
    """
    counted = tally(session)
    grid = Table.grid(padding=(0, 2))
    grid.add_column(style="bold", justify="right")
    grid.add_column()
    now = instruction(language, session)
    if trouble:
        grid.add_row("HOLD", Text(trouble, style="bold red"))
    grid.add_row("now", Text(now or said or "-", style="bold"))
    if said and now and said != now:
        grid.add_row("said", Text(said))
    grid.add_row("heard", Text(heard or "-"))
    options = [phrase(language, meaning) for meaning in queries.advancing(session)]
    grid.add_row("answer", Text(" / ".join(options) or "-", style="bold cyan"))
    grid.add_row("step", _step(language, session))
    taken, planned = int(counted["taken"]), int(counted["planned"])
    grid.add_row("typed", Text(f"{typed}_"))
    grid.add_row("samples", f"{taken} of {planned}")
    grid.add_row("", ProgressBar(total=planned, completed=taken, width=40))
    grid.add_row("open", f"{len(session.open_deviations)} deviations")
    grid.add_row("timer", "-" if timer_s is None else f"{max(timer_s, 0.0):.0f} s")
    grid.add_row("level", meter(level_dbfs))
    always = ", ".join(phrase(language, meaning) for meaning in queries.at_any_moment(session))
    return Panel(Group(grid, Text(f"at any moment: {always}", style="dim")), title="sampling")


def opening_panel(said: str, typed: str) -> RenderableType:
    """Draw what is asked before the session begins, such as during the sound check."""
    grid = Table.grid(padding=(0, 2))
    grid.add_column(style="bold", justify="right")
    grid.add_column()
    grid.add_row("now", Text(said or "-", style="bold"))
    grid.add_row("typed", Text(f"{typed}_"))
    return Panel(grid, title="sampling")


def instruction(language: Language, session: Session) -> str:
    """The instruction that waits for an answer, as it is read; "" before the record is opened."""
    if session.state is State.NEW:
        return ""
    says = [effect for effect in again(session) if isinstance(effect, Say)]
    return " ".join(sentence(language, say, spoken=False) for say in says)


def _step(language: Language, session: Session) -> str:
    name = language.names.get(session.step.value, session.step.value)
    if not session.progress.insertions:
        return name
    return f"{name}, location {session.location.code}, shaft at {session.position.value}"


def meter(level_dbfs: float | None) -> str:
    """A level as a bar of signs with its figure; dB relative to full scale."""
    if level_dbfs is None:
        return "no microphone"
    if level_dbfs < _SILENT_DBFS:
        return "no sound from the microphone"
    share = min(max(1 - level_dbfs / _FLOOR_DBFS, 0.0), 1.0)
    filled = round(share * _METER)
    return f"[{'#' * filled}{'.' * (_METER - filled)}] {level_dbfs:.0f} dB".replace(
        "[", "|"
    ).replace("]", "|")
