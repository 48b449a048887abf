"""`phrases`: can the phrases of a grammar be told apart, state by state?"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.table import Table

from assistant.cli.files import grammar_bytes, plan_bytes, require_output, short_hash, write_file
from assistant.cli.output import terminal
from assistant.grammar import Language, parse_grammar
from assistant.grammar.lint import CLOSE, TOO_CLOSE, lint, nearest
from assistant.plan import parse_plan
from assistant.plan.model import Plan
from assistant.session.pronunciation_check import dictionary


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `phrases`."""

    plan: str
    grammar: str
    card: Path | None
    overwrite: bool


def run(options: Options) -> int:
    """Print the nearest pair of every state and what is wrong; 1 where the grammar cannot be used.

    Where a card is named, write that instead.

    Raises:
        PlanError, GrammarError, InputError: the files cannot be read.
        DeviceError: the embedded recogniser, whose dictionary is used, is missing.
    """
    console = terminal()
    raw, name = plan_bytes(options.plan)
    plan = parse_plan(raw, name)
    raw, name = grammar_bytes(options.grammar)
    language = parse_grammar(raw, name)
    if options.card is not None:
        from assistant.report.phrase_card import phrase_card  # noqa: PLC0415 - loads reportlab

        require_output(options.card, ".pdf", overwrite=options.overwrite)
        footer = f"{Path(options.plan).name}, grammar {short_hash(raw)}"
        made = phrase_card(language, plan, footer)
        write_file(options.card, made, overwrite=options.overwrite)
        return 0
    pronounce = dictionary(language)
    findings = lint(language, plan, pronounce)
    errors = sum(finding.level == "error" for finding in findings)
    console.print(f"{errors} errors, {len(findings) - errors} warnings")
    for finding in findings:
        console.print(f"{finding.level}: {finding.about}")
    if all(finding.kind != "unknown-word" for finding in findings):
        console.print(f"\nnearest phrases of each state ({TOO_CLOSE} at least, {CLOSE} better)")
        console.print(_table(language, plan, pronounce), soft_wrap=False)
    return 1 if errors else 0


def _table(language: Language, plan: Plan, pronounce: Callable[[str], Sequence[str]]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0))
    for heading in ("state", "phrase", "nearest", "distance"):
        table.add_column(heading, justify="right" if heading == "distance" else "left")
    for state, pair in nearest(language, plan, pronounce).items():
        table.add_row(state.value, pair.one, pair.other, f"{pair.distance:.2f}")
    return table
