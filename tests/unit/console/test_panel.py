"""The panel of a live session: what must be seen at every moment."""

from rich.console import Console, RenderableType

from assistant.console.panel import meter, opening_panel, panel
from assistant.grammar.language import parse_grammar
from assistant.plan import parse_plan
from assistant.procedure.events import Opened
from assistant.procedure.machine import step
from assistant.procedure.model import Session, begin
from assistant.storage import bundled_files

LANGUAGE = parse_grammar(bundled_files.read_grammar("en"), "en")
PLAN = parse_plan(bundled_files.read_plan("double-cone"), "double-cone")
OPENED = Opened(
    software="s",
    plan_sha256="0" * 64,
    grammar_sha256="0" * 64,
    operator="Mira Oostveld",
    engine="typed",
    microphone="keyboard",
    speaker="none",
    kind="live",
)


def shown(drawn: RenderableType) -> str:
    """What stands on a screen of 100 columns."""
    console = Console(width=100, force_terminal=False, color_system=None)
    with console.capture() as taken:
        console.print(drawn)
    return taken.get()


def opened() -> Session:
    """A session that waits for the first caution."""
    return step(begin(PLAN), OPENED).session


def drawn(session: Session, **given: object) -> str:
    """The panel of a session."""
    words: dict[str, object] = {"said": "", "heard": "", "typed": "", "trouble": ""}
    words |= {"level_dbfs": None, "timer_s": None}
    return shown(panel(LANGUAGE, session, **(words | given)))  # type: ignore[arg-type]  # varied by test


def test_the_pending_instruction_stays() -> None:
    """An answer to a question does not hide what is to be done; the answer stands below."""
    text = drawn(opened(), said="We are at nothing yet.")
    assert "isolated and locked out the vessel?" in text
    assert "said  We are at nothing yet." in text
    again = drawn(opened(), said="Has your site's procedure isolated and locked out the vessel?")
    assert again.count("locked out the vessel?") == 1


def test_before_the_opening_the_last_words_stand_there() -> None:
    """In the sound check there is no step yet; what is typed is shown there too."""
    assert "Please be quiet" in drawn(begin(PLAN), said="Please be quiet.")
    text = shown(opening_panel("Say: over", "over"))
    assert "Say: over" in text
    assert "over_" in text


def test_typed_text_and_trouble_are_shown() -> None:
    """Marks of a markup language are letters like others."""
    text = drawn(opened(), typed="stand [b]", heard='"[x]" (typed)', trouble="the disk is full")
    assert "stand [b]_" in text
    assert '"[x]" (typed)' in text
    assert "the disk is full" in text
    assert "HOLD" not in drawn(opened())


def test_a_level_is_never_a_riddle() -> None:
    """No microphone and a dead one are words; a level is a bar with its figure."""
    assert meter(None) == "no microphone"
    assert meter(-120.0) == "no sound from the microphone"
    assert meter(-30.0) == "|############............| -30 dB"
    assert "no microphone" in drawn(opened())
