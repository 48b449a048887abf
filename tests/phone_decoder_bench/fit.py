"""Fit the probability of a phrase on synthetic voices of the tuning half and foreign talk."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from assistant.ports import SAMPLE_RATE
from assistant.speech.phone_decoder.evidence import FIGURES, measure
from assistant.speech.phone_decoder.phone_model import PhoneModel
from assistant.speech.phone_decoder.phrase_scores import PhraseSet, ratios
from assistant.speech.phone_decoder.phrase_verifier import LONGEST_SAMPLES

from .clips import LEVELS, Clip, Studio

COUNTS: Final = {
    "phrase": 180, "near miss": 90, "talk": 60, "foreign talk": 60, "talk before": 20,
    "talk behind": 20, "no behind": 20, "not before": 20, "pause 0.3": 30, "pause 0.5": 30,
}  # fmt: skip
"""Clips of each kind, over all levels."""
NEAR_WEIGHT: Final = 0.2
"""A near miss counts as a fifth of another clip: people rarely say one. An assumption."""
PULL: Final = 1.0
EDGE: Final = 3 * SAMPLE_RATE // 10
FOLDS: Final = 5
BINS: Final = (0.0, 0.1, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0)

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Row:
    """The evidence for the best phrase of one clip."""

    voice: str
    figures: tuple[float, ...]
    right: bool
    weight: float


def rows(model: PhoneModel, phrases: PhraseSet, studio: Studio, share: float) -> list[Row]:
    """Measure the tuning clips; `share` of the counts."""
    found = []
    for kind, count in COUNTS.items():
        for number in range(int(count * share)):
            level = tuple(LEVELS)[number % len(LEVELS)]
            row = _row(model, phrases, studio.clip(kind, level, number))
            found += [row] if row else []
    return found


def _row(model: PhoneModel, phrases: PhraseSet, clip: Clip) -> Row | None:
    cut = clip.samples[max(clip.begin - EDGE, 0) : clip.end + EDGE][:LONGEST_SAMPLES]
    posteriors = model.run(cut.astype("<i2").tobytes())
    by_way = phrases.ways_scores(ratios(posteriors))
    best = int(np.maximum.reduceat(by_way, phrases.first).argmax())
    found = measure(best, phrases, by_way, posteriors)
    if found is None:
        return None
    weight = NEAR_WEIGHT if clip.kind == "near miss" else 1.0
    figures = tuple(found.figures[name] for name in FIGURES)
    return Row(clip.voice, figures, found.phrase == clip.phrase, weight)


def fitted(some: Sequence[Row]) -> tuple[float, Floats]:
    """Return bias and weights of a logistic regression, lightly drawn to zero."""
    figures = np.array([row.figures for row in some])
    sign = np.where([row.right for row in some], 1.0, -1.0)
    weight = np.array([row.weight for row in some])
    centre, scale = figures.mean(axis=0), figures.std(axis=0)
    standard = (figures - centre) / scale

    def loss(values: Floats) -> float:
        total = values[0] + standard @ values[1:]
        pulled = PULL * float((values[1:] ** 2).sum()) / 2
        return float((np.logaddexp(0.0, -sign * total) * weight).sum()) + pulled

    best = minimize(loss, np.zeros(len(FIGURES) + 1), method="L-BFGS-B").x
    slopes = best[1:] / scale
    return float(best[0] - slopes @ centre), slopes


def held_out(some: Sequence[Row]) -> Floats:
    """Return each row's probability by a fit without any clip of its voice's fold."""
    voices = sorted({row.voice for row in some})
    fold = np.array([voices.index(row.voice) % FOLDS for row in some])
    found = np.zeros(len(some))
    for number in range(FOLDS):
        bias, weights = fitted([row for row, at in zip(some, fold, strict=True) if at != number])
        mine = [int(at) for at in np.flatnonzero(fold == number)]
        total = bias + np.array([some[at].figures for at in mine]) @ weights
        found[mine] = 1.0 / (1.0 + np.exp(-total))
    return found


def reliability(some: Sequence[Row], probability: Floats) -> list[tuple[float, float, int, float]]:
    """Return for each bin its edges, its clips and the weighted share that was right."""
    table = []
    for low, high in pairwise(BINS):
        inside = (probability >= low) & ((probability < high) | (high == 1.0))
        rows_in = [row for row, taken in zip(some, inside, strict=True) if taken]
        weight = sum(row.weight for row in rows_in)
        right = sum(row.weight for row in rows_in if row.right)
        table.append((low, high, len(rows_in), right / weight if weight else float("nan")))
    return table


def written(name: str, some: Sequence[Row]) -> str:
    """Return the text of calibration.toml."""
    bias, weights = fitted(some)
    lines = [
        "# Probability that a phrase was said, from the figures of its evidence (logistic).",
        "# Written by: phone_decoder_bench fit (see tests). Synthetic voices of the tuning",
        f"# half and synthetic foreign talk only; {len(some)} clips, a near miss weighing a fifth.",
        "# Reliability, each voice judged by a fit without it (stated probability: clips, right):",
    ]
    for low, high, count, share in reliability(some, held_out(some)):
        lines.append(f"#   {low:.2f} to {high:.2f}: {count}, {share:.3f}")
    lines += [f'name = "{name}"', f"bias = {bias:.4f}", "", "[weights]"]
    lines += [f"{key} = {value:.4f}" for key, value in zip(FIGURES, weights, strict=True)]
    return "\n".join(lines) + "\n"
