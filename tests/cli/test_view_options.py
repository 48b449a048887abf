"""Where the page for a second person is served: an address as browsers write it, or a refusal."""

from pathlib import Path

import pytest

from assistant.cli.view_options import page_of
from assistant.errors import InputError

pytest.importorskip("starlette")


@pytest.fixture(autouse=True)
def _own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep certificates away from those of whoever runs the tests."""
    monkeypatch.setenv("SAMPLING_ASSISTANT_HOME", str(tmp_path))


@pytest.mark.parametrize(
    ("given", "name"),
    [
        ("192.0.2.5", "192.0.2.5"),
        ("Booth-2.example", "booth-2.example"),
        ("2001:0db8:0:0::1", "2001:db8::1"),
    ],
)
def test_an_address_is_named_as_a_browser_names_it(given: str, name: str, tmp_path: Path) -> None:
    """In its shortest form and in small letters, or what a browser sends would never fit."""
    page = page_of(tmp_path / "r", 8580, given)
    assert page.link.settings.host == name
    assert len(page.fingerprint) == 64


@pytest.mark.parametrize(
    "given",
    [
        "0.0.0.0",  # noqa: S104 - refused, not bound
        *("::", "::0", "0", "00.0.0.0", "0x0", "*", "", "köln", "a b", "a" * 70),
    ],
)
def test_what_is_no_single_address_is_refused(given: str, tmp_path: Path) -> None:
    """Every address at once, in whatever spelling, and what no certificate can name."""
    with pytest.raises(InputError, match="the one address of this machine"):
        page_of(tmp_path / "r", 8580, given)
