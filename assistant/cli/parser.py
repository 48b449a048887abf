"""The options of every command; the commands' modules are imported only when they run."""

import argparse
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import TypeVar

from assistant import __version__
from assistant.cli.archive_options import ARCHIVE_COMMANDS
from assistant.cli.option_lists import COMMANDS, Options

T = TypeVar("T")
Command = Callable[[argparse.Namespace], int]
Entry = tuple[str, str, str, Options]
"""A command: its name, its module, what it does, and what adds its options."""


def _later(module: str) -> Command:
    """Name a command without importing it: `--help` stays fast."""

    def run(options: argparse.Namespace) -> int:
        command = import_module(f"assistant.cli.{module}")
        if options.configured:
            import_module("assistant.cli.config").configure(options)
        return int(command.run(typed(command.Options, options)))

    return run


def typed(kind: type[T], options: argparse.Namespace) -> T:
    """Return the options of one command as its own dataclass, whose fields are their names."""
    names = getattr(kind, "__dataclass_fields__", ())
    return kind(**{name: getattr(options, name) for name in names})


class _PrintCompletion(argparse.Action):
    """Prints a completion script, as `--version` prints the version."""

    def __call__(
        self, parser: argparse.ArgumentParser, _options: object, shell: object, _flag: object = None
    ) -> None:
        """Print it and end."""
        shtab = import_module("shtab")  # here, so that other commands do not pay for it
        sys.stdout.write(shtab.complete(parser, str(shell)))
        parser.exit()


def build_parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    parser = argparse.ArgumentParser(
        prog="sampling-assistant",
        description="Guides powder sampling by voice and keeps a record that proves itself.",
        epilog="It records; it never grants permission. Follow your site's procedures.",
    )
    parser.add_argument("--version", action="version", version=f"%(prog)s {__version__}")
    parser.add_argument(
        "--print-completion",
        action=_PrintCompletion,
        default=argparse.SUPPRESS,
        choices=("bash", "zsh", "tcsh"),
        help="print the completion script of a shell, and end",
    )
    commands = parser.add_subparsers(metavar="COMMAND", required=True)
    _offer(commands, COMMANDS)
    about = "index the records of a site in a database, and ask it"
    archive = commands.add_parser("archive", help=about, description=about)
    _offer(archive.add_subparsers(metavar="ACTION", required=True), ARCHIVE_COMMANDS)
    return parser


def _offer(
    commands: "argparse._SubParsersAction[argparse.ArgumentParser]", offered: Sequence[Entry]
) -> None:
    """Add commands, each with its options."""
    for name, module, summary, options in offered:
        sub = commands.add_parser(name, help=summary, description=summary)
        sub.set_defaults(command=_later(module), configured=False)
        options(sub)
