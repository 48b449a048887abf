"""The phrase lint: what it finds, and that the shipped grammar passes it."""

from collections.abc import Callable, Sequence

import pytest

from assistant.errors import GrammarError
from assistant.grammar.lint import (
    AT_ANY_MOMENT,
    CLOSE,
    LEAST_SOUNDS,
    TOO_CLOSE,
    Finding,
    lint,
    nearest,
    refuse,
)
from assistant.grammar.numbers import spell_number
from assistant.grammar.phones import closeness
from assistant.grammar.rendering import phrase
from assistant.grammar.state_enumeration import situations
from assistant.plan import Plan
from assistant.procedure import prompts, queries
from assistant.procedure.effects import Say
from assistant.procedure.enums import ACTIVE, VIAL, Intent, Prompt, State
from assistant.procedure.events import Meaning
from tests.unit.grammar.conftest import changed, english, plan_of

Pronounce = Callable[[str], Sequence[str]]

ENGLISH = english()
NAMES = ("double-cone", "v-blender", "bin")


def watched() -> Plan:
    """Return a plan that leads to every state."""
    return plan_of("double-cone").model_copy(
        update={"witnessed": ("at-depth",), "weighing": plan_of("bin").weighing}
    )


def short(name: str) -> Plan:
    """Return a shipped plan with the short dialogue."""
    return plan_of(name).model_copy(update={"dialogue": "short"})


def short_watched() -> Plan:
    """Return a plan with the short dialogue in which a witness affirms what vials hold."""
    return short("double-cone").model_copy(update={"witnessed": ("vial",)})


def errors(findings: list[Finding], kind: str) -> list[Finding]:
    """Return the errors of one kind."""
    return [f for f in findings if (f.level, f.kind) == ("error", kind)]


@pytest.mark.parametrize("name", NAMES)
def test_the_shipped_grammar_passes(name: str, pronounce: Pronounce) -> None:
    """No error with any shipped plan."""
    refuse(ENGLISH, plan_of(name), pronounce)
    for plan in (plan_of(name), short(name)):
        assert [f for f in lint(ENGLISH, plan, pronounce) if f.level == "error"] == []


def test_the_shipped_grammar_passes_in_every_state(pronounce: Pronounce) -> None:
    """Weighing and witnessing together, with a triplicate sampler."""
    refuse(ENGLISH, watched(), pronounce)
    assert {s.state for s in situations(watched())} == set(ACTIVE)


@pytest.mark.slow
def test_the_vials_of_the_largest_studies_can_be_told_apart(pronounce: Pronounce) -> None:
    """Full, short and empty stay apart for every number of up to three digits."""
    for number in range(1, 1000):
        ways = []
        for intent in VIAL:
            words = phrase(ENGLISH, Meaning(intent=intent, vial=number)).split()
            assert spell_number(ENGLISH, str(number)).split() == words[1 : 1 + len(str(number))]
            ways.append([tuple(" ".join(pronounce(word)[0] for word in words).split())])
        for one, other in ((0, 1), (0, 2), (1, 2)):
            assert closeness(ways[one], ways[other]) >= TOO_CLOSE


def test_what_advances_or_records_is_long_enough(pronounce: Pronounce) -> None:
    """A single word, or one with few sounds, is refused where it confirms."""
    short = changed(phrases={"at-depth": "deep now"})
    found = errors(lint(short, plan_of("bin"), pronounce), "short")
    assert [f.phrases for f in found] == [("deep now",)]
    assert f"{LEAST_SOUNDS} sounds" in found[0].about
    single = changed(phrases={"at-depth": "approximately"})
    assert errors(lint(single, plan_of("bin"), pronounce), "short")


def test_short_answers_and_questions_are_let_pass(pronounce: Pronounce) -> None:
    """Affirm answers a direct question; a short question earns a warning."""
    found = lint(ENGLISH, plan_of("bin"), pronounce)
    short = {f.phrases for f in found if f.kind == "short"}
    assert ("say again",) in short
    assert ("affirm",) not in short


def test_two_phrases_that_sound_alike_are_refused_by_name(pronounce: Pronounce) -> None:
    """The pair of the trials that failed: full and short at seven."""
    alike = changed(phrases={"vial-short": "vial {vial} short"})
    with pytest.raises(GrammarError, match=r"'vial one full' and 'vial one short'.*emptying"):
        refuse(alike, plan_of("bin"), pronounce)
    found = errors(lint(alike, plan_of("bin"), pronounce), "alike")
    assert all(f.states == (State.EMPTYING_DIES,) for f in found)


def test_alike_in_different_states_is_no_matter(pronounce: Pronounce) -> None:
    """The phrases of two states never compete."""
    apart = changed(phrases={"dies-seated": "dies turned inward"})
    assert errors(lint(apart, plan_of("bin"), pronounce), "alike") == []
    together = changed(phrases={"shaft-marked": "shaft looks green"})
    assert errors(lint(together, plan_of("bin"), pronounce), "alike")


def test_nearly_alike_is_a_warning(pronounce: Pronounce) -> None:
    """Between the two limits the grammar may be used, and the pair is named."""
    close = changed(phrases={"shaft-marked": "shaft looks badly rubbed"})
    findings = lint(close, plan_of("bin"), pronounce)
    assert errors(findings, "alike") == []
    pair = next(f for f in findings if "shaft looks badly rubbed" in f.phrases)
    assert pair.level == "warning"
    assert "shaft looks clean" in pair.about


