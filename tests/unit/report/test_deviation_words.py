"""Deviations in words."""

import pytest

from assistant.procedure.enums import Kind
from assistant.report.deviation_words import in_words


@pytest.mark.parametrize("kind", list(Kind))
def test_every_kind_has_words(kind: Kind) -> None:
    """None is left as its key, and no slot stays open."""
    words = in_words(kind.value, "x")
    assert words != f"{kind.value} x"
    assert "{" not in words


@pytest.mark.parametrize(
    ("kind", "detail", "words"),
    [
        (
            "spill",
            "place-vessel amount-spoonful",
            "powder spilled: around the vessel's opening, about a spoonful",
        ),
        ("leak", "in-tube amount-trace", "powder leaked: inside the tube, only a trace"),
        ("spill", "", "powder spilled"),
        ("overrun", "bottom", "port open longer than planned, shaft at bottom"),
        ("wrong-object", "3", "named instead of the one in hand: vial 3"),
        ("wrong-object", "top", "named instead of the one in hand: top position"),
        ("wrong-object", "A|1|C|top|1", "named instead of the one in hand: label A|1|C|top|1"),
        ("device-lost", "speaker", "loudspeaker lost"),
        ("device-lost", "headset", "headset lost"),
        ("of-another-version", "", "of-another-version"),
    ],
)
def test_what_happened_is_told(kind: str, detail: str, words: str) -> None:
    """With where, how much, and which."""
    assert in_words(kind, detail) == words
