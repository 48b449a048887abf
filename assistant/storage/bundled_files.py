"""The plans and grammars that come with the program, wherever it is installed."""

from pathlib import Path

from assistant.errors import InputError

__all__ = [
    "languages",
    "plan_names",
    "read_grammar",
    "read_plan",
    "read_script",
    "script_names",
]

_PACKAGE = Path(__file__).resolve().parent.parent


def _folder(kind: str) -> Path:
    """Return where files of a kind are: inside an installed package, or beside it in a checkout."""
    installed = _PACKAGE / "_shipped" / kind
    return installed if installed.is_dir() else _PACKAGE.parent / kind


def plan_names() -> tuple[str, ...]:
    """Return the names of the shipped plans, in alphabetical order."""
    return _names("plans")


def languages() -> tuple[str, ...]:
    """Return the languages that have a shipped grammar, in alphabetical order."""
    return _names("grammars")


def read_plan(name: str) -> bytes:
    """Return the exact bytes of a shipped plan; InputError when there is none of that name."""
    return _read("plans", name)


def read_grammar(language: str) -> bytes:
    """Return the exact bytes of a shipped grammar; InputError when the language has none."""
    return _read("grammars", language)


def script_names() -> tuple[str, ...]:
    """Return the names of the shipped rehearsal scripts, in alphabetical order."""
    return _names("plans/rehearsals")


def read_script(name: str) -> bytes:
    """Return the exact bytes of a shipped script; InputError when there is none of that name."""
    return _read("plans/rehearsals", name)


def _names(kind: str) -> tuple[str, ...]:
    """Return the names of the shipped files of a kind."""
    return tuple(sorted(path.stem for path in _folder(kind).glob("*.toml")))


def _read(kind: str, name: str) -> bytes:
    """Return a shipped file, found among the names so that no path can be smuggled in."""
    known = _names(kind)
    if name not in known:
        offer = ", ".join(known) or "none"
        raise InputError(f"No {name!r} among the shipped {kind}: choose one of {offer}.")
    return (_folder(kind) / f"{name}.toml").read_bytes()
