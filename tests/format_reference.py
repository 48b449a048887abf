"""Write the references of the three file formats from the models that read the files.

    python tests/format_reference.py

`test_format_reference.py` fails while a reference differs from its models.
"""

import ast
import inspect
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from pydantic import BaseModel, TypeAdapter

from assistant.grammar.language import Language
from assistant.journal.entry import Entry
from assistant.plan.model import Plan
from assistant.procedure.events import Event

FOLDER = Path(__file__).parent.parent / ".docs" / "formats"

Schema = Mapping[str, Any]  # JSON Schema is recursive and open
PACKAGES = [["assistant", name] for name in ("plan", "grammar", "journal", "procedure")]
LIMITS = {
    "minimum": "at least {}",
    "exclusiveMinimum": "more than {}",
    "maximum": "at most {}",
    "exclusiveMaximum": "less than {}",
    "minLength": "{} characters or more",
    "maxLength": "{} characters or fewer",
    "minItems": "{} or more",
    "maxItems": "{} or fewer",
    "pattern": "matches `{}`",
}

PLAN = """# Plan file

TOML, UTF-8. Lengths are millimetres, angles degrees; other units stand in the names. A key that is
not listed is refused.
"""
GRAMMAR = """# Grammar file

TOML, UTF-8: what the operator says, what the program says, and how numbers and letters are spoken.
"""
RECORD = """# Record

A folder. `record.jsonl` holds one entry a line: JSON in the canonical form of RFC 8785. `plan.toml`
and `grammar.toml` are the exact bytes that the session used; `clips/` holds the audio, each file
named by the SHA-256 of its content; `signatures.jsonl` holds the signatures; `transcripts.jsonl`
holds the typed texts of spoken remarks; `aside/` keeps a line that was torn when the power failed;
`time-stamps/` keeps responses of a time-stamping authority (RFC 3161) over the hashes of entries,
`000360-1.tsr` being the first one over entry 360.

Each entry's `hash` is the SHA-256 of the canonical entry without `hash`; `prev` is the hash of the
entry before, 64 zeros for the first. An empty value that is the default is left out of an event.
"""


def described(models: Mapping[str, type[BaseModel]]) -> dict[str, dict[str, str]]:
    """Return for each model the docstring under each of its fields."""
    found: dict[str, dict[str, str]] = {}
    for name, model in models.items():
        fields: dict[str, str] = {}
        for base in reversed(model.__mro__):
            if issubclass(base, BaseModel) and base is not BaseModel:
                fields |= _documented(base)
        found[name] = fields
    return found


def _documented(model: type[BaseModel]) -> dict[str, str]:
    [definition] = ast.parse(inspect.cleandoc("\n" + inspect.getsource(model))).body
    assert isinstance(definition, ast.ClassDef)
    fields: dict[str, str] = {}
    for field, after in zip(definition.body, definition.body[1:], strict=False):
        if (
            isinstance(field, ast.AnnAssign)
            and isinstance(field.target, ast.Name)
            and isinstance(after, ast.Expr)
            and isinstance(after.value, ast.Constant)
        ):
            alias = model.model_fields[field.target.id].alias or field.target.id
            fields[alias] = " ".join(str(after.value.value).split())
    return fields


def models_below(base: type[BaseModel] = BaseModel) -> Iterator[type[BaseModel]]:
    """Yield every model of the packages that read the files."""
    for model in base.__subclasses__():
        if model.__module__.split(".")[:2] in PACKAGES:
            yield model
        yield from models_below(model)


def type_of(schema: Schema) -> str:
    """Return a schema's type in words, with a link to a table of its own where it has one."""
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[1]
        return f"[{name}](#{name.lower()})"
    if "const" in schema:
        return f"`{schema['const']}`"
    if "enum" in schema:
        return ", ".join(f"`{each}`" for each in schema["enum"])
    for key in ("anyOf", "oneOf"):
        if key in schema:
            kinds = dict.fromkeys(type_of(each) for each in schema[key])
            return " or ".join(kinds)
    if schema.get("type") == "array":
        return f"list of {type_of(schema['items'])}" if "items" in schema else "list"
    if schema.get("type") == "object":
        extra = schema.get("additionalProperties")
        return f"table of {type_of(extra)}" if isinstance(extra, dict) else "table"
    kind = str(schema.get("type", "any"))
    limits = [text.format(schema[key]) for key, text in LIMITS.items() if key in schema]
    return f"{kind} ({'; '.join(limits)})" if limits else kind


def _default(field: Schema) -> str:
    value = field.get("default")
    if value is None or value in ("", []):
        return "empty"
    return "its own defaults" if isinstance(value, dict) else f"`{value}`"


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


def table(name: str, schema: Schema, meanings: Mapping[str, str]) -> Iterator[str]:
    """Yield the lines that describe one model or one list of values."""
    yield from (f"## {name}", "")
    summary = " ".join(str(schema.get("description", "")).split("\n\n")[0].split())
    if summary:
        yield from (summary, "")
    if "properties" not in schema:
        yield from (f"One of: {type_of(schema)}.", "")
        return
    yield from ("| key | type | if left out | meaning |", "|---|---|---|---|")
    required = schema.get("required", ())
    for key, field in schema["properties"].items():
        default = "refused" if key in required else _default(field)
        cells = (f"`{key}`", type_of(field), default, meanings.get(key, ""))
        yield "| " + " | ".join(map(_cell, cells)) + " |"
    yield ""


def reference(heading: str, **roots: Any) -> str:  # noqa: ANN401 - a model or a union of them
    """Return one reference: a heading, the named models and all that they use."""
    known = {model.__name__: model for model in models_below()}
    meanings = described(known)
    lines = [heading]
    seen: dict[str, Schema] = {}
    for name, root in roots.items():
        schema = TypeAdapter(root).json_schema(by_alias=True)
        if "properties" in schema:
            lines += table(name, schema, meanings.get(name, {}))
        seen |= schema.get("$defs", {})
    for name in sorted(seen):
        lines += table(name, seen[name], meanings.get(name, {}))
    return "\n".join(lines).rstrip() + "\n"


def references() -> dict[str, str]:
    """Return the text of each reference by its file name."""
    return {
        "plan.md": reference(PLAN, Plan=Plan),
        "grammar.md": reference(GRAMMAR, Language=Language),
        "record.md": reference(RECORD, Entry=Entry, Event=Event),
    }


def main() -> None:
    """Write all references."""
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, text in references().items():
        (FOLDER / name).write_text(text, "utf-8")
        sys.stdout.write(f"{FOLDER / name}\n")


if __name__ == "__main__":
    main()
