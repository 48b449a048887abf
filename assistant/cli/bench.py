"""`bench`: how well this machine listens, beside the raw engine."""

import argparse

from rich.console import Console

from assistant.cli.files import grammar_bytes
from assistant.errors import InputError
from assistant.grammar import parse_grammar
from assistant.speech.bench.material import require
from assistant.speech.bench.run import FULL, SMALL, Setting, report
from assistant.speech.utterance_verification import default_folder

MINUTES = 30
MINUTES_SMALL = 2


def run(options: argparse.Namespace) -> int:
    """Measure and print the table.

    Raises:
        DeviceError: the speech material or the second opinion's model is missing.
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
        second=options.second or default_folder(),
        half=options.half,
        minutes_of_noise=MINUTES_SMALL if options.small else MINUTES,
        digits=language.digits,
    )
    text = report(setting, SMALL if options.small else FULL, console.print)
    Console(highlight=False, soft_wrap=True, markup=False).print(text)
    return 0
