"""The evidence for each case, computed once and kept: the slow part of the measurements.

A clip goes through the real end-of-speech detection; every utterance found is scored by the real
passes. Nothing is decided here, so that decisions can be compared on the same evidence.
"""

import json
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from assistant.ports import SAMPLE_RATE, Utterance
from assistant.speech.endpoint import Segment
from assistant.speech.pocketsphinx_engine import PocketSphinxRecogniser
from assistant.speech.utterance_verification.decoder_passes import Engine
from assistant.speech.utterance_verification.features import measure
from assistant.speech.utterance_verification.trimming import (
    dithered,
    samples_of,
    spread,
    trimmed,
)
from assistant.speech.utterance_verification.verifier import LONGEST, SHORTEST
from tests.listening_bench.cases import Case, Clip, Material
from tests.listening_bench.cutting import usable


@dataclass(frozen=True, slots=True)
class Candidate:
    """One phrase that an utterance might be, with the evidence for it."""

    phrase: str
    figures: Mapping[str, float]
    second: str = ""


@dataclass(frozen=True, slots=True)
class Heard:
    """One utterance cut out of a clip."""

    seconds: float
    delay: float
    """From the end of the words to the close of the utterance, in seconds of sound."""
    raw: str
    """What the engine without the acceptance layer makes of it."""
    raw_cpu: float
    cpu: float
    """Processor seconds for the raw decode, and for the passes of the acceptance layer."""
    candidates: tuple[Candidate, ...] = ()


@dataclass(frozen=True, slots=True)
class Evidence:
    """All utterances of one case."""

    number: int
    kind: str
    text: str
    voice: str
    noise: str
    level: str
    situation: str
    legal: tuple[str, ...]
    harmful: tuple[str, ...]
    heard: tuple[Heard, ...] = field(default_factory=tuple)
    read_back: tuple[str, ...] = ()
    """Those of `legal` that are asked back before they count."""


def about(case: Case, heard: tuple[Heard, ...] = ()) -> Evidence:
    """Return what is known of a case, with the utterances heard in it."""
    return Evidence(
        case.number,
        case.kind,
        case.text,
        case.voice,
        case.noise,
        case.level,
        case.situation.name,
        case.situation.legal,
        tuple(sorted(case.situation.harmful)),
        heard,
        tuple(sorted(case.situation.read_back)),
    )


class Collector:
    """Scores cases with one engine."""

    def __init__(
        self,
        material: Material,
        pronunciations: Mapping[str, Sequence[str]] | None = None,
    ) -> None:
        """Load the engines.

        Args:
            material: the half to measure on.
            pronunciations: as given to the live engine.
        """
        self._material = material
        self._engine = Engine(pronunciations)
        self._raw = PocketSphinxRecogniser(pronunciations)

    def collect(self, case: Case) -> Evidence:
        """Score one case."""
        union = self._material.union_of(case)
        self._engine.prepare(union, case.situation.legal)
        self._raw.prepare(union)
        clip = self._material.clip(case)
        heard = tuple(self._score(each, clip, case) for each in usable(clip.samples))
        return about(case, heard)

    def _score(self, segment: Segment, clip: Clip, case: Case) -> Heard:
        whole = samples_of(segment.utterance.pcm)
        cut = trimmed(whole)
        delay = (segment.closed_sample - clip.end) / SAMPLE_RATE
        started = time.process_time()
        raw = ""
        if case.kind != "harm":
            raw = self._raw.hear(Utterance(pcm=segment.utterance.pcm)).text
        raw_cpu = time.process_time() - started
        if not SHORTEST <= len(cut) / SAMPLE_RATE <= LONGEST:
            return Heard(len(cut) / SAMPLE_RATE, delay, raw, raw_cpu, 0.0)
        if case.kind == "harm" and self._engine.best(dithered(cut)) not in case.situation.legal:
            # Whatever the scores, this cannot be taken for something that may be said now.
            return Heard(len(cut) / SAMPLE_RATE, delay, raw, raw_cpu, 0.0)
        started = time.process_time()
        found = []
        # The legal phrase behind one that is not legal now can be asked back or keep the other from
        # counting; it is never taken, so it makes no difference to what unrelated sound does.
        wide = case.kind in {"phrase", "human-phrase", "near"}
        for passes in self._engine.run(dithered(cut), spread(whole)):
            figures = measure(passes, self._material.union_of(case), self._engine.pronounce)
            if figures is not None:
                found.append(Candidate(passes.phrase, figures, passes.second))
            if not wide:
                break
        cpu = time.process_time() - started
        return Heard(len(cut) / SAMPLE_RATE, delay, raw, raw_cpu, cpu, tuple(found))


def collect_all(collector: Collector, cases: Sequence[Case], kept: Path) -> Iterator[Evidence]:
    """Yield the evidence for all cases, scoring only those not kept in the file yet."""
    done = {each.number: each for each in read(kept)} if kept.is_file() else {}
    kept.parent.mkdir(parents=True, exist_ok=True)
    with kept.open("a", encoding="utf-8") as sink:
        for case in cases:
            evidence = done.get(case.number)
            if evidence is None:
                evidence = collector.collect(case)
                sink.write(json.dumps(asdict(evidence)) + "\n")
                sink.flush()
            yield evidence


def read(kept: Path) -> list[Evidence]:
    """Read a file of evidence back; a last line cut off by a break is left out."""
    found = []
    for line in kept.read_text(encoding="utf-8").splitlines(keepends=True):
        if line.endswith("\n"):
            table = json.loads(line)
            heard = tuple(
                Heard(**{**one, "candidates": tuple(Candidate(**c) for c in one["candidates"])})
                for one in table.pop("heard")
            )
            table |= {
                name: tuple(table[name])
                for name in ("legal", "harmful", "read_back")
                if name in table
            }
            found.append(Evidence(**table, heard=heard))
    return found
