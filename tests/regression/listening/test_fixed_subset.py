"""A small fixed part of the listening measurements: counts that must not get worse.

The whole table comes from `python -m tests.listening_bench`; this keeps a change of the engine,
the cutting or the weights from passing unnoticed. No time is measured here.
"""

import os
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Final

import pytest

from tests.listening_bench.cases import Kind
from tests.listening_bench.material import lacking
from tests.listening_bench.run import ALONE, PHONES, RAW, Setting, collect, ways
from tests.listening_bench.table import Listening

GRAMMAR = Path(__file__).parents[3] / "grammars" / "en.toml"
REQUIRED = os.environ.get("SAMPLING_ASSISTANT_MODELS") == "required"
WANTED: Final[Mapping[Kind, int]] = {
    "phrase": 36,
    "near": 6,
    "human": 26,
    "noise": 4,
    "harm": 40,
}

pytestmark = [pytest.mark.model, pytest.mark.slow, pytest.mark.timeout(900)]


@pytest.fixture(scope="module")
def listened(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Listening]:
    """Score the subset once; SAMPLING_ASSISTANT_CACHE keeps it between runs."""
    if gaps := lacking():
        if REQUIRED:
            pytest.fail(f"the listening material lacks {', '.join(gaps)}")
        pytest.skip(f"needs {', '.join(gaps)}")
    table = tomllib.loads(GRAMMAR.read_text(encoding="utf-8"))
    kept = os.environ.get("SAMPLING_ASSISTANT_CACHE")
    folder = Path(kept) if kept else tmp_path_factory.mktemp("listening")
    setting = Setting(table["phrases"], table["pronunciations"], folder)
    collected = collect(setting, WANTED, lambda _: None)
    return {way.name: way for way in ways(collected)}


@pytest.mark.parametrize("name", [ALONE, PHONES])
def test_nothing_false_gets_on_record(listened: dict[str, Listening], name: str) -> None:
    """Unrelated speech and noise never pass for a phrase that would advance or record here."""
    way = listened[name]
    assert [each.phrase for each in way.of("human", "noise", "harm") if each.harm] == []


@pytest.mark.parametrize(("name", "most"), [(ALONE, 1), (PHONES, 0)])
def test_hardly_any_talk_passes_for_a_phrase(
    listened: dict[str, Listening], name: str, most: int
) -> None:
    """Of 26 pieces of speech and 4 bursts of noise."""
    outcomes = listened[name].of("human", "noise")
    assert len(outcomes) == WANTED["human"] + WANTED["noise"]
    assert sum(each.decision == "accept" for each in outcomes) <= most


def test_the_raw_engine_accepts_most_talk(listened: dict[str, Listening]) -> None:
    """The same clips through the grammar alone: what the acceptance layer is for."""
    outcomes = listened[RAW].of("human")
    assert sum(each.decision == "accept" for each in outcomes) >= 0.6 * len(outcomes)


@pytest.mark.parametrize(("name", "least"), [(ALONE, 27), (PHONES, 27)])
def test_most_phrases_are_taken_at_first_saying(
    listened: dict[str, Listening], name: str, least: int
) -> None:
    """Of 36 phrases by test voices, a third each clean, at 20 and at 10 dB."""
    outcomes = listened[name].of("phrase")
    assert len(outcomes) == WANTED["phrase"]
    assert sum(each.right for each in outcomes) >= least


@pytest.mark.parametrize("name", [ALONE, PHONES])
def test_no_phrase_is_taken_for_another(listened: dict[str, Listening], name: str) -> None:
    """A wrong phrase is worse than none."""
    assert [each.phrase for each in listened[name].of("phrase") if each.wrong] == []
