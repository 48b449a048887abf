"""Every prompt of the program, coming back through the microphone, must trigger nothing.

All prompts of a session, and the rest of the grammar's with their fields filled in, are rendered
and mixed into the microphone's sound 10, 20 and 30 dB below the operator, with three reflections of
a small room and pink noise 25 dB down. Over some of them a synthetic operator says what must get
through.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache

import numpy as np
import numpy.typing as npt
import pytest

from assistant.clock import ManualClock
from assistant.conformance import retell
from assistant.grammar.language import Language, parse_grammar
from assistant.grammar.rendering import NUMBER, phrase, sentence, universe
from assistant.plan import parse_plan
from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Judgement
from assistant.procedure import queries
from assistant.procedure.effects import Say
from assistant.procedure.events import Meaning
from assistant.procedure.model import Session
from assistant.session.session_loop import THROUGH
from assistant.speech.barge_in import BargeIn
from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.pcm import FULL_SCALE, bytes_of, samples_of
from assistant.speech.simulated_room import NoiseMaker, active_rms
from assistant.speech.tts import Voice
from assistant.speech.utterance_verification import Verifier
from assistant.storage import bundled_files
from assistant.testing import quick_record
from tests.memory_journal import MemoryJournal

pytestmark = [pytest.mark.slow, pytest.mark.timeout(1800)]

GRAMMAR = bundled_files.read_grammar("en")
PLAN = b"[[locations]]".join(bundled_files.read_plan("double-cone").split(b"[[locations]]")[:3])
LEVEL, NOISE = -26.0, -51.0
ECHOES = (-30.0, -20.0, -10.0)
REFLECTIONS = ((160, 0.5), (420, 0.35), (900, 0.2))
"""Delay in samples and share of each."""
OPERATORS = ("en-us+f3", "en-us+m3", "en-gb-scotland")

Sound = npt.NDArray[np.float64]


class _Filled(dict[str, str]):
    """Fills whatever a template leaves open."""

    def __missing__(self, key: str) -> str:
        return {"position": "middle", "port": "middle", "vial": "seven"}.get(key, "two")


@cache
def english() -> Language:
    """Return the shipped grammar."""
    return parse_grammar(GRAMMAR, "en")


def prompts() -> list[tuple[str, Session]]:
    """Return each prompt once, in words, with the session as it stands while it sounds."""
    journal = MemoryJournal()
    quick_record(journal, ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC)), PLAN, GRAMMAR)
    found: dict[tuple[str, ...], tuple[str, Session]] = {}
    for told in retell(journal.lines(), parse_plan(PLAN, "plan"), english()):
        says = [effect for effect in told.outcome.effects if isinstance(effect, Say)]
        words = " ".join(sentence(english(), effect, spoken=True) for effect in says)
        if says:
            names = tuple(effect.prompt.value for effect in says)
            found.setdefault(names, (words, told.outcome.session))
    seen = {name for names in found for name in names}
    midway = list(found.values())[len(found) // 2][1]
    for prompt, template in english().prompts.items():
        if prompt.value not in seen:
            found[(prompt.value,)] = (template.format_map(_Filled()), midway)
    return list(found.values())


def at_level(pcm: bytes, dbfs: float) -> Sound:
    """Return sound brought to a level."""
    sound = samples_of(pcm).astype(np.float64)
    return np.asarray(sound * (FULL_SCALE * 10 ** (dbfs / 20) / active_rms(sound)))


def in_room(sound: Sound) -> Sound:
    """Return sound with its reflections."""
    mixed = sound.copy()
    for delay, share in REFLECTIONS:
        mixed[delay:] += share * sound[:-delay]
    return mixed / 1.2


class Bench:
    """One engine, and one pipeline for every prompt."""

    def __init__(self) -> None:
        """Load the engine and the voices."""
        self._judge = Verifier(english().pronunciations)
        self._voice = Voice()
        self._operators = [Voice(name, rate=150) for name in OPERATORS]

    def heard(
        self, text: str, session: Session, echo_db: float, words: str, turn: int
    ) -> list[Judgement]:
        """Return what is decided while a prompt sounds and the operator perhaps speaks over it."""
        known = [each for each in universe(english(), session) if NUMBER not in each]
        legal = [phrase(english(), meaning) for meaning in queries.options(session)]
        self._judge.prepare(known, [each for each in legal if NUMBER not in each])
        judge = self._judge.judge
        pipeline = ListeningPipeline(CutAndJudge(judge), strict=BargeIn(judge))
        pipeline.allow_through([each for each in must_pass() if each in legal])
        echo = in_room(at_level(self._voice.render(text), LEVEL + echo_db))
        over = np.zeros(0)
        if words:
            over = at_level(self._operators[turn % 3].render(words), LEVEL)
        room = np.random.default_rng(turn)
        begin = int(room.integers(max(1, echo.size - over.size)))
        sound = np.zeros(2 * SAMPLE_RATE + max(echo.size, begin + over.size))
        sound[SAMPLE_RATE : SAMPLE_RATE + echo.size] += echo
        sound[SAMPLE_RATE + begin : SAMPLE_RATE + begin + over.size] += over
        sound += NoiseMaker(NOISE, "pink", turn).take(sound.size)
        return list(
            self._played(pipeline, text, bytes_of(sound), SAMPLE_RATE + max(echo.size, over.size))
        )

    @staticmethod
    def _played(
        pipeline: ListeningPipeline, text: str, data: bytes, ends: int
    ) -> Iterator[Judgement]:
        size = 2 * BLOCK_SAMPLES
        for at in range(0, len(data) - size + 1, size):
            if at == 2 * SAMPLE_RATE:
                pipeline.prompt_started(text)
            if at - size < 2 * ends <= at:
                pipeline.prompt_ended()
            yield from pipeline.feed(data[at : at + size])


def must_pass() -> list[str]:
    """Return the phrases that must get through."""
    return [phrase(english(), Meaning(intent=intent)) for intent in THROUGH]


@pytest.fixture(scope="module")
def bench() -> Bench:
    """Load everything once."""
    return Bench()


@pytest.mark.parametrize("echo_db", ECHOES)
def test_no_prompt_triggers_anything(bench: Bench, echo_db: float) -> None:
    """None of all prompts leaves a judgement; the count of what was tried is printed."""
    told = prompts()
    found = [
        (text, judgement.text)
        for turn, (text, session) in enumerate(told)
        for judgement in bench.heard(text, session, echo_db, "", turn)
    ]
    print(f"echo {echo_db:g} dB: {len(found)} false triggers of {len(told)} prompts")  # noqa: T201 - a figure to read with -s
    assert len(told) > 60
    assert found == []


@pytest.mark.parametrize(("echo_db", "least"), [(-30.0, 0.8), (-20.0, 0.7), (-10.0, 0.0)])
def test_what_must_get_through_mostly_does(bench: Bench, echo_db: float, least: float) -> None:
    """Said over every second prompt that does not say it itself; nothing else is ever heard."""
    tried = hits = 0
    for turn, (text, session) in enumerate(prompts()[::2]):
        legal = [phrase(english(), meaning) for meaning in queries.options(session)]
        words = must_pass()[turn % 2]
        if words not in legal or words in text.lower():
            continue
        tried += 1
        judgements = bench.heard(text, session, echo_db, words, turn)
        assert {judgement.text for judgement in judgements} <= {words}
        hits += bool(judgements)
    print(f"echo {echo_db:g} dB: {hits} of {tried} got through")  # noqa: T201 - as above
    assert tried >= 20
    assert hits >= least * tried