def test_the_nearest_pair_of_every_state_is_known(pronounce: Pronounce) -> None:
    """Each state has its pair, none under the limit."""
    found = nearest(ENGLISH, watched(), pronounce)
    assert set(found) == set(ACTIVE)
    for state, pair in found.items():
        assert state in pair.states
        assert TOO_CLOSE <= pair.distance <= 1
    assert found[State.EMPTYING_DIES].distance < CLOSE


def test_a_word_nobody_can_pronounce_is_named(pronounce: Pronounce) -> None:
    """Alone, for without its sounds nothing else about the phrase can be judged."""
    strange = changed(phrases={"at-depth": "sampler at uppercase"}, digits={"4": ["quatre"]})
    found = errors(lint(strange, plan_of("bin"), pronounce), "unknown-word")
    assert ["'uppercase'" in found[0].about, "'quatre'" in found[1].about] == [True, True]
    with pytest.raises(GrammarError, match="'uppercase' has no known pronunciation"):
        refuse(strange, plan_of("bin"), pronounce)


def test_the_override_of_the_sound_check_must_be_pronounceable(pronounce: Pronounce) -> None:
    """It is heard before there is a session."""
    strange = changed(**{"sound-check": {"override": "uppercase all"}})
    assert errors(lint(strange, plan_of("bin"), pronounce), "unknown-word")


def test_one_phrase_for_two_objects_is_refused(pronounce: Pronounce) -> None:
    """Two positions of the same name, or a phrase that another's object completes."""
    twice = changed(names={"top": "bottom"})
    assert errors(lint(twice, plan_of("v-blender"), pronounce), "twice")
    clash = changed(phrases={"tube-off": "bottom port open"})
    with pytest.raises(GrammarError, match="stands for both port-open and tube-off"):
        refuse(clash, plan_of("v-blender"), pronounce)


def test_operators_whose_calls_sound_alike_are_refused(pronounce: Pronounce) -> None:
    """Who operates must not hang on a vowel."""
    plan = plan_of("v-blender")
    people = tuple(
        person.model_copy(update={"call": call})
        for person, call in zip(plan.people, ("kilo", "lima"), strict=True)
    )
    with pytest.raises(GrammarError, match="'this is kilo' and 'this is lima'"):
        refuse(ENGLISH, plan.model_copy(update={"people": people}), pronounce)


@pytest.mark.parametrize(
    ("prompt", "words", "state", "contained"),
    [
        ("close", "Turn it until bottom closed again is true.", "closing", "bottom closed again"),
        ("ask-back", "Did you say: {phrase}? Affirm!", "doubting", "affirm"),
        ("too-early", "Too early. Please STAND BY.", "briefing", "stand by"),
    ],
)
def test_a_prompt_must_not_answer_itself(
    prompt: str, words: str, state: str, contained: str, pronounce: Pronounce
) -> None:
    """A phrase of a state stands in no prompt that is spoken there."""
    echo = changed(prompts={prompt: words})
    found = errors(lint(echo, plan_of("bin"), pronounce), "echo")
    assert found
    assert found[0].phrases == (contained,)
    assert found[0].states[0].value == state


def test_part_of_a_word_is_no_echo(pronounce: Pronounce) -> None:
    """Only whole words in a row count, wherever a prompt pauses."""
    fine = changed(prompts={"too-early": "Too early. Stand bystander."})
    assert errors(lint(fine, plan_of("bin"), pronounce), "echo") == []


def test_every_prompt_is_judged() -> None:
    """A prompt belongs to a state, may come at any moment, or ends the session."""
    entered = {
        effect.prompt
        for name in NAMES
        for plan in (plan_of(name), watched(), short(name), short_watched())
        for session in situations(plan)
        for effect in prompts.wordings(session)
        if isinstance(effect, Say)
    }
    ends = {Prompt.CLOSED, Prompt.STOPPED}
    assert entered | set(AT_ANY_MOMENT) | ends == set(Prompt)
    assert not entered & set(AT_ANY_MOMENT)


@pytest.mark.parametrize("name", NAMES)
def test_situations_offer_what_real_sessions_offer(name: str) -> None:
    """Every vial of the first and last insertion, every position, every caution."""
    offered = {m for s in situations(plan_of(name)) for m in queries.options(s)}
    plan = plan_of(name)
    size, last = plan.vials_per_insertion, len(plan.locations) * plan.vials_per_insertion
    vials = {m.vial for m in offered if m.intent is Intent.VIAL_FULL}
    assert vials == {*range(1, size + 1), *range(last - size + 1, last + size + 1)}
    opened = {m.position for m in offered if m.intent is Intent.PORT_OPEN}
    assert opened == set(plan.sampler.positions)
    raised = {m.position for m in offered if m.intent is Intent.SHAFT_RAISED}
    assert raised == set(plan.sampler.positions[1:])
    assert {Intent.CAUTION_ISOLATED, Intent.CORRECTION} <= {m.intent for m in offered}


def test_a_plan_without_cautions_has_no_briefing() -> None:
    """States that the plan does not lead to are not judged."""
    bare = plan_of("bin").model_copy(update={"cautions": (), "weighing": None})
    states = {s.state for s in situations(bare)}
    missing = {State.BRIEFING, State.WEIGHING, State.WITNESSING, State.RAISING}
    assert states == set(ACTIVE) - missing
