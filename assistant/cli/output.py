"""How commands print: whole sentences to a file, sentences broken between words on a terminal."""

from rich.console import Console

__all__ = ["terminal"]


def terminal() -> Console:
    """Return a console that takes text as it is; tables are fitted to 80 columns or the window."""
    # Without emoji, too: pairs of digits between colons, as of a fingerprint, may be names of some.
    console = Console(highlight=False, markup=False, emoji=False)
    console.soft_wrap = not console.is_terminal
    return console
