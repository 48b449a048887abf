"""`new-plan`: a handful of questions, and a complete commented plan file."""

from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.prompt import Prompt

from assistant.cli.files import require_output, write_file
from assistant.cli.output import terminal
from assistant.errors import InputError
from assistant.plan.new_plan import new_plan
from assistant.plan.questionnaire import QUESTIONS, Question, answers_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `new-plan`."""

    output: Path
    overwrite: bool
    answer: list[str]
    defaults: bool


def run(options: Options) -> int:
    """Ask what was not given, unless told to take the defaults, and write the plan."""
    require_output(options.output, ".toml", overwrite=options.overwrite)
    given = dict(pair.split("=", 1) for pair in options.answer if "=" in pair)
    if len(given) != len(options.answer):
        raise InputError("--answer takes KEY=VALUE, such as vessel=drum.")
    if not options.defaults:
        console = terminal()
        for question in QUESTIONS:
            if question.key not in given:
                given[question.key] = _asked(question, console)
    made = new_plan(answers_of(given)).encode()
    write_file(options.output, made, overwrite=options.overwrite)
    return 0


def _asked(question: Question, console: Console) -> str:
    """Ask one question.

    Raises:
        InputError: the input ended.
    """
    try:
        return Prompt.ask(
            question.text,
            console=console,
            default=question.default,
            choices=list(question.choices) or None,
        )
    except EOFError:
        raise InputError(
            f"The input ended at {question.text!r}: answer with --answer {question.key}=VALUE, "
            "or take all defaults with --defaults."
        ) from None
