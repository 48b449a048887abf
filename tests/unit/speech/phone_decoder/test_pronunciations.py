"""Every word of the grammar can be pronounced, and a lacking one is named."""

import tomllib
from pathlib import Path

import pytest

from assistant.errors import DeviceError, GrammarError
from assistant.speech.phone_decoder.pronunciations import MOST_WAYS, Pronunciations
from assistant.speech.pocketsphinx_engine import model_folder
from tests.listening_bench.situations import union

GRAMMAR = tomllib.loads(
    (Path(__file__).parents[4] / "grammars" / "en.toml").read_text(encoding="utf-8")
)


@pytest.fixture(scope="module")
def words() -> Pronunciations:
    """Words."""
    return Pronunciations(model_folder(), GRAMMAR["pronunciations"])


def test_the_whole_grammar_can_be_said(words: Pronunciations) -> None:
    """The whole grammar can be said."""
    for phrase in union(GRAMMAR["phrases"]):
        assert 1 <= len(words.phrase(phrase)) <= MOST_WAYS
    digits = [word for row in GRAMMAR["digits"].values() for word in row]
    assert words.missing(digits) == []


def test_the_grammars_own_way_comes_first() -> None:
    """The grammars own way comes first."""
    own = Pronunciations(model_folder(), {"Vial": ["V AY L"]})
    assert own.word("vial")[0] == ("V", "AY", "L")
    assert len(own.word("vial")) > 1


def test_short_words_have_further_ways_behind_the_dictionarys(words: Pronunciations) -> None:
    """Some voices split the vowel of the answer that everything hangs on."""
    ways = words.word("affirm")
    assert ways[0] == ("AH", "F", "ER", "M")
    assert ("AH", "F", "ER", "AH", "M") in ways[1:]


def test_no_way_of_a_phrase_is_left_out(words: Pronunciations) -> None:
    """Three ways of "record", two of "a" and two of "remark"."""
    assert len(words.phrase("record a remark")) == 12


def test_a_word_nobody_can_say(words: Pronunciations) -> None:
    """A word nobody can say."""
    with pytest.raises(GrammarError, match=r'"blorptz" sounds. Add it to \[pronunciations\]'):
        words.phrase("vial blorptz full")


def test_an_empty_phrase(words: Pronunciations) -> None:
    """An empty phrase."""
    with pytest.raises(GrammarError, match="cannot be pronounced"):
        words.phrase(" ")


@pytest.mark.parametrize("way", ["", "V AY1 L", "Q"])
def test_sounds_that_do_not_exist(way: str) -> None:
    """Sounds that do not exist."""
    with pytest.raises(GrammarError, match="is not a row of English ARPAbet"):
        Pronunciations(model_folder(), {"vial": [way]})


def test_without_the_dictionary(tmp_path: Path) -> None:
    """Without the dictionary."""
    with pytest.raises(DeviceError, match=r"pronouncing dictionary .* cannot be read"):
        Pronunciations(tmp_path)
