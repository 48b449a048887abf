"""Scripts of operator errors for a rehearsal."""

import tomllib
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from assistant.errors import InputError
from assistant.procedure.enums import State


class Slip(BaseModel):
    """One departure from doing the right thing at once."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    at: State
    """The state in which it happens."""
    visit: Annotated[int, Field(ge=1)] = 1
    """Which visit to the state, counting from 1."""
    do: Literal["say", "chatter", "silence", "key", "type"]
    """Say a phrase or anything else; talk to somebody else; fall silent; press the key; type."""
    words: Annotated[str, Field(max_length=200)] = ""
    seconds: Annotated[float, Field(ge=0, le=120)] = 0.0
    """How long a silence lasts."""


class Script(BaseModel):
    """The slips of one rehearsal, each happening once, in the order given within one visit."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    title: Annotated[str, Field(min_length=1, max_length=120)]
    slips: tuple[Slip, ...] = Field(default=(), alias="slip")


def parse_script(raw: bytes, name: str) -> Script:
    """Read a script.

    Args:
        raw: the bytes of the file (TOML, UTF-8).
        name: what to call the file in an error.

    Raises:
        InputError: not TOML, or an unknown key, state or action.
    """
    try:
        return Script.model_validate(tomllib.loads(raw.decode("utf-8-sig").replace("\r\n", "\n")))
    except UnicodeDecodeError as fault:
        raise InputError(f"{name}: not UTF-8 text at byte {fault.start}.") from None
    except ValidationError as fault:
        first = fault.errors(include_url=False)[0]
        where = ".".join(str(part) for part in first["loc"])
        raise InputError(f"{name}: '{where}': {first['msg'].lower()}.") from None
    except (ValueError, RecursionError) as fault:
        raise InputError(f"{name}: not valid TOML: {fault}.") from None
