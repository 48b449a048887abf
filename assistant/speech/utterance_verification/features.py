"""Figures of evidence from the engine's passes: pure arithmetic.

Every figure compares the phrase under test with what the audio would be without it: per phone and
per word against the free loop of phones, in total against the runner-up phrase, in time against
the usual length of a phone.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import numpy as np
import numpy.typing as npt

from assistant.grammar.phones import distance
from assistant.speech.utterance_verification.decoder_passes import Passes, Segment

FRAMES_PER_PHONE: Final = 7.5
"""Usual length of a phone in frames of 10 ms, at an ordinary rate of speech."""
_WORST: Final = -150.0
"""A phone's figure is not counted below this; one clipped phone must not outweigh a phrase."""

Row = npt.NDArray[np.float64]
Pronounce = Callable[[str], list[list[list[str]]]]


def _per_frame(segments: Sequence[Segment], frames: int) -> Row:
    """Spread each segment's score evenly over its frames."""
    row = np.zeros(frames)
    for part in segments:
        stop = min(part.start + part.frames, frames)
        row[part.start : stop] = part.score / max(part.frames, 1)
    return row


def _said(passes: Passes) -> list[Segment]:
    return [part for part in passes.aligned if part.word >= 0]


def _fits(said: Sequence[Segment], loop: Row) -> list[float]:
    """Return each phone's score over the loop's in the same frames, per frame."""
    out = []
    for part in said:
        free = float(loop[part.start : part.start + part.frames].sum())
        out.append(max((part.score - free) / max(part.frames, 1), _WORST))
    return out


def _words(said: Sequence[Segment], fits: Sequence[float]) -> list[float]:
    words: dict[int, list[float]] = {}
    for part, fit in zip(said, fits, strict=True):
        words.setdefault(part.word, []).append(fit)
    return [sum(row) / len(row) for row in words.values()]


def flat(pronounced: Sequence[Sequence[Sequence[str]]]) -> list[str]:
    """Return the first pronunciation of every word, as one string of phones."""
    return [phone for word in pronounced for phone in word[0]]


def heard_phones(passes: Passes) -> list[str]:
    """Return what the free loop heard, without silence."""
    return [part.name for part in passes.loop if part.word >= 0]


def _spelling(passes: Passes, rivals: Sequence[str], pronounce: Pronounce) -> tuple[float, float]:
    """Return the loop's phone distance to the phrase, and how much nearer it is than a rival."""
    heard = heard_phones(passes)
    own = distance(heard, flat(pronounce(passes.phrase)))
    nearest = 1.0
    for other in rivals:
        spelt = flat(pronounce(other))
        # A difference in length alone already costs this much.
        least = abs(len(heard) - len(spelt)) / max(len(heard), len(spelt), 1)
        if other != passes.phrase and least < nearest:
            nearest = min(nearest, distance(heard, spelt))
    return own, nearest - own


def _outside(passes: Passes, first: int, last: int) -> float:
    """Count the phones that the free loop heard before and after the phrase."""
    return float(
        sum(
            1
            for part in passes.loop
            if part.word >= 0
            and part.frames > 2  # noqa: PLR2004 - shorter ones are the loop's filling
            and (part.start + part.frames / 2 < first or part.start + part.frames / 2 > last)
        )
    )


def measure(
    passes: Passes, rivals: Sequence[str], pronounce: Pronounce
) -> Mapping[str, float] | None:
    """Return the figures of evidence by name, or None when no phrase could be laid along.

    Args:
        passes: what the engine gave.
        rivals: phrases that could be meant, for the nearest other spelling.
        pronounce: words of a phrase to their pronunciations.
    """
    said = _said(passes)
    if not passes.phrase or not said or not passes.loop:
        return None
    frames = max(part.start + part.frames for part in (*passes.aligned, *passes.loop))
    path, loop = _per_frame(passes.aligned, frames), _per_frame(passes.loop, frames)
    first, last = said[0].start, said[-1].start + said[-1].frames
    length, phones = max(last - first, 1), len(said)
    fits = _fits(said, loop)
    ranked = sorted(fits)
    third = max(len(ranked) // 3, 1)
    stretch = math.log(length / (FRAMES_PER_PHONE * phones))
    own, nearer = _spelling(passes, rivals, pronounce)
    inside = slice(first, last)
    return {
        "gm": sum(fits) / phones,
        "g3": sum(ranked[:third]) / third,
        "gmin": ranked[0],
        "gw": min(_words(said, fits)),
        "llr": float(path[inside].sum() - loop[inside].sum()) / length,
        "llrtot": float(path.sum() - loop.sum()) / frames,
        "raw": float(path[inside].sum()) / length,
        "gap": (passes.score - passes.rival) / length,
        "other": float(passes.phrase != passes.union),
        "dur": stretch,
        "absdur": abs(stretch),
        "lnp": math.log(phones),
        "edl": own,
        "edgapl": nearer,
        "outside": _outside(passes, first, last),
        "brief": sum(part.frames <= 3 for part in said) / phones,  # noqa: PLR2004 - the shortest a phone can be
        "uneven": _unevenness(said),
        "spread": passes.spread,
        "tail": (frames - last) / 100.0,
        "lead": first / 100.0,
    }


def _unevenness(said: Sequence[Segment]) -> float:
    """Return the spread of the phones' lengths on a logarithmic scale."""
    logs = [math.log(max(part.frames, 1)) for part in said]
    mean = sum(logs) / len(logs)
    return math.sqrt(sum((value - mean) ** 2 for value in logs) / len(logs))
