"""Every error the program raises on purpose, rooted by who must act.

    AssistantError
    |-- PlanError        whoever wrote the plan: a value is missing, unknown, impossible
    |-- GrammarError     whoever wrote the grammar: a word or pair of phrases cannot be used
    |-- RecordError      whoever keeps the record: it exists, is broken, cannot be written
    |   `-- RecordBroken     the chain, an order or a signature does not hold
    |-- ArchiveError     whoever keeps the archive: its database refuses, or is of another version
    |   `-- ArchiveUnreachable  the database does not answer
    |-- DeviceError      whoever set up the machine: microphone, loudspeaker, library, model
    `-- InputError       whoever called the program: a file or an option is not usable

Each message is one sentence: what, where, what to do. Wrong use of the package by a programmer
stays a built-in exception (RuntimeError, TypeError, ValueError).
"""

from typing import ClassVar


class AssistantError(Exception):
    """Root of the errors that a user can act on; `exit_code` is what the command line returns."""

    exit_code: ClassVar[int] = 2


class PlanError(AssistantError):
    """The plan file cannot be used as it stands."""


class GrammarError(AssistantError):
    """The grammar file cannot be used as it stands."""


class InputError(AssistantError):
    """A file, folder or option given by the caller cannot be used."""


class RecordError(AssistantError):
    """The record folder cannot be written or read."""


class RecordBroken(RecordError):  # noqa: N818 - a statement about the record, not an accident
    """The record's chain, order or signature does not hold."""

    exit_code: ClassVar[int] = 1


class DeviceError(AssistantError):
    """A microphone, loudspeaker, system library or speech model is missing or failed."""

    exit_code: ClassVar[int] = 3


class ArchiveError(AssistantError):
    """The archive's database refuses, or has the tables of another version."""


class ArchiveUnreachable(ArchiveError):  # noqa: N818 - a state of the network, not an accident
    """The archive's database does not answer."""

    exit_code: ClassVar[int] = 3
