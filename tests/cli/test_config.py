"""The configuration file: what it sets, what overrules it, and what it may not hold."""

import os
from pathlib import Path

import pytest

from assistant.cli.config import FILE_VARIABLE, Config, config_path, configure, read_config
from assistant.cli.parser import build_parser
from assistant.errors import InputError
from assistant.user_folder import FOLDER_VARIABLE


def test_what_the_file_says_holds_unless_the_command_line_says_otherwise(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A headset every day, and once not; other commands have no such options."""
    path = tmp_path / "config.toml"
    path.write_text('headset = true\nmicrophone = "boom"\nkey = "space"\nengine = "embedded"\n')
    monkeypatch.setenv(FILE_VARIABLE, str(path))
    parser = build_parser()
    options = parser.parse_args(["run", "bin", "--into", "x"])
    configure(options)
    assert (options.headset, options.microphone, options.key) == (True, "boom", "space")
    assert (options.engine, options.speaker) == ("embedded", "")
    options = parser.parse_args(
        ["run", "bin", "--into", "x", "--no-headset", "--microphone", "desk", "--key", "enter"]
    )
    configure(options)
    assert (options.headset, options.microphone, options.key) == (False, "desk", "enter")
    assert not parser.parse_args(["check", "bin"]).configured


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("headset = 3", "'headset'"),
        ("helmet = true", "'helmet'"),
        ("key = 'pedal'", "'key'"),
        ("headset", "not valid TOML"),
    ],
)
def test_a_file_that_cannot_be_used_is_named(text: str, message: str, tmp_path: Path) -> None:
    """In one sentence, with the key at fault."""
    path = tmp_path / "config.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=message):
        read_config(path, named=False)


def test_a_file_need_not_be_there_unless_it_is_named(tmp_path: Path) -> None:
    """Nor may it be a folder."""
    assert read_config(tmp_path / "none.toml", named=False) == Config()
    with pytest.raises(InputError, match="There is no configuration"):
        read_config(tmp_path / "none.toml", named=True)
    with pytest.raises(InputError, match="cannot be read"):
        read_config(tmp_path, named=False)


def test_where_it_is_looked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In the user's folder, unless the environment names the file itself."""
    monkeypatch.setenv(FOLDER_VARIABLE, str(tmp_path))
    monkeypatch.delenv(FILE_VARIABLE)
    assert config_path() == tmp_path / "config.toml"
    monkeypatch.setenv(FILE_VARIABLE, "mine.toml")
    assert config_path() == Path("mine.toml")
    monkeypatch.delenv(FILE_VARIABLE)
    monkeypatch.delenv(FOLDER_VARIABLE)
    assert config_path().parent.name == "sampling-assistant"


def test_the_tests_read_no_file_of_the_user() -> None:
    """Set for all of them."""
    assert os.environ[FILE_VARIABLE] == os.devnull
