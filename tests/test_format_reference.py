"""The published format references are what the models say."""

import pytest

from tests.format_reference import FOLDER, references

TEXTS = references()


@pytest.mark.parametrize("name", TEXTS)
def test_a_reference_is_up_to_date(name: str) -> None:
    """Write it anew with `python tests/format_reference.py` where a model has changed."""
    assert (FOLDER / name).read_text("utf-8") == TEXTS[name]


def test_no_reference_is_left_over() -> None:
    """Each file is made from a model."""
    assert {path.name for path in FOLDER.iterdir()} == set(TEXTS)
