"""What a command was told must hold of a record, what does not, and whom it may trust."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from assistant.cli.files import read_file
from assistant.record.standing import Standing
from assistant.record.time_stamps import certificates_in

if TYPE_CHECKING:
    from cryptography.x509 import Certificate


def show_lacking(console: Console, standing: Standing, required: Iterable[str]) -> int:
    """Print each requirement that does not hold; 1 when there is one, else 0."""
    lacking = standing.lacking(required)
    for each in lacking:
        console.print(f"required and missing: {each}")
    return 1 if lacking else 0


def trusted_by(path: Path | None) -> tuple["Certificate", ...]:
    """Return the certificates in a PEM file, none where no file is named.

    Raises:
        InputError: it cannot be read or holds none.
    """
    return certificates_in(read_file(path, "certificate file"), path) if path else ()
