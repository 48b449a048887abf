"""Feed clips to the engine as a microphone would, and count what becomes of them."""

import time
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.stats import beta

from assistant.grammar.rendering import NUMBER
from assistant.ports import BLOCK_SAMPLES, SAMPLE_RATE, Stakes
from assistant.speech.phone_decoder import Decided, Event, PhoneEngine, PhraseVerifier, TakenBack

from .clips import Clip, lenient, phrases

BLOCK_S = BLOCK_SAMPLES / SAMPLE_RATE


def stakes() -> dict[str, Stakes]:
    """Return all phrases as legal, each with its stakes."""
    harmless = lenient()
    return {each: "lenient" if each in harmless else "strict" for each in phrases()}


Asked = tuple[Mapping[str, Stakes], Collection[str], Collection[str]]
"""What may be said with its stakes, what else is known, and what the prompt asked for."""


def asked(clip: Clip) -> Asked:
    """Return all phrases as legal; asked for is the clip's own, or anything where it has none."""
    legal: Mapping[str, Stakes] = stakes()
    if clip.kind == "digits":
        legal = {**legal, f"{NUMBER} milligrams": "strict"}
    expected = (clip.phrase,) if clip.phrase and clip.kind != "digits" else phrases()
    return legal, (), expected


@dataclass
class Tally:
    """What became of the clips of one row of the table."""

    count: int = 0
    outcomes: Counter[str] = field(default_factory=Counter)
    latencies: list[float] = field(default_factory=list)
    processor: float = 0.0
    seconds: float = 0.0
    missed: list[str] = field(default_factory=list)

    def add(self, clip: Clip, events: Iterable[Event]) -> None:
        """Count one clip by the last word on it: a phrase taken back was not taken."""
        self.count += 1
        decided = [each for each in events if isinstance(each, Decided)]
        undone = any(isinstance(each, TakenBack) for each in events)
        outcome = "nothing"
        for each in decided:
            found = _outcome(each, clip)
            if _RANK.index(found) > _RANK.index(outcome):
                outcome = found
            if each.judgement.decision == "accept":
                self.latencies.append(each.closed - clip.end / SAMPLE_RATE)
        if outcome in ("taken", "taken wrong") and undone:
            self.outcomes["undone"] += 1
            outcome = "refused"
        self.outcomes[outcome] += 1
        self.outcomes["spoke"] += any(each.speak for each in decided)
        if outcome not in ("taken", "refused"):
            self.missed.append(f"{clip.voice} {clip.said}: {outcome}")


_RANK = ("nothing", "refused", "asked wrong", "asked", "taken", "taken wrong")


def _outcome(decided: Decided, clip: Clip) -> str:
    verb = {"accept": "taken", "ask": "asked", "refuse": "refused"}[decided.judgement.decision]
    if verb == "refused":
        return verb
    return verb if _same(decided.judgement.phrase, clip.phrase) else f"{verb} wrong"


def _same(one: str, other: str) -> bool:
    """Whether two phrases mean the same; a digit may have two words."""
    alike = {"tree": "three", "fower": "four", "fife": "five", "niner": "nine", "point": "decimal"}
    plain = [" ".join(alike.get(word, word) for word in each.split()) for each in (one, other)]
    return plain[0] == plain[1] and bool(one)


def play(verifier: PhraseVerifier, clip: Clip) -> list[Event]:
    """Feed one clip in blocks of 50 ms; never flushed."""
    engine = PhoneEngine(verifier)
    found: list[Event] = []
    for number in range(clip.samples.size // BLOCK_SAMPLES):
        block = clip.samples[number * BLOCK_SAMPLES : (number + 1) * BLOCK_SAMPLES]
        found += engine.feed(block, number * BLOCK_S)
    return found


def run(
    verifier: PhraseVerifier, clips: Iterable[Clip], asking: Callable[[Clip], Asked] = asked
) -> dict[tuple[str, str], Tally]:
    """Play clips and count by kind and level; `asking` tells what may be said in each."""
    found: dict[tuple[str, str], Tally] = {}
    for clip in clips:
        verifier.set_legal(*asking(clip))
        tally = found.setdefault((clip.kind, clip.level), Tally())
        begun = time.process_time()
        events = play(verifier, clip)
        tally.processor += time.process_time() - begun
        tally.seconds += clip.samples.size / SAMPLE_RATE
        tally.add(clip, events)
    return found


def interval(hits: int, count: int) -> tuple[float, float]:
    """Return the exact two-sided 95 % interval of a share (Clopper and Pearson 1934)."""
    low = float(beta.ppf(0.025, hits, count - hits + 1)) if hits else 0.0
    high = float(beta.ppf(0.975, hits + 1, count - hits)) if hits < count else 1.0
    return low, high


def table(found: Mapping[tuple[str, str], Tally]) -> str:
    """Return the table, one row for each kind and level."""
    names = ("taken", "asked", "taken wrong", "asked wrong", "undone", "spoke")
    lines = ["| clips | level | n | " + " | ".join(names) + " | latency p50 / p95 s | core |"]
    lines.append("|---" * (len(names) + 5) + "|")
    for (kind, level), tally in found.items():
        cells = [_cell(tally.outcomes[name], tally.count) for name in names]
        late = np.percentile(tally.latencies, [50, 95]) if tally.latencies else (np.nan, np.nan)
        core = tally.processor / max(tally.seconds, 1e-9)
        lines.append(
            f"| {kind} | {level} | {tally.count} | {' | '.join(cells)} "
            f"| {late[0]:.2f} / {late[1]:.2f} | {core:.3f} |"
        )
    return "\n".join(lines)


def _cell(hits: int, count: int) -> str:
    low, high = interval(hits, count)
    return f"{hits} ({100 * low:.0f}-{100 * high:.0f} %)"
