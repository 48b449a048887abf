"""How long the decision takes, and what it costs: measured on this machine while it runs."""

import resource
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Judgement, Utterance
from assistant.session.engine_factory import EngineChoice
from assistant.speech.detector import Detector
from assistant.speech.endpoint import EndpointSettings
from assistant.speech.pcm import bytes_of
from tests.listening_bench.cases import Case, Material
from tests.listening_bench.cutting import usable
from tests.listening_bench.noise import Noise, make

AHEAD_SECONDS: Final = EndpointSettings().post_roll_ms / 1000.0
"""Quiet after which the judgement is worked out ahead: what an utterance keeps behind the words."""


@dataclass(frozen=True, slots=True)
class Delay:
    """From the end of one utterance's words to the decision, all in seconds."""

    endpoint: float
    """To the close of the utterance by our detection."""
    engine: float
    """To the close by the detector built into the engine, with its defaults."""
    judged: float
    """Wall time of the judgement."""
    cpu: float
    """Processor time of the whole loop: cutting the clip into utterances and judging them."""
    raw_cpu: float
    """Processor time of decoding the same utterances with the grammar alone."""
    seconds: float
    """Length of the clip."""

    @property
    def total(self) -> float:
        """To the judgement, judged ahead; never before the utterance has closed."""
        hang = EndpointSettings().hang_ms / 1000.0
        return max(self.endpoint, self.endpoint - hang + AHEAD_SECONDS + self.judged)


def delays(
    material: Material,
    cases: Sequence[Case],
    judge: Callable[[Utterance], Judgement],
    raw: Callable[[Utterance], object],
) -> list[Delay]:
    """Time the judgement of each case's utterances, the last one's for the delay.

    Args:
        material: voices and noise.
        cases: what is said.
        judge: the acceptance layer, prepared.
        raw: the grammar decode without it, prepared with the same phrases.
    """
    found = []
    for case in cases:
        clip = material.clip(case)
        started = time.process_time()
        utterances = usable(clip.samples)
        cpu = time.process_time() - started
        if not utterances:
            continue
        judged = 0.0
        for each in utterances:
            wall, started = time.perf_counter(), time.process_time()
            judge(each.utterance)
            judged = time.perf_counter() - wall
            cpu += time.process_time() - started
        started = time.process_time()
        for each in utterances:
            raw(each.utterance)
        raw_cpu = time.process_time() - started
        closed = (utterances[-1].closed_sample - clip.end) / SAMPLE_RATE
        if closed > 0:
            engine = _engine_close(clip.samples.tobytes(), clip.end)
            seconds = clip.samples.size / SAMPLE_RATE
            found.append(Delay(closed, engine, judged, cpu, raw_cpu, seconds))
    return found


def _engine_close(audio: bytes, end: int) -> float:
    """Return when the engine's own detector closes the utterance, after the end of the words."""
    from pocketsphinx import Endpointer as Theirs  # noqa: PLC0415 - heavy

    theirs = Theirs()
    size = theirs.frame_bytes
    closed = len(audio) / 2
    for at in range(0, len(audio) - size, size):
        before = theirs.in_speech
        theirs.process(audio[at : at + size])
        if before and not theirs.in_speech and at / 2 > end:
            closed = (at + size) / 2
            break
    return (closed - end) / SAMPLE_RATE


@dataclass(frozen=True, slots=True)
class Listened:
    """What came of listening to noise alone."""

    minutes: float
    utterances: int
    accepted: int
    asked: int


def noise_alone(
    kind: Noise, minutes: int, material: Material, detectors: Mapping[str, Detector]
) -> Mapping[str, Listened]:
    """Listen to minutes of one noise with nobody speaking, with every detector at once.

    Args:
        kind: the noise.
        minutes: how long.
        material: recordings for the babble.
        detectors: the ways of listening by their names.
    """
    decisions: dict[str, list[str]] = {name: [] for name in detectors}
    size = BLOCK_SAMPLES * 2
    for minute in range(minutes):
        generator = np.random.default_rng([minute, len(kind)])
        sound = make(kind, 60 * SAMPLE_RATE, generator, material.talk) * 900.0
        data = bytes_of(sound)
        for at in range(0, len(data), size):
            for name, detector in detectors.items():
                heard = detector.feed(data[at : at + size])
                decisions[name] += [each.judgement.decision for each in heard]
    return {
        name: Listened(float(minutes), len(found), found.count("accept"), found.count("ask"))
        for name, found in decisions.items()
    }


_ROOT: Final = Path(__file__).parents[2]

_MEMORY: Final = """
import sys
import numpy as np
from assistant.ports import Utterance
from assistant.grammar.language import parse_grammar
from assistant.session.engine_factory import open_engine
from assistant.storage import bundled_files
from tests.listening_bench.timing import peak_memory
judge = open_engine(parse_grammar(bundled_files.read_grammar("en"), "en"), sys.argv[1])
judge.prepare(["stop sampling now", "say again", "stand by"], {"say again": "lenient"})
for seed in range(3):
    noise = np.random.default_rng(seed).normal(0, 900, 32000)
    judge.judge(Utterance(pcm=noise.astype("<i2").tobytes()))
print(peak_memory())
"""


def peak_memory() -> float:
    """Return the most memory this process has held, in megabytes."""
    status = Path("/proc/self/status")
    if status.is_file():
        # The kernel's own count begins anew with the program; `getrusage` inherits the parent's.
        line = next(row for row in status.read_text().splitlines() if row.startswith("VmHWM"))
        return int(line.split()[1]) / 1024.0
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return peak / (1024.0 * 1024.0 if sys.platform == "darwin" else 1024.0)


def memory(engine: EngineChoice) -> float:
    """Return the peak memory of a process that only judges, in megabytes."""
    command = [sys.executable, "-c", _MEMORY, engine]
    done = subprocess.run(
        command, capture_output=True, check=True, text=True, timeout=300, cwd=_ROOT
    )
    return float(done.stdout)
