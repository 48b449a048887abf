"""The phrase lint: checks that phrases legal in the same state sound different enough.

The phrases legal in each state of a plan are compared with each other and with what the program
itself says there. With these limits confusions were few in trials; they are a judgement, not a law.
Pure: the caller supplies the pronunciations.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, islice, product
from typing import Literal

from assistant.errors import GrammarError
from assistant.grammar.language import Language
from assistant.grammar.phones import Way, closeness
from assistant.grammar.rendering import NUMBER, meanings, phrase, sentence
from assistant.grammar.state_enumeration import situations
from assistant.plan.model import Plan
from assistant.procedure import prompts, queries
from assistant.procedure.effects import Say
from assistant.procedure.enums import QUESTIONS, Intent, Prompt, State
from assistant.procedure.model import Session

TOO_CLOSE = 0.35
"""Nearer phrases may not be legal in the same state; edits per phone of the longer one."""

CLOSE = 0.5
"""Phrases nearer than this get a warning."""

LEAST_WORDS = 2
LEAST_SOUNDS = 8
"""Phones that a phrase needs if it advances or records."""

FEW_SOUNDS = 7
"""Shorter phrases get a warning."""

ANSWERS = (Intent.AFFIRM, Intent.NEGATIVE)
"""These only answer a direct question, and may be short."""

_HARMLESS = (*ANSWERS, *QUESTIONS, Intent.STAND_BY, Intent.RESUME, Intent.DISREGARD)
"""Intents that neither advance the work nor record anything about it."""

MOST_WAYS = 64
"""Ways to say one phrase that are looked at."""

QUOTING = (Prompt.ASK_BACK, Prompt.READ_BACK, Prompt.ASK_WITNESS, Prompt.CHOICES, Prompt.SAY_THIS)
"""Prompts that quote phrases on purpose; only their own words are judged."""

AT_ANY_MOMENT = (
    *(Prompt.FILL_OVERRUN, Prompt.NOTED, Prompt.NOTE_DROPPED, Prompt.REMARK_KEPT),
    *(Prompt.CORRECTED, Prompt.NOTHING_TO_CORRECT, Prompt.WHERE, Prompt.WHERE_OUTSIDE),
    *(
        Prompt.CHOICES,
        Prompt.NOT_NOW,
        Prompt.SAY_THIS,
        Prompt.OTHER_LABEL,
        Prompt.WRONG_POSITION,
        Prompt.WRONG_VIAL,
        Prompt.TOO_EARLY,
    ),
    *(Prompt.OUT_OF_RANGE, Prompt.BELOW_MINIMUM, Prompt.MASS_OUTSIDE, Prompt.NOT_UNDERSTOOD),
    *(Prompt.TAKEN_OVER, Prompt.UNKNOWN_PERSON, Prompt.MICROPHONE_LOST, Prompt.MICROPHONE_BACK),
    *(Prompt.SPEAKER_LOST, Prompt.SPEAKER_BACK, Prompt.NOISE_ROSE, Prompt.STORAGE_FAILED),
    *(Prompt.STORAGE_BACK, Prompt.HEAD, Prompt.FILL_REACHED, Prompt.SHAKE_OFF_REACHED),
    *(Prompt.CLOSE_NOW, Prompt.UNCOVER, Prompt.UNCOVER_BRIEF),
)
"""Prompts that do not belong to one state: they may be heard wherever the work stands."""

Pronounce = Callable[[str], Sequence[str]]
"""A word's pronunciations, each as sounds with spaces between; none where it is unknown."""

