"""Something from outside the folder that vouches for a record up to an entry."""

from dataclasses import dataclass

__all__ = ["Anchor"]


@dataclass(frozen=True, slots=True)
class Anchor:
    """Something from outside the folder that vouches for the entries up to a count."""

    count: int
    by: str
    name: str = ""
    """Who signed, "" for a head code."""
    meaning: str = ""
    utc: str = ""
    """When an authority stamped it, "" for what is no time stamp."""
