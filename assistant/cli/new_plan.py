"""`new-plan`: a handful of questions, and a complete commented plan file."""

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console
from rich.prompt import Prompt

from assistant.cli.files import require_output, write_file
from assistant.cli.output import terminal
from assistant.errors import InputError, PlanError
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
    """Ask what was not given, unless told to take the defaults, and write the plan.

    Raises:
        InputError: the output cannot be written, or the input ended.
        PlanError: an answer given in advance, or all of them together, cannot be used.
    """
    require_output(options.output, ".toml", overwrite=options.overwrite)
    given = dict(pair.split("=", 1) for pair in options.answer if "=" in pair)
    if len(given) != len(options.answer):
        raise InputError("--answer takes KEY=VALUE, such as vessel=drum.")
    answers_of(given)
    asked = () if options.defaults else tuple(q for q in QUESTIONS if q.key not in given)
    text = _asked(given, asked, terminal()) if asked else new_plan(answers_of(given))
    write_file(options.output, text.encode(), overwrite=options.overwrite)
    return 0


def _asked(given: dict[str, str], questions: Sequence[Question], console: Console) -> str:
    """Ask until the answers make a plan; after a mistake each stands as the next default.

    Returns:
        the text of the plan.

    Raises:
        InputError: the input ended.
    """
    answers = dict(given)
    while True:
        for question in questions:
            before = answers.get(question.key, question.default)
            answers[question.key] = _answer(question, before, answers, console)
        try:
            return new_plan(answers_of(answers))
        except PlanError as fault:
            console.print(
                f"{fault}\nYour answers are kept: correct what is wrong, Enter keeps one."
            )


def _answer(question: Question, before: str, answers: Mapping[str, str], console: Console) -> str:
    """Ask one question until its answer can be used.

    Raises:
        InputError: the input ended.
    """
    while True:
        try:
            text = Prompt.ask(
                question.text,
                console=console,
                default=before,
                choices=list(question.choices) or None,
            )
        except EOFError:
            kept = "".join(f" --answer {shlex.quote(f'{k}={v}')}" for k, v in answers.items() if v)
            raise InputError(
                f"The input ended at {question.text!r} and no plan was written: give the answer "
                f"with --answer {question.key}=VALUE, or take all defaults with --defaults"
                f"{f'; given so far:{kept}' if kept else ''}."
            ) from None
        try:
            answers_of({question.key: text})
        except PlanError as fault:
            console.print(str(fault))
        else:
            return text