_WORD = re.compile(r"[^\W_]+(?:['-][^\W_]+)*")


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is wrong with a grammar, or nearly."""

    level: Literal["error", "warning"]
    kind: Literal["unknown-word", "twice", "short", "alike", "echo"]
    about: str
    """What was found, in one sentence."""
    states: tuple[State, ...] = ()
    phrases: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Pair:
    """Two phrases that can be said in the same states, and how far apart they sound."""

    one: str
    other: str
    distance: float
    states: tuple[State, ...]


def lint(language: Language, plan: Plan, pronounce: Pronounce) -> list[Finding]:
    """Judge a grammar for a plan.

    Args:
        language: the grammar.
        plan: decides which states, positions, vials and people there are.
        pronounce: gives the pronunciations of a word.

    Returns:
        errors first, then warnings, each kind in the order of the states.
    """
    spoken = list(dict.fromkeys(words for words, _ in _all(language, plan)))
    override = language.sound_check.override.lower()
    near = [words.lower() for wordings in language.near.values() for words in wordings]
    findings = list(_unknown((*spoken, *near, override), language, pronounce))
    findings += _twice(_all(language, plan))
    if not findings:
        ways = {words: _ways(words, language, pronounce) for words in spoken}
        findings += _short(language, plan, ways)
        findings += _alike(_pairs(_offered(language, plan), ways))
    findings += _echoed(language, plan)
    return sorted(findings, key=lambda finding: finding.level)


def nearest(language: Language, plan: Plan, pronounce: Pronounce) -> dict[State, Pair]:
    """Return the two phrases of each state that are hardest to tell apart.

    States with a single phrase are left out; every word must have a pronunciation.
    """
    offered = _offered(language, plan)
    spoken = {words for sets in offered.values() for legal in sets for words in legal}
    pairs = _pairs(offered, {words: _ways(words, language, pronounce) for words in spoken})
    found: dict[State, Pair] = {}
    for pair in sorted(pairs, key=lambda pair: pair.distance):
        for state in pair.states:
            found.setdefault(state, pair)
    return {state: found[state] for state in offered if state in found}


def refuse(language: Language, plan: Plan, pronounce: Pronounce) -> None:
    """Refuse a grammar whose phrases cannot be told apart.

    Raises:
        GrammarError: names the first word, phrase or pair at fault.
    """
    for finding in lint(language, plan, pronounce):
        if finding.level == "error":
            raise GrammarError(f"Grammar '{language.language}': {finding.about}")


def _offered(language: Language, plan: Plan) -> dict[State, list[tuple[str, ...]]]:
    """Return every set of phrases that can be said together, by state."""
    found: dict[State, list[tuple[str, ...]]] = {}
    for session in situations(plan):
        legal = tuple(phrase(language, meaning) for meaning in queries.options(session))
        found.setdefault(session.state, []).append(legal)
    return found


def _all(language: Language, plan: Plan) -> list[tuple[str, Intent]]:
    """Return every phrase of a plan with its intent, each meaning once."""
    found = dict.fromkeys(
        (meaning, meaning.intent) for s in situations(plan) for meaning in meanings(s)
    )
    return [(phrase(language, meaning), intent) for meaning, intent in found]


def _unknown(spoken: Iterable[str], language: Language, pronounce: Pronounce) -> Iterator[Finding]:
    """Yield the words without a pronunciation."""
    digits = [word for words in language.digits.values() for word in words]
    seen: set[str] = set()
    for text in (*spoken, *digits):
        for word in text.split():
            if word not in seen and word != NUMBER and not pronounce(word):
                yield Finding(
                    "error",
                    "unknown-word",
                    f"the word '{word}' has no known pronunciation; use another, or add its "
                    "sounds under [pronunciations].",
                    phrases=(text,),
                )
            seen.add(word)


def _twice(spoken: Iterable[tuple[str, Intent]]) -> Iterator[Finding]:
    """Yield phrases that stand for more than one meaning once their objects are filled in."""
    first: dict[str, Intent] = {}
    for words, intent in spoken:
        if words in first:
            yield Finding(
                "error",
                "twice",
                f"'{words}' stands for both {first[words].value} and {intent.value}, or for two "
                "objects of one; change one.",
                phrases=(words,),
            )
        first.setdefault(words, intent)


def _ways(words: str, language: Language, pronounce: Pronounce) -> list[Way]:
    """Return the ways to say a phrase; a number is as short as one digit."""
    each = []
    for word in words.split():
        if word == NUMBER:
            digits = [w for key, names in language.digits.items() if key != "." for w in names]
            each.append([way for digit in digits for way in pronounce(digit)])
        else:
            each.append(list(pronounce(word)))
    chosen = islice(product(*each), MOST_WAYS)
    return [tuple(" ".join(parts).split()) for parts in chosen]


def _short(language: Language, plan: Plan, ways: dict[str, list[Way]]) -> Iterator[Finding]:
    """Yield phrases that are too short to be told from other speech."""
    for words, intent in _all(language, plan):
        sounds = min(len(way) for way in ways[words])
        if intent in _HARMLESS:
            if sounds < FEW_SOUNDS and intent not in ANSWERS:
                about = f"'{words}' has only {sounds} sounds."
                yield Finding("warning", "short", about, (), (words,))
        elif len(words.split()) < LEAST_WORDS or sounds < LEAST_SOUNDS:
            yield Finding(
                "error",
                "short",
                f"'{words}' has {sounds} sounds; what advances or records needs {LEAST_WORDS} "
                f"words and {LEAST_SOUNDS} sounds.",
                phrases=(words,),
            )


def _pairs(offered: dict[State, list[tuple[str, ...]]], ways: dict[str, list[Way]]) -> list[Pair]:
    """Return every two phrases that can be said in the same state, with how alike they sound."""
    states: dict[tuple[str, str], dict[State, None]] = {}
    for state, sets in offered.items():
        for legal in sets:
            for one, other in combinations(sorted(legal), 2):
                states.setdefault((one, other), {})[state] = None
    return [
        Pair(one, other, closeness(ways[one], ways[other]), tuple(where))
        for (one, other), where in states.items()
    ]


def _alike(pairs: Iterable[Pair]) -> Iterator[Finding]:
    """Yield the pairs that sound too much alike."""
    for pair in pairs:
        if pair.distance >= CLOSE:
            continue
        where = pair.states[0].value + (" and elsewhere" if len(pair.states) > 1 else "")
        yield Finding(
            "error" if pair.distance < TOO_CLOSE else "warning",
            "alike",
            f"'{pair.one}' and '{pair.other}' can both be said in {where} and sound alike "
            f"({pair.distance:.2f}; {TOO_CLOSE} at least, {CLOSE} better); change one.",
            pair.states,
            (pair.one, pair.other),
        )


def _echoed(language: Language, plan: Plan) -> Iterator[Finding]:
    """Yield phrases that a prompt of their own state contains: the program must not answer itself.

    Prompts that quote a phrase do so on purpose; their own words are judged all the same.
    """
    found: dict[tuple[str, str], list[State]] = {}
    general = [_words(language.prompts[p].format_map(_Blank())) for p in AT_ANY_MOMENT]
    for session in situations(plan):
        said = [*general, *(_words(text) for text in _prompts(language, session))]
        for legal in (phrase(language, meaning) for meaning in queries.options(session)):
            key = f" {legal} "
            for text in said:
                if key in text:
                    states = found.setdefault((legal, text.strip()), [])
                    if session.state not in states:
                        states.append(session.state)
    for (legal, text), states in found.items():
        yield Finding(
            "error",
            "echo",
            f"in {states[0].value} the program says '{text}', which contains the phrase '{legal}'; "
            "change one.",
            tuple(states),
            (legal,),
        )


def _prompts(language: Language, session: Session) -> Iterator[str]:
    """Yield what is said in a state, in all wordings, without the phrases it quotes."""
    for effect in prompts.wordings(session):
        if isinstance(effect, Say):
            bare = replace(effect, meaning=None) if effect.prompt in QUOTING else effect
            yield sentence(language, bare, spoken=True)


class _Blank(dict[str, str]):
    """Fills every slot with a sign that is no word."""

    def __missing__(self, key: str) -> str:
        return "..."


def _words(text: str) -> str:
    """Return the words of a text with single spaces around each."""
    return f" {' '.join(_WORD.findall(text.lower()))} "
