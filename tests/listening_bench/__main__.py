"""`python -m tests.listening_bench --into FOLDER`: how well this machine listens, as a table.

It stands beside the raw engine without any safeguard. The whole table takes an hour or more.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from rich.console import Console

from assistant.cli.files import grammar_bytes
from assistant.errors import AssistantError, InputError
from assistant.grammar import parse_grammar
from tests.listening_bench.material import require
from tests.listening_bench.run import FULL, SMALL, Setting, report

MINUTES: Final = 30
MINUTES_SMALL: Final = 2
"""Of noise alone."""


def parser() -> argparse.ArgumentParser:
    """Return the options."""
    options = argparse.ArgumentParser(prog="python -m tests.listening_bench", description=__doc__)
    options.add_argument("--grammar", default="en", help="grammar file or shipped language")
    options.add_argument(
        "--into", type=Path, required=True, help="folder where sound and scores are kept"
    )
    options.add_argument(
        "--only-phones", action="store_true", help="leave pocketsphinx out: ten minutes or so"
    )
    options.add_argument("--small", action="store_true", help="a quick look at fewer clips")
    options.add_argument(
        "--half",
        choices=("tuning", "test"),
        default="test",
        help="tuning: the clips that weights and thresholds were chosen on",
    )
    return options


def measure(options: argparse.Namespace) -> None:
    """Measure and print the table.

    Raises:
        DeviceError: the speech material is missing.
        InputError: the folder cannot be used.
    """
    require()
    if options.into.exists() and not options.into.is_dir():
        raise InputError(f"{options.into} is not a folder; name one for the sound and the scores.")
    console = Console(stderr=True, highlight=False)
    language = parse_grammar(*grammar_bytes(options.grammar))
    setting = Setting(
        phrases={intent.value: text for intent, text in language.phrases.items()},
        pronunciations=language.pronunciations,
        folder=options.into,
        half=options.half,
        minutes_of_noise=MINUTES_SMALL if options.small else MINUTES,
        digits=language.digits,
        only_phones=options.only_phones,
    )
    text = report(setting, SMALL if options.small else FULL, console.print)
    Console(highlight=False, soft_wrap=True, markup=False).print(text)


def main(arguments: Sequence[str] | None = None) -> int:
    """Measure; exit codes as the program's own."""
    try:
        measure(parser().parse_args(arguments))
    except AssistantError as fault:
        Console(stderr=True, highlight=False, soft_wrap=True).print(str(fault))
        return fault.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
