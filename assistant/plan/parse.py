"""Parse a plan file into a `Plan`, or say in one sentence what to change and where."""

import tomllib
from collections.abc import Callable

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from assistant.errors import PlanError
from assistant.plan.model import Plan
from assistant.plan.vessel import KINDS

MAX_BYTES = 250_000
"""A commented plan of 200 locations has some 40 kB; anything near this is not a plan."""


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
        raise PlanError(
            f"{name}: not UTF-8 text at byte {fault.start}; save it as UTF-8."
        ) from None
    except (ValueError, RecursionError) as fault:
        # ValueError covers tomllib's own error and integers of thousands of digits.
        reason = "a number has thousands of digits" if "digits" in str(fault) else fault
        raise PlanError(f"{name}: not valid TOML: {reason}.") from None
    try:
        plan = Plan.model_validate(table)
    except ValidationError as fault:
        raise PlanError(f"{name}: {_sentence(fault)}.") from None
    _possible(plan, name)
    return plan


def _possible(plan: Plan, name: str) -> None:
    """Refuse a plan whose powder, manway or depths contradict the vessel."""
    # Asked for only here, so that the models alone can be had without the numerics.
    from assistant.plan.insertion_geometry import lengths  # noqa: PLC0415 - see the line above

    try:
        lengths(plan)
    except PlanError as fault:
        raise PlanError(f"{name}: {fault}.") from None


def _sentence(fault: ValidationError) -> str:
    first = fault.errors(include_url=False)[0]
    more = fault.error_count() - 1
    tail = f" ({more} more after this one)" if more else ""
    return f"{_where(first['loc'])} {_what(first)}{tail}"


def _where(loc: tuple[int | str, ...]) -> str:
    """Name the place the way it is written in the file: [table] key, or [[table]] number n."""
    if not loc:
        return "the plan:"
    table, rest = str(loc[0]), loc[1:]
    if table not in _TABLES | _LISTS:
        return f"top level, key '{table}'"
    if table in _LISTS and rest:
        place, rest = f"[[{table}]] number {int(rest[0]) + 1}", rest[1:]
    else:
        place = f"[[{table}]]" if table in _LISTS else f"[{table}]"
    # The tag of the vessel's kind stands in pydantic's path, not in the file.
    keys = [part for part in rest if not (table == "vessel" and part in KINDS)]
    words = [f"value {part + 1}" if isinstance(part, int) else f"key '{part}'" for part in keys]
    return ", ".join([place, *words]) + ("" if words else ":")


_LISTS = frozenset({"people", "locations"})
_TABLES = frozenset(field.alias or name for name, field in Plan.model_fields.items()) - {"plan"}


def _what(error: ErrorDetails) -> str:
    words = _WORDS.get(error["type"])
    if words is not None:
        return words(error)
    message = str(error["msg"]).removeprefix("Value error, ")
    if isinstance(error["input"], dict | list | tuple):
        return message
    return f"has {_short(error['input'])}: {message[:1].lower()}{message[1:]}"


_KIND = f"write one of {', '.join(KINDS)}"
_WORDS: dict[str, Callable[[ErrorDetails], str]] = {
    "missing": lambda _: "is missing; add it",
    "extra_forbidden": lambda _: "is not a known key; remove it or check its spelling",
    "union_tag_not_found": lambda _: f"key 'kind' is missing; {_KIND}",
    "union_tag_invalid": lambda error: f"key 'kind' has {_short(error['ctx']['tag'])}; {_KIND}",
    "too_long": lambda error: (
        f"has more than the {error['ctx']['max_length']} entries a plan may have; divide it"
    ),
    "string_too_long": lambda error: (
        f"has {len(error['input'])} characters; {error['ctx']['max_length']} is the most"
    ),
}


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= _SHORT else text[: _SHORT - 3] + "..."


_SHORT = 40
"""Characters of a wrong value shown in an error, so that the sentence fits one line or two."""
