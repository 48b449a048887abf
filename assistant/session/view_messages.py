"""What a session and the process of its view tell each other, a line of JSON at a time."""

from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict


class ViewSettings(BaseModel):
    """What to serve, and where."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    folder: Path
    """Of the record."""
    host: str
    port: int
    certificate: Path | None = None
    """With codes and TLS where given, else for this machine alone."""
    key: Path | None = None


class News(BaseModel):
    """Told by the session; an empty one says that the record has grown."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    trouble: str | None = None
    """Why the record cannot be written; "" when it can again."""
    level: float | None = None
    """Input level, dB relative to full scale."""


class Answer(BaseModel):
    """Told to the session."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    what: Literal["ready", "error", "code", "wrong", "joined", "left", "ended"]
    text: str = ""
    """Address of the page, the error, or the code."""
    viewer: int = 0
    address: str = ""
    wrong_codes: int = 0
