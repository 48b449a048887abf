"""Files that commands write: no other is replaced unasked, and the name fits the form."""

from collections.abc import Callable
from pathlib import Path

import pytest

Run = Callable[..., object]
Refused = Callable[..., None]
Make = Callable[[str], Path]

WRITERS = (
    ("draw bin -o", "a.svg"),
    ("labels bin -o", "a.pdf"),
    ("phrases bin --card", "a.pdf"),
    ("new-plan --defaults -o", "a.toml"),
    ("export RECORD --as json -o", "a.json"),
    ("export RECORD --as sheet -o", "a.pdf"),
    ("assays RECORD -o", "a.csv"),
    ("evaluate RECORD SHEET -o", "a.pdf"),
    ("evaluate RECORD SHEET --json", "a.json"),
    ("time-stamp RECORD --request", "a.tsq"),
)
"""A command up to the file that it writes, and a name for that."""


@pytest.mark.parametrize(("words", "name"), WRITERS)
def test_no_file_is_replaced_unasked(  # noqa: PLR0917 - the fixtures of one test
    words: str, name: str, command: Run, refused: Refused, taken: Make, tmp_path: Path
) -> None:
    """The file stays as it was, byte for byte, until --overwrite is given."""
    made, sheet = tmp_path / name, tmp_path / "lab.csv"
    there: dict[str, object] = {}
    if "RECORD" in words:
        there["RECORD"] = taken("whole")
    if "SHEET" in words:
        there["SHEET"] = sheet
        command("assays", there["RECORD"], "-o", sheet, "--decimals", 3)
    line = [there.get(word, word) for word in words.split()]
    made.write_bytes(b"mine")
    refused(command(*line, made), 2, f"{made} exists: ", "--overwrite")
    assert made.read_bytes() == b"mine"
    command(*line, made, "--overwrite")
    assert len(made.read_bytes()) > len(b"mine")


def test_comparison_replaces_nothing_unasked(
    command: Run, refused: Refused, tmp_path: Path
) -> None:
    """It is refused before a record is read."""
    made = tmp_path / "a.html"
    made.write_bytes(b"mine")
    refused(command("compare", "a=b", "c=d", "-o", made), 2, f"{made} exists: ")


def test_a_table_that_is_there_keeps_all_from_being_written(
    command: Run, refused: Refused, taken: Make, tmp_path: Path
) -> None:
    """One of the tables in the folder is enough: none is replaced, none is added."""
    record, folder = taken("whole"), tmp_path / "tables"
    folder.mkdir()
    (folder / "samples.csv").write_bytes(b"mine")
    words = ("export", record, "--as", "csv", "-o", folder)
    refused(command(*words), 2, f"{folder / 'samples.csv'} exists: ")
    assert [path.name for path in folder.iterdir()] == ["samples.csv"]
    command(*words, "--overwrite")
    assert (folder / "samples.csv").read_bytes() != b"mine"


@pytest.mark.parametrize(
    ("words", "name", "piece"),
    [
        ("labels bin -o", "a.png", "name a file ending in .pdf"),
        ("draw bin -o", "a.jpg", "name a file ending in .svg or .png or .pdf"),
        ("new-plan --defaults -o", "a.pdf", "name a file ending in .toml"),
        ("export RECORD --as sheet -o", "a.json", "name a file ending in .pdf"),
        ("export RECORD --as json -o", "a", "name a file ending in .json"),
        ("export RECORD --as csv -o", "a.csv", "name a folder, without .csv"),
        ("export RECORD --as csv -o", "a.PDF", "name a folder, without .PDF"),
        ("assays RECORD -o", "a.pdf", "name a file ending in .csv"),
    ],
)
def test_a_name_that_promises_another_form_is_refused(  # noqa: PLR0917 - one case, one line
    words: str, name: str, piece: str, command: Run, refused: Refused, taken: Make, tmp_path: Path
) -> None:
    """Nothing is written under it."""
    record = taken("whole") if "RECORD" in words else None
    line = [record if word == "RECORD" else word for word in words.split()]
    refused(command(*line, tmp_path / name), 2, f"{tmp_path / name}: ", piece)
    assert not (tmp_path / name).exists()
