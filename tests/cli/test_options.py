"""Every command gets its options typed: the parser's values are those its dataclass declares."""

import argparse
import dataclasses
import shutil
import subprocess
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path
from typing import get_type_hints

import pytest
from pydantic import TypeAdapter

from assistant.cli import main
from assistant.cli.config import configure
from assistant.cli.parser import build_parser, typed

NOT_PASSED = {"command", "configured"}
"""Set by the parser itself."""

LINES = {
    "plans": "",
    "check": "bin",
    "draw": "bin -o a.svg",
    "labels": "bin -o a.pdf",
    "new_plan": "-o a.toml --answer vessel=drum",
    "phrases": "bin --card c.pdf",
    "rehearse": "--into folder --script a.toml --snr-db 12",
    "sound_check": "--silent",
    "enrol": "Ana --audio folder",
    "run": "bin --into folder --engine vosk --model folder --audio a.wav --register r "
    "--authority-url https://stamps.example --authority root.pem --view-host ::1",
    "replay": "folder --from 3",
    "verify": "folder --keys folder --register r --signed c",
    "register": "r --head c",
    "time_stamp": "folder --url https://stamps.example --authority root.pem",
    "keys": "Ana --into folder --passphrase-file a.txt",
    "sign": "folder --as Ana --meaning reviewed --key Ana.key.pem",
    "transcribe": "folder --as Ana --key Ana.key.pem --entry 7 --text hm",
    "sign_report": "r.pdf --as Ana --meaning approved --key Ana.key.pem --keys folder",
    "export": "folder --as csv -o out --keys folder",
    "archive_migrate": "--archive sqlite:///a",
    "archive_add": "folder folder=a.csv --keys folder --register r --unit mg",
    "archive_list": "--product P --from 2026-03-04 --as csv -o a.csv",
    "archive_find": "samples --sampler S --to 2026-03-04 --register r --plan 0123456789",
    "archive_trend": "P --last 20 --rehearsals --as json",
    "archive_check": "--workers 2 --scheduler tcp://a:1",
    "archive_re_hear": "--workers 1",
    "archive_rebuild": "folder other --keys folder --partial",
    "archive_export": "folder --product P --keys folder --authority root.pem",
    "archive_page": "--port 8601",
    "archive_roles": "",
    "assays": "folder -o a.csv --mean 99",
    "evaluate": "folder a.csv --stage 1 -o a.pdf --json a.json --unit mg --method-sd 0.4",
    "compare": "a=a.csv b=b.csv --significance 0.01",
}


def words(module: str) -> list[str]:
    """Return how the command of a module is called."""
    group, joined, action = module.partition("_")
    if group == "archive" and joined:
        return [group, action.replace("_", "-")]
    return [module.replace("_", "-")]


@pytest.mark.parametrize("module", LINES)
def test_the_parser_fills_the_declared_types(module: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """No option of the parser is lost, none is undeclared, and each has its declared type."""
    if module.startswith("archive"):
        for library in ("alembic", "bagit", "distributed", "sqlalchemy", "starlette"):
            pytest.importorskip(library)
    monkeypatch.delenv("SAMPLING_ASSISTANT_CONFIG", raising=False)
    line = [*words(module), *LINES[module].split()]
    namespace = build_parser().parse_args(line)
    if namespace.configured:
        configure(namespace)
    kind = import_module(f"assistant.cli.{module}").Options
    options = typed(kind, namespace)
    declared = {field.name for field in dataclasses.fields(kind)}
    assert declared == set(vars(namespace)) - NOT_PASSED
    for name, declared_type in get_type_hints(kind).items():
        TypeAdapter(declared_type).validate_python(getattr(options, name), strict=True)


def test_every_command_is_tried() -> None:
    """The list above is the parser's."""
    commands = dict(choices(build_parser()))
    archive = dict(choices(commands.pop("archive")))
    found = [[name] for name in commands] + [["archive", name] for name in archive]
    assert sorted(found) == sorted(map(words, LINES))


def choices(parser: argparse.ArgumentParser) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """Yield the commands of a parser."""
    for action in parser._actions:  # noqa: SLF001 - argparse offers no public way
        if isinstance(action.choices, dict):
            yield from action.choices.items()


def test_a_shell_completes_commands_and_options(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Bash itself takes the script and completes by it."""
    with pytest.raises(SystemExit) as ended:
        main(["--print-completion", "bash"])
    assert ended.value.code == 0
    script = tmp_path / "completion"
    script.write_text(capsys.readouterr().out, "utf-8")
    shell = shutil.which("bash")
    if shell is None:
        pytest.skip("bash is not installed")
    for words, place, wanted in (
        ("sampling-assistant veri", 1, "verify"),
        ("sampling-assistant verify --auth", 2, "--authority"),
    ):
        lines = (
            f"source {script}",
            f"COMP_WORDS=({words})",
            f"COMP_CWORD={place}",
            "_shtab_sampling_assistant",
            'echo "${COMPREPLY[@]}"',
        )
        done = subprocess.run([shell, "-c", "\n".join(lines)], capture_output=True, check=True)
        assert done.stdout.decode().split() == [wanted]
