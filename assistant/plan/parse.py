"""From the text of a plan file to a `Plan`, or one sentence that says what to change where."""

import tomllib
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from assistant.errors import PlanError
from assistant.plan.model import Plan

MAX_BYTES = 1_000_000
"""A plan of 200 locations has some 30 kB; anything near this is not a plan."""

_WORDS = {
    "missing": "is missing; add it",
    "extra_forbidden": "is not a known key; remove it or check its spelling",
}


def parse_plan(raw: bytes, name: str) -> Plan:
    """Read a plan.

    Args:
        raw: the bytes of the file (TOML, UTF-8).
        name: what to call the file in an error.

    Raises:
        PlanError: not TOML, an unknown or missing key, or a value out of range; the message names
            file, table, key, what was found and what is allowed.
    """
    if len(raw) > MAX_BYTES:
        raise PlanError(f"{name}: {len(raw)} bytes is too large for a plan; is it the right file?")
    try:
        table = tomllib.loads(raw.decode("utf-8-sig").replace("\r\n", "\n"))
    except UnicodeDecodeError as fault:
        raise PlanError(f"{name}: not UTF-8 text at byte {fault.start}; save it as UTF-8.") from None
    except (tomllib.TOMLDecodeError, RecursionError) as fault:
        raise PlanError(f"{name}: not valid TOML: {fault}.") from None
    try:
        return Plan.model_validate(table)
    except ValidationError as fault:
        raise PlanError(f"{name}: {_sentence(fault)}.") from None


def _sentence(fault: ValidationError) -> str:
    first = fault.errors(include_url=False)[0]
    more = fault.error_count() - 1
    tail = f" ({more} more after this one)" if more else ""
    return f"{_where(first['loc'])} {_what(first)}{tail}"


def _where(loc: tuple[int | str, ...]) -> str:
    """Name the place the way it is written in the file: [table] key, or [[table]] number n."""
    if not loc:
        return "the plan:"
    if len(loc) > 1 and isinstance(loc[1], int):
        place = f"[[{loc[0]}]] number {loc[1] + 1}"
        keys = [str(part) for part in loc[2:]]
    elif len(loc) == 1:
        place, keys = "top level", [str(loc[0])]
    else:
        place = f"[{loc[0]}]"
        # The tag of the vessel's kind stands in pydantic's path, not in the file.
        keys = [str(part) for part in loc[1:] if not (loc[0] == "vessel" and part in _KINDS)]
    return f"{place}, key '{'.'.join(keys)}'" if keys else f"{place}:"


_KINDS = frozenset(
    {"double-cone", "v-blender", "drum", "cylinder", "rectangular-bin", "conical-bin"}
)


def _what(error: Mapping[str, Any]) -> str:
    words = _WORDS.get(error["type"])
    if words:
        return words
    message = str(error["msg"]).removeprefix("Value error, ")
    found = error["input"]
    if isinstance(found, dict | list | tuple):
        return message
    return f"has {_short(found)!s}: {message[:1].lower()}{message[1:]}"


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."  # noqa: PLR2004 - fits one line
