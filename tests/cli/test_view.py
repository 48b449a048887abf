"""The options of the page for a second person, as the commands answer them."""

import contextlib
import io
from collections.abc import Callable
from pathlib import Path
from typing import Self, cast

import pytest
from rich.console import Console

from assistant.cli.view_options import Page, SessionPage, page_of
from assistant.errors import InputError
from assistant.grammar import parse_grammar
from assistant.ports import Tone
from assistant.session.view_link import ViewLink
from assistant.storage import bundled_files
from tests.cli.conftest import Make, Run

pytest.importorskip("starlette", reason="needs the extra 'view'")

Refused = Callable[..., None]

EVERYWHERE = ("0.0.0.0", "::", "*", "")  # noqa: S104 - to be refused


@pytest.mark.parametrize("host", EVERYWHERE)
def test_an_address_that_stands_for_all_is_refused(host: str, tmp_path: Path) -> None:
    """A browser could name any, and a certificate cannot."""
    with pytest.raises(InputError, match="name the one address"):
        page_of(tmp_path, 0, host)


def test_a_page_in_the_network_has_a_certificate(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kept in the user's folder; a page on this machine needs none."""
    monkeypatch.setenv("SAMPLING_ASSISTANT_HOME", str(tmp_path / "home"))
    assert page_of(tmp_path, 0).fingerprint == ""
    assert len(page_of(tmp_path, 0, "192.0.2.5").fingerprint) == 64
    assert (tmp_path / "home" / "view" / "192.0.2.5.pem").is_file()


def test_the_fingerprint_is_shown_whole_and_begun_aloud() -> None:
    """Sixteen of its digits by the spelling alphabet."""
    said: list[str] = []

    class Mouth:
        name = "bench"

        def say(self, text: str, done: Callable[[], None], tone: Tone | None = None) -> None:
            assert tone is None
            said.append(text)
            done()

        def silence(self) -> None:
            """Nothing is being said."""

    class Link:
        url = "https://192.0.2.5:8580/"

        def __enter__(self) -> Self:
            return self

        def __exit__(self, *_: object) -> None:
            """Nothing was started."""

        def news(self) -> tuple[list[str], list[object]]:
            return ["code for the next viewer: 7QKD-2MXA"], []

    language = parse_grammar(bundled_files.read_grammar("en"), "en")
    for fingerprint, spoken in (("", 0), ("0A" * 32, 1)):
        out = io.StringIO()
        page = Page(cast("ViewLink", Link()), fingerprint)
        with contextlib.ExitStack() as stack:
            SessionPage(Console(file=out, width=200), page).open(stack, language, Mouth())
        assert "https://192.0.2.5:8580/" in out.getvalue()
        assert "7QKD-2MXA" in out.getvalue()
        assert (":".join(["0A"] * 32) in out.getvalue()) is bool(fingerprint)
        assert len(said) == spoken
    assert said == [f"Fingerprint: {' '.join(['zero alfa'] * 8)}."]


def test_a_viewer_on_record_is_told_and_proved(command: Run, taken: Make) -> None:
    """A record with somebody who joined is verified and replayed like any other."""
    folder = taken("watched")
    assert command("verify", folder).returncode == 0
    told = command("replay", folder, "--speed", 100_000).stdout
    assert "viewer 1 joined, 192.0.2.7; 2 wrong codes so far" in told


def test_sounds_are_played_at_one_place(command: Run, taken: Make, refused: Refused) -> None:
    """Either by the browser or by this machine's loudspeaker."""
    done = command("replay", taken("whole"), "--view", "--aloud")
    refused(done, 2, "leave out --aloud")


def test_a_spot_that_is_not_there_is_refused_before_serving(
    command: Run, taken: Make, refused: Refused
) -> None:
    """As without the page."""
    refused(command("replay", taken("whole"), "--view", "--from", 99_999), 2, "has no entry 99999")


def test_without_the_libraries_each_command_says_what_to_install(
    process: Run, taken: Make, refused: Refused, tmp_path: Path
) -> None:
    """Exit code 3, and no record is begun."""
    hidden = "import importlib.util\nfound = importlib.util.find_spec\n"
    hidden += "importlib.util.find_spec = lambda n, *a: None if n == 'starlette' else found(n, *a)"
    for words in (
        ("replay", taken("whole"), "--view"),
        ("rehearse", "bin", "--view", "--into", tmp_path / "new"),
    ):
        refused(process(*words, before=hidden), 3, "sampling-assistant[view]")
    assert not (tmp_path / "new").exists()


def test_a_broken_record_is_not_served(command: Run, taken: Make, refused: Refused) -> None:
    """It is refused as it is without the page."""
    folder = taken("whole")
    record = folder / "record.jsonl"
    record.write_bytes(record.read_bytes().replace(b"Mira", b"Mora", 1))
    refused(command("replay", folder, "--view"), 1, "Entry 1")
