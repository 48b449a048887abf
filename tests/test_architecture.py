"""The direction of dependence, the purity of the inner layers and the size of things, as tests."""

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "assistant"

ROWS = (
    "cli",
    "session archive",
    "record",
    "speech storage console view clock rehearsal testing",
    "user_folder",
    "report",
    "conformance",
    "grammar",
    "procedure",
    "evaluation plan journal",
    "ports",
    "errors printable",
)
"""From the top; a module imports only from layers below its own, or from its own name."""

RANK = {name: row for row, names in enumerate(ROWS) for name in names.split()}
PURE = {name for name, row in RANK.items() if row >= RANK["report"]}

_OUTSIDE = (
    "alembic asyncio bagit builtins concurrent distributed fcntl filelock glob logging mmap "
    "multiprocessing os pathlib pocketsphinx pyttsx3 queue random rich secrets select shutil "
    "signal socket sounddevice soundfile soxr sqlalchemy sqlite3 sse_starlette starlette "
    "subprocess sys tempfile threading time urllib uuid uvicorn vosk weakref"
)
OUTSIDE = frozenset(_OUTSIDE.split())
"""What reaches the machine, its clock or its chance; no pure row may import it."""

_LOOKING_OUT = (
    "open print input exec eval breakpoint __import__ now utcnow today getenv read_text read_bytes "
    "write_text write_bytes touch unlink mkdir"
)
LOOKING_OUT = frozenset(_LOOKING_OUT.split())
"""Calls that read or change the world, by their last name."""

DRAWING = ("matplotlib", "reportlab", "jinja2", "PIL")
"""Libraries that only the report row may use."""

HEAVY = (
    *DRAWING,
    "alembic",
    "distributed",
    "sqlalchemy",
    "starlette",
    "uvicorn",
    "scipy",
    "openpyxl",
    "pocketsphinx",
    "pyttsx3",
    "onnxruntime",
    "sounddevice",
    "soundfile",
    "vosk",
)
"""What may not be loaded before a command that needs it runs."""

MOST_LINES = 400
MOST_FUNCTION_LINES = 40
"""Docstrings and comments not counted: saying more is never punished."""


def owner(path: Path, root: Path) -> str:
    """Return the name in `ROWS` that a module belongs to."""
    return path.relative_to(root).parts[0].removesuffix(".py")


def imported(tree: ast.AST, path: Path, root: Path) -> Iterator[str]:
    """Yield the full name of everything a module imports, lazily or not."""
    package = (root.name, *path.relative_to(root).parent.parts)
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else ()
            stem = ".".join((*base, *filter(None, [node.module])))
            yield from (f"{stem}.{alias.name}" for alias in node.names)


def upward(path: Path, root: Path, tree: ast.AST) -> Iterator[str]:
    """Yield every import that points up or sideways."""
    me = owner(path, root)
    for name in imported(tree, path, root):
        head, _, rest = name.partition(".")
        target = rest.partition(".")[0]
        if head != root.name or target in (me, "__version__"):
            continue
        if target not in RANK:
            yield f"{path.name} imports {name}, which stands in no row"
        elif RANK[target] <= RANK[me]:
            yield f"{path.name}: {me} must not know {target}"


def impure(path: Path, root: Path, tree: ast.AST) -> Iterator[str]:
    """Yield every import and call by which a pure row would reach the world."""
    me = owner(path, root)
    if me not in PURE:
        return
    for name in imported(tree, path, root):
        head = name.partition(".")[0]
        if head in OUTSIDE or name.startswith("numpy.random"):
            yield f"{path.name}: {me} is pure and imports {name}"
        if head in DRAWING and me != "report":
            yield f"{path.name}: only the report draws, not {me}: {name}"
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            called = getattr(node.func, "id", getattr(node.func, "attr", ""))
            if called in LOOKING_OUT:
                yield f"{path.name}:{node.lineno}: {me} is pure and calls {called}"
            if called == "default_rng" and not (node.args or node.keywords):
                yield f"{path.name}:{node.lineno}: chance without a seed"


def oversized(path: Path, source: str, tree: ast.Module) -> Iterator[str]:
    """Yield what is too long to be read, and modules that do not say what they are."""
    lines = source.splitlines()
    if len(lines) > MOST_LINES:
        yield f"{path.name} has {len(lines)} lines"
    if not ast.get_docstring(tree):
        yield f"{path.name} has no docstring"
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = _length(node, lines)
            if length > MOST_FUNCTION_LINES:
                yield f"{path.name}:{node.lineno}: {node.name} has {length} lines"


def _length(node: ast.FunctionDef | ast.AsyncFunctionDef, lines: list[str]) -> int:
    """Count a function's lines without its docstring, comments and empty lines."""
    first = node.body[0]
    said = range(first.lineno, (first.end_lineno or first.lineno) + 1)
    if ast.get_docstring(node) is None:
        said = range(0)
    body = range(node.lineno, (node.end_lineno or node.lineno) + 1)
    texts = (lines[number - 1].strip() for number in body if number not in said)
    return sum(bool(text) and not text.startswith("#") for text in texts)


