"""What passes through the program's own voice: the phrases that must, and nothing else."""

from collections.abc import Callable

import numpy as np
import pytest

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Judgement, Utterance
from assistant.speech.barge_in import BargeIn
from assistant.speech.cut_and_judge import CutAndJudge
from assistant.speech.listening_pipeline import ListeningPipeline
from assistant.speech.pcm import FULL_SCALE, bytes_of, samples_of
from assistant.speech.simulated_room import NoiseMaker, active_rms
from assistant.speech.tts import Voice
from assistant.speech.utterance_verification import Verifier

LEVEL = -26.0
UNION = (
    "dies are seated",
    "bottom is open",
    "bottom set filled",
    "sampler is out",
    "say again",
    "where are we",
    "stand by",
    "stop sampling now",
)
ALLOWED = ("stand by", "stop sampling now")
PROMPTS = (
    "Open the bottom port.",
    "Fill the bottom set for five seconds.",
    "Put the sampler on its stand, then say: sampler is out.",
    "Bottom set filled? Say: bottom set filled.",
)


@pytest.fixture(scope="module")
def judge() -> Verifier:
    """Decides with all phrases in competition."""
    made = Verifier()
    made.prepare(UNION, UNION)
    return made


@pytest.fixture(scope="module")
def prompt() -> Callable[[str], bytes]:
    """Render the program."""
    return Voice().render


@pytest.fixture(scope="module")
def operator() -> Callable[[str], bytes]:
    """Render the operator."""
    return Voice("en-us+f3", rate=150).render


def at_level(pcm: bytes, dbfs: float) -> np.ndarray:
    """Return sound brought to a level."""
    sound = samples_of(pcm).astype(np.float64)
    return np.asarray(sound * (FULL_SCALE * 10 ** (dbfs / 20) / active_rms(sound)))


class Speaking:
    """A second of the room, then a prompt with its echo in the microphone, then half a second."""

    def __init__(
        self, pipeline: ListeningPipeline, pcm: bytes, spoken: str, echo_db: float
    ) -> None:
        """Set the scene; `echo_db` is the level of the echo beside the operator's."""
        self._pipeline, self._spoken = pipeline, spoken
        self._echo = at_level(pcm, LEVEL + echo_db)
        self.seconds = self._echo.size / SAMPLE_RATE

    def heard(self, words: bytes = b"", after_s: float = 0.3) -> list[Judgement]:
        """Play it, with the operator speaking over it, and return what the pipeline decided."""
        over = at_level(words, LEVEL) if words else np.zeros(0)
        size = max(self._echo.size, round(after_s * SAMPLE_RATE) + over.size)
        sound = np.zeros(size + 3 * SAMPLE_RATE // 2)
        sound[SAMPLE_RATE : SAMPLE_RATE + self._echo.size] += self._echo
        begin = SAMPLE_RATE + round(after_s * SAMPLE_RATE)
        sound[begin : begin + over.size] += over
        sound += NoiseMaker(LEVEL - 25, "pink", 3).take(sound.size)
        judgements = []
        data, size = bytes_of(sound), 2 * BLOCK_SAMPLES
        starts, ends = 2 * SAMPLE_RATE, 2 * (SAMPLE_RATE + self._echo.size)
        for at in range(0, len(data) - size + 1, size):
            if at - size < starts <= at:
                self._pipeline.prompt_started(self._spoken)
            if at - size < ends <= at:
                self._pipeline.prompt_ended()
            judgements += self._pipeline.feed(data[at : at + size])
        return judgements


def strict_pipeline(
    judge: Callable[[Utterance], Judgement], allowed: tuple[str, ...] = ALLOWED
) -> ListeningPipeline:
    """Return a pipeline that lets these through."""
    pipeline = ListeningPipeline(CutAndJudge(judge), strict=BargeIn(judge))
    pipeline.allow_through(allowed)
    return pipeline


@pytest.mark.parametrize("echo_db", [-30.0, -20.0, -10.0])
@pytest.mark.parametrize("text", PROMPTS)
def test_the_programs_own_voice_leaves_no_trace(
    judge: Verifier, prompt: Callable[[str], bytes], text: str, echo_db: float
) -> None:
    """No judgement at all, not even a refusal, whatever the prompt says."""
    pipeline = strict_pipeline(judge.judge)
    assert Speaking(pipeline, prompt(text), text, echo_db).heard() == []


@pytest.mark.parametrize("phrase", ALLOWED)
def test_the_phrases_that_must_get_through_do(
    judge: Verifier, prompt: Callable[[str], bytes], operator: Callable[[str], bytes], phrase: str
) -> None:
    """Said over a prompt whose echo is 25 dB fainter."""
    pipeline = strict_pipeline(judge.judge)
    judgements = Speaking(pipeline, prompt(PROMPTS[2]), PROMPTS[2], -25.0).heard(operator(phrase))
    assert [(v.decision, v.text) for v in judgements] == [("accept", phrase)]


def test_any_other_phrase_over_a_prompt_is_dropped(
    judge: Verifier, prompt: Callable[[str], bytes], operator: Callable[[str], bytes]
) -> None:
    """However clearly said, and so is one of the two where it is not legal now."""
    for phrase, allowed in (("where are we", ALLOWED), ("stop sampling now", ("stand by",))):
        pipeline = strict_pipeline(judge.judge, allowed)
        scene = Speaking(pipeline, prompt(PROMPTS[2]), PROMPTS[2], -25.0)
        assert scene.heard(operator(phrase)) == []


def test_a_prompt_that_says_a_phrase_shuts_it_out(
    judge: Verifier, prompt: Callable[[str], bytes]
) -> None:
    """Loud enough to be taken otherwise, as the same sound under other words shows."""
    text = "Stop sampling now."
    assert Speaking(strict_pipeline(judge.judge), prompt(text), text, 0.0).heard() == []
    passed = Speaking(strict_pipeline(judge.judge), prompt(text), "Something else.", 0.0).heard()
    assert [v.text for v in passed] == ["stop sampling now"]


def test_after_the_prompt_the_ear_is_as_ever(
    judge: Verifier, prompt: Callable[[str], bytes], operator: Callable[[str], bytes]
) -> None:
    """Any legal phrase counts once the gate is open."""
    pipeline = strict_pipeline(judge.judge)
    scene = Speaking(pipeline, prompt(PROMPTS[0]), PROMPTS[0], -25.0)
    judgements = scene.heard(operator("where are we"), after_s=scene.seconds + 0.7)
    assert [(v.decision, v.text) for v in judgements] == [("accept", "where are we")]


def test_an_engine_without_figures_lets_nothing_through(
    prompt: Callable[[str], bytes], operator: Callable[[str], bytes]
) -> None:
    """What cannot be held to a stricter measure is not trusted through a prompt."""

    def sure(utterance: Utterance) -> Judgement:
        return Judgement("accept", "stand by", "", utterance, "sure of itself")

    pipeline = strict_pipeline(sure)
    scene = Speaking(pipeline, prompt(PROMPTS[0]), PROMPTS[0], -25.0)
    assert scene.heard(operator("stand by")) == []
