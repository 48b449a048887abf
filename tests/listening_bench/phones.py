"""What the phone model makes of each case, fed as a microphone feeds it and never flushed."""

import json
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Decision
from assistant.speech.detector import PlacedJudgement
from assistant.speech.phone_decoder import Pronunciations, load_model
from assistant.speech.phone_listening import PhoneDetector, PhonesEngine
from assistant.speech.pocketsphinx_engine import model_folder
from tests.listening_bench.cases import Case, Material
from tests.listening_bench.evidence import Evidence
from tests.listening_bench.figures import Outcome
from tests.listening_bench.situations import Situation


@dataclass(frozen=True, slots=True)
class Heard:
    """What became of one case."""

    number: int
    decision: Decision
    phrase: str
    spoke: bool
    """Whether the program would say something about it."""
    delay: float
    """From the end of the words to the judgement given out, in seconds of sound."""
    cpu: float
    """Processor seconds of the whole listening."""
    seconds: float
    """Length of the clip."""


class Phones:
    """Listens to cases."""

    def __init__(
        self, material: Material, pronunciations: Mapping[str, Sequence[str]] | None = None
    ) -> None:
        """Load the model."""
        self._material = material
        words = Pronunciations(model_folder(), pronunciations)
        self._engine = PhonesEngine(load_model(), words, {})

    def detector(self, union: Sequence[str], situation: Situation) -> PhoneDetector:
        """Return a detector for one place in the procedure."""
        legal = {each: situation.stakes.get(each, "strict") for each in situation.legal}
        self._engine.prepare(union, legal, situation.expected)
        return PhoneDetector(self._engine)

    def hear(self, case: Case) -> Heard:
        """Play one case."""
        clip = self._material.clip(case)
        detector = self.detector(self._material.union_of(case), case.situation)
        size = 2 * BLOCK_SAMPLES
        data = clip.samples.astype("<i2").tobytes()
        started = time.process_time()
        found: list[tuple[int, PlacedJudgement]] = []
        for at in range(0, len(data) - size + 1, size):
            found += [(detector.position, each) for each in detector.feed(data[at : at + size])]
        cpu = time.process_time() - started
        decision: Decision = "refuse"
        phrase, closed = "", 0
        for wanted in ("accept", "ask"):
            those = [(at, e.judgement) for at, e in found if e.judgement.decision == wanted]
            if those:
                closed, judgement = those[0]
                decision, phrase = judgement.decision, judgement.text
                break
        spoke = any(
            each.judgement.decision != "refuse" or each.judgement.reason == "unclear"
            for _, each in found
        )
        delay = (closed - clip.end) / SAMPLE_RATE
        seconds = clip.samples.size / SAMPLE_RATE
        return Heard(case.number, decision, phrase, spoke, delay, cpu, seconds)


def hear_all(phones: Phones, cases: Sequence[Case], kept: Path) -> Iterator[Heard]:
    """Yield what becomes of all cases, playing only those not kept in the file yet."""
    done: dict[int, Heard] = {}
    if kept.is_file():
        for line in kept.read_text(encoding="utf-8").splitlines(keepends=True):
            if line.endswith("\n"):
                one = Heard(**json.loads(line))
                done[one.number] = one
    kept.parent.mkdir(parents=True, exist_ok=True)
    with kept.open("a", encoding="utf-8") as sink:
        for case in cases:
            heard = done.get(case.number)
            if heard is None:
                heard = phones.hear(case)
                sink.write(json.dumps(asdict(heard)) + "\n")
                sink.flush()
            yield heard


def outcome(case: Evidence, heard: Heard) -> Outcome:
    """Return the outcome for the table."""
    return Outcome(case, heard.decision, heard.phrase, heard.spoke)