def offences(path: Path, root: Path = PACKAGE) -> list[str]:
    """Return everything a module does against the rules."""
    source = path.read_text("utf-8")
    tree = ast.parse(source)
    found = [*oversized(path, source, tree)]
    if owner(path, root) not in ("__init__", "__main__"):
        found += [*upward(path, root, tree), *impure(path, root, tree)]
    return found


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_module_keeps_the_rules(path: Path) -> None:
    """Imports point downwards, pure layers reach nothing outside, and nothing is too long."""
    assert offences(path) == []


def test_every_name_has_a_row() -> None:
    """A new package must be given its place here before anything can import it."""
    names = {owner(path, PACKAGE) for path in MODULES}
    assert names - {"__init__", "__main__", "_shipped"} <= set(RANK)


def test_the_command_line_answers_before_anything_heavy_is_loaded() -> None:
    """The options of every command can be shown without a speech or drawing library."""
    probe = (
        "import sys; from assistant.cli.parser import build_parser; build_parser().format_help(); "
        f"print(*(name for name in {HEAVY!r} if name in sys.modules))"
    )
    run = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []


@pytest.mark.parametrize(
    ("place", "text", "complaint"),
    [
        ("procedure/a.py", '"""A."""\nfrom assistant.session import keeper\n', "must not know"),
        ("procedure/a.py", '"""A."""\nfrom assistant.grammar import language\n', "must not know"),
        ("speech/a.py", '"""A."""\nfrom assistant.storage import disk\n', "must not know"),
        ("grammar/a.py", '"""A."""\nfrom ..conformance import fold\n', "must not know"),
        ("journal/a.py", '"""A."""\nimport assistant.plan.model\n', "must not know"),
        ("plan/a.py", '"""A."""\nfrom assistant.helpers import thing\n', "stands in no row"),
        ("plan/a.py", '"""A."""\nimport random\n', "imports random"),
        ("plan/a.py", '"""A."""\ndef f():\n    import time\n', "imports time"),
        ("report/a.py", '"""A."""\nfrom os import path\n', "imports os.path"),
        ("conformance.py", '"""A."""\nfrom pathlib import Path\n', "imports pathlib"),
        ("evaluation/a.py", '"""A."""\nfrom numpy.random import normal\n', "numpy.random"),
        ("evaluation/a.py", '"""A."""\nimport numpy as np\nX = np.random.default_rng()\n', "seed"),
        ("journal/a.py", '"""A."""\nX = open("x").read()\n', "calls open"),
        ("procedure/a.py", '"""A."""\nprint("x")\n', "calls print"),
        ("procedure/a.py", '"""A."""\nimport datetime\nX = datetime.datetime.now()\n', "calls now"),
        ("plan/a.py", '"""A."""\ndef f():\n    import matplotlib\n', "only the report draws"),
        ("plan/a.py", "X = 1\n", "no docstring"),
        ("cli/a.py", '"""A."""\n' + "X = 1\n" * 400, "has 401 lines"),
        ("cli/a.py", '"""A."""\ndef f():\n' + "    x = 1\n" * 40, "f has 41 lines"),
    ],
)
def test_a_planted_offence_is_found(tmp_path: Path, place: str, text: str, complaint: str) -> None:
    """Each rule is broken once, and the checker says so."""
    root = tmp_path / "assistant"
    path = root / place
    path.parent.mkdir(parents=True)
    path.write_text(text, "utf-8")
    found = offences(path, root)
    assert len(found) == 1
    assert complaint in found[0]


@pytest.mark.parametrize(
    ("place", "text"),
    [
        ("session/a.py", '"""A."""\nimport threading\nfrom assistant.speech import ear\n'),
        ("report/a.py", '"""A."""\nfrom assistant.conformance import fold\nimport numpy\n'),
        ("report/a.py", '"""A."""\ndef f():\n    import matplotlib.figure\n    import io\n'),
        ("evaluation/a.py", '"""A."""\nimport numpy as np\nX = np.random.default_rng(1)\n'),
        ("cli/a.py", '"""A."""\nfrom assistant import __version__\nprint(__version__)\n'),
        ("cli/a.py", '"""A."""\ndef f():\n    """A.\n' + "\n" * 40 + '"""\n    # b\n\n'),
        ("__main__.py", '"""A."""\nfrom assistant.cli import main\n'),
    ],
)
def test_what_is_allowed_is_let_pass(tmp_path: Path, place: str, text: str) -> None:
    """The checker does not cry wolf."""
    root = tmp_path / "assistant"
    path = root / place
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, "utf-8")
    assert offences(path, root) == []
