"""Meanings to phrases and back, prompts to sentences."""

import pytest

from assistant.grammar.rendering import meanings, phrase, sentence, understand, universe
from assistant.plan import Position
from assistant.procedure.effects import Say
from assistant.procedure.enums import Intent, Prompt
from assistant.procedure.events import Meaning
from assistant.procedure.model import begin
from tests.unit.grammar.conftest import changed, english, plan_of

ENGLISH = english()
NAMES = ("double-cone", "v-blender", "bin")


@pytest.mark.parametrize("name", NAMES)
def test_every_phrase_is_understood_as_what_it_means(name: str) -> None:
    """Out and back again, whatever the spacing and the case."""
    session = begin(plan_of(name))
    known = universe(ENGLISH, session)
    assert len(known) == len(list(meanings(session)))
    for words, meaning in known.items():
        assert phrase(ENGLISH, meaning) == words
        assert understand(ENGLISH, known, f"  {words.upper()} ".replace(" ", "  ")) == meaning


def test_the_objects_are_the_plan_s() -> None:
    """Positions of the sampler, vials in hand, operators; witnesses do not take over."""
    known = universe(ENGLISH, begin(plan_of("v-blender")))
    assert "middle port open" not in known
    assert known["top port open"] == Meaning(intent=Intent.PORT_OPEN, position=Position.TOP)
    assert known["vial two full"].vial == 2
    assert "vial three full" not in known
    assert {m.call for m in known.values() if m.intent is Intent.TAKE_OVER} == {
        "charlie",
        "foxtrot",
    }
    cone = universe(ENGLISH, begin(plan_of("double-cone")))
    assert [m.call for m in cone.values() if m.call] == ["alpha"]


def test_masses_are_understood_digit_by_digit() -> None:
    """The unit must be said."""
    known = universe(ENGLISH, begin(plan_of("bin")))
    mass = understand(ENGLISH, known, "five six zero decimal two milligrams")
    assert mass == Meaning(intent=Intent.MASS, number="560.2")
    for words in ("five six zero", "fifty milligrams", "milligrams", "bottom fill it", ""):
        assert understand(ENGLISH, known, words) is None


def test_a_mass_is_said_digit_by_digit() -> None:
    """As it is read back."""
    said = phrase(ENGLISH, Meaning(intent=Intent.MASS, number="560.2"))
    assert said == "five six zero decimal two milligrams"


def test_a_phrase_is_said_in_single_spaced_lower_case() -> None:
    """However the grammar file writes it."""
    odd = changed(phrases={"at-depth": "  Sampler  at DEPTH "}, names={"top": "Oben"})
    assert phrase(odd, Meaning(intent=Intent.AT_DEPTH)) == "sampler at depth"
    assert phrase(odd, Meaning(intent=Intent.PORT_OPEN, position=Position.TOP)) == "oben port open"


@pytest.mark.parametrize(
    ("say", "spoken", "shown"),
    [
        (
            Say(Prompt.SEAT, {"location": "WB2", "count": 3}),
            "Location whiskey bravo two. Press 3 dies into the shaft.",
            "Location WB2. Press 3 dies into the shaft.",
        ),
        (
            Say(Prompt.ENTER, {"depth": 640}),
            "Insert closed, slowly, to six four zero millimetres.",
            "Insert closed, slowly, to 640 millimetres.",
        ),
        (
            Say(Prompt.NOT_NOW, {}, Meaning(intent=Intent.ON_STAND)),
            "I heard sampler on the stand. Not now.",
            "I heard sampler on the stand. Not now.",
        ),
        (
            Say(Prompt.READ_BACK_VIALS, {"vials": "9 10 11"}),
            "Vials nine, one zero, one one full?",
            "Vials 9, 10, 11 full?",
        ),
        (
            Say(Prompt.WHERE_OUTSIDE, {"step": "counting", "taken": 30, "planned": 30}),
            "Counting the dies. three zero of three zero taken.",
            "Counting the dies. 30 of 30 taken.",
        ),
        (
            Say(
                Prompt.CHOICES,
                options=(Meaning(intent=Intent.MASS), Meaning(intent=Intent.STAND_BY)),
            ),
            "You can say: the digits and then milligrams. stand by.",
            "You can say: the digits and then milligrams. stand by.",
        ),
        (Say(Prompt.CLOSE), "Turn back to close.", "Turn back to close."),
    ],
)
def test_prompts_are_spoken_for_the_ear_and_shown_for_the_eye(
    say: Say, spoken: str, shown: str
) -> None:
    """Codes and long numbers are spelt aloud only; every sentence begins with a capital."""
    assert sentence(ENGLISH, say, spoken=True) == spoken
    assert sentence(ENGLISH, say, spoken=False) == shown
