"""The README says what is true: commands, diagram, transcript, test command."""

import argparse
import re
from pathlib import Path

from assistant.cli.parser import build_parser
from assistant.procedure.diagram import mermaid

README = Path(__file__).parent.parent / "README.md"
FENCE = re.compile(r"```[a-z]*\n(.*?)```", re.DOTALL)


def block(marker: str) -> str:
    """Return the fenced block behind a marker."""
    text = README.read_text("utf-8").split(f"<!-- {marker} -->", 1)[1]
    found = FENCE.search(text)
    assert found, marker
    return found.group(1).strip()


def commands() -> dict[str, str]:
    """Return every command of the parser with its help."""
    actions = build_parser()._actions  # noqa: SLF001 - argparse offers no public way
    subs = next(a for a in actions if isinstance(a, argparse._SubParsersAction))  # noqa: SLF001 - as above
    return {str(c.dest): str(c.help) for c in subs._choices_actions}  # noqa: SLF001 - as above


def command_table() -> str:
    """Return the README's table of commands as the parser has it."""
    rows = [f"| `{name}` | {about} |" for name, about in commands().items()]
    return "\n".join(["| command | does |", "|---|---|", *rows])


def test_the_diagram_is_the_table() -> None:
    """The state diagram is generated from the table."""
    assert block("diagram") == mermaid().strip(), "run: python tests/test_readme.py"


def test_every_command_is_listed() -> None:
    """The command table is the parser's."""
    assert command_table() in README.read_text("utf-8"), "run: python tests/test_readme.py"


def test_the_test_command_is_there_for_ci() -> None:
    """`.ci/run` takes its test command from the README."""
    text = README.read_text("utf-8").split("<!-- test command -->", 1)[1]
    assert text.splitlines()[2].startswith("python3 -m venv")


NAMED = re.compile(r"`(tests/[\w/]+\.py)(?:::(\w+))?`")


def test_every_test_that_is_named_exists() -> None:
    """The regulatory mapping rests on tests; each must be there under its name."""
    root = README.parent
    named = NAMED.findall(README.read_text("utf-8"))
    assert len(named) > 20
    missing = [
        f"{file}::{name}"
        for file, name in named
        if not (root / file).is_file() or f"def {name}" not in (root / file).read_text("utf-8")
    ]
    assert missing == []


def rewrite() -> None:
    """Put the generated parts into the README."""
    text = README.read_text("utf-8")
    before, after = text.split("<!-- commands -->", 1)
    after = after.split("\nExit codes:", 1)[1]
    text = f"{before}<!-- commands -->\n\n{command_table()}\n\nExit codes:{after}"
    before, after = text.split("<!-- diagram -->", 1)
    after = after.split("```mermaid", 1)[1].split("```", 1)[1]
    text = f"{before}<!-- diagram -->\n```mermaid\n{mermaid()}\n```{after}"
    README.write_text(text, "utf-8")


if __name__ == "__main__":
    rewrite()
