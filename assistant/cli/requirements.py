"""What a command was told must hold of a record, and what does not."""

from collections.abc import Iterable

from rich.console import Console

from assistant.record.standing import Standing


def show_lacking(console: Console, standing: Standing, required: Iterable[str]) -> int:
    """Print each requirement that does not hold; 1 when there is one, else 0."""
    lacking = standing.lacking(required)
    for each in lacking:
        console.print(f"required and missing: {each}")
    return 1 if lacking else 0
