"""`phrases`: the shipped grammar passes, a bad one is refused with the pair named."""

from pathlib import Path

import pytest

from assistant.cli import main
from assistant.procedure.enums import State
from assistant.storage import bundled_files


@pytest.mark.parametrize("plan", bundled_files.plan_names())
def test_the_shipped_grammar_passes(plan: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every state is listed with its nearest pair; nothing is an error."""
    assert main(["phrases", plan]) == 0
    out = capsys.readouterr().out
    assert State.EMPTYING_DIES.value in out
    assert "0 errors" in out


def test_a_grammar_that_cannot_be_told_apart_fails(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The answer is no, and the pair is named with its distance."""
    bad = tmp_path / "bad.toml"
    text = bundled_files.read_grammar("en").decode()
    bad.write_text(text.replace("is short of powder", "short"), "utf-8")
    assert main(["phrases", "bin", "--grammar", str(bad)]) == 1
    out = capsys.readouterr().out
    assert "error: 'vial one full' and 'vial one short' can both be said in emptying" in out


@pytest.mark.parametrize("command", ["run", "rehearse"])
def test_no_session_begins_with_phrases_that_sound_alike(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The pair is named before any device is opened or folder made."""
    bad, into = tmp_path / "bad.toml", tmp_path / "record"
    text = bundled_files.read_grammar("en").decode()
    bad.write_text(text.replace("is short of powder", "short"), "utf-8")
    assert main([command, "bin", "--grammar", str(bad), "--into", str(into)]) == 2
    assert "'vial one full' and 'vial one short' can both be said" in capsys.readouterr().err
    assert not into.exists()


def test_an_unknown_word_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without its sounds there is nothing to compare."""
    bad = tmp_path / "bad.toml"
    text = bundled_files.read_grammar("en").decode()
    bad.write_text(text.replace("sampler at depth", "sampler at uppercase"), "utf-8")
    assert main(["phrases", "bin", "--grammar", str(bad)]) == 1
    assert "error: the word 'uppercase' has no known pronunciation" in capsys.readouterr().out


def test_files_that_are_not_there_are_bad_input(capsys: pytest.CaptureFixture[str]) -> None:
    """In one sentence, without a traceback."""
    assert main(["phrases", "nowhere.toml"]) == 2
    assert main(["phrases", "bin", "--grammar", "nowhere.toml"]) == 2
    assert "Traceback" not in capsys.readouterr().err
