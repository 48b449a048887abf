"""The contributors' guide points to places that exist."""

import ast
import re
from pathlib import Path

from tests.test_architecture import ROWS

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "DEVELOPERS.md").read_text("utf-8")
PATH = re.compile(r"`([\w./-]+/[\w./-]*\w)`")


def defined(path: Path) -> set[str]:
    """Return the names of the functions, classes and methods in a module."""
    found = set()
    for node in ast.parse(path.read_text("utf-8")).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            found.add(node.name)
        if isinstance(node, ast.ClassDef):
            found |= {
                f"{node.name}.{each.name}"
                for each in node.body
                if isinstance(each, ast.FunctionDef)
            }
    return found


def test_every_question_of_the_table_leads_to_a_place() -> None:
    """Each row names a file that exists and, where it names a function or class, that too."""
    table = TEXT.split("<!-- where -->", 1)[1].split("\n## ", 1)[0]
    rows = [line for line in table.splitlines() if line.startswith("| Where ")]
    assert len(rows) >= 5
    for row in rows:
        path, *names = re.findall(r"`([^`]+)`", row)
        assert (ROOT / path).is_file(), row
        for name in names:
            assert (ROOT / name).exists() or name in defined(ROOT / path), row


def test_every_path_exists() -> None:
    """Paths in the text stand for files of the project or of the package."""
    missing = [
        each
        for each in PATH.findall(TEXT)
        if not any((ROOT / base / each).exists() for base in ("", "assistant"))
    ]
    assert not missing


def test_the_rows_are_those_of_the_architecture_test() -> None:
    """The line of packages is the one that is enforced."""
    line = TEXT.split("<!-- rows -->\n```\n", 1)[1].split("\n", 1)[0]
    said = [set(re.split(r" \| ", row)) for row in line.split(" > ")]
    assert said == [set(row.split()) for row in ROWS]
