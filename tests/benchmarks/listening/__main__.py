"""Print the table of the listening for this machine.

    python tests/benchmarks/listening --into FOLDER [--small] [--second MODEL-FOLDER]

The first run renders and scores every clip; what is kept in FOLDER is not done again.
Take another FOLDER after a change of the phrases, the cutting or the engine's passes; a change of
weights or thresholds alone needs no new evidence.
"""

import argparse
import sys
import tomllib
from pathlib import Path

from assistant.speech.acceptance.second import default_folder
from assistant.speech.bench.run import FULL, SMALL, Setting, report

GRAMMAR = Path(__file__).parents[3] / "grammars" / "en.toml"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--into", type=Path, required=True)
    parser.add_argument("--small", action="store_true")
    parser.add_argument("--second", type=Path, default=default_folder())
    parser.add_argument("--half", choices=("tuning", "test"), default="test")
    chosen = parser.parse_args()
    table = tomllib.loads(GRAMMAR.read_text(encoding="utf-8"))
    setting = Setting(
        table["phrases"],
        table["pronunciations"],
        chosen.into,
        chosen.second,
        chosen.half,
        2 if chosen.small else 30,
    )
    text = report(
        setting, SMALL if chosen.small else FULL, lambda line: sys.stderr.write(line + "\n")
    )
    sys.stdout.write(text + "\n")


if __name__ == "__main__":
    main()
