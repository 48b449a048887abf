r"""Fit the weights of the acceptance decision on the tuning half; print them as TOML.

A logistic regression whose weights are pulled towards those of an earlier, wider measurement, so
that a few hundred clips refine them without overturning them. Nothing here is used at run time.

    python -m tests.benchmarks.listening.train FOLDER \
        > assistant/speech/utterance_verification/alone.toml

FOLDER holds the evidence that `python -m tests.listening_bench --half tuning --into FOLDER` left.
"""

import argparse
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from assistant.speech.utterance_verification.score_model import Weights, parse
from tests.listening_bench.evidence import Evidence, read

Row = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Example:
    """One candidate phrase for one utterance, and whether it was really said."""

    figures: Mapping[str, float]
    said: bool
    weight: float


@dataclass(frozen=True, slots=True)
class Options:
    """What is fitted, and how firmly it is held to where it starts."""

    names: tuple[str, ...]
    pull: float
    near: float
    """Weight of a near miss beside any other clip."""


def examples(evidence: Sequence[Evidence], near: float) -> Iterator[Example]:
    """Yield every candidate."""
    for case in evidence:
        weight = near if case.kind == "near" else 1.0
        spoken = case.kind in {"phrase", "human-phrase"}
        for heard in case.heard:
            for candidate in heard.candidates:
                said = spoken and candidate.phrase == case.text
                yield Example(candidate.figures, said, weight)


def fit(rows: Sequence[Example], start: Weights, options: Options) -> Weights:
    """Return the refined weights; thresholds are left as they are."""
    raw = np.array([[row.figures[name] for name in options.names] for row in rows])
    sign = np.array([1.0 if row.said else -1.0 for row in rows])
    weight = np.array([row.weight for row in rows])
    scale = raw.std(axis=0) + 1e-9
    base = np.array([start.score(_only(row.figures, start)) for row in rows])
    scaled = (raw - raw.mean(axis=0)) / scale

    def loss(values: Row) -> tuple[float, Row]:
        total = values[0] + values[1] * base + scaled @ values[2:]
        cost = np.logaddexp(0.0, -sign * total) * weight
        slope = -sign * weight / (1.0 + np.exp(np.minimum(sign * total, 500.0)))
        held = options.pull * values[2:]
        gradient = np.r_[slope.sum(), slope @ base, scaled.T @ slope + held]
        return float(cost.sum() + values[2:] @ held / 2.0), gradient

    first = np.zeros(len(options.names) + 2)
    first[1] = 1.0
    found = minimize(loss, first, jac=True, method="L-BFGS-B", options={"maxiter": 2000}).x
    # The scale is free: it is set so that the start's own sum keeps its weight of one.
    change = found[2:] / scale / found[1]
    merged = dict(start.weights)
    for name, value in zip(options.names, change, strict=True):
        merged[name] = merged.get(name, 0.0) + float(value)
    bias = start.bias + float(found[0] / found[1] - change @ raw.mean(axis=0))
    return Weights(start.name, bias, merged, start.accept, start.ask)


def _only(figures: Mapping[str, float], weights: Weights) -> Mapping[str, float]:
    return {name: figures[name] for name in weights.weights}


def write(weights: Weights, header: str) -> str:
    """Return the weights as a file that `load` reads."""
    lines = [header, f"bias = {weights.bias:.4f}", f"accept = {weights.accept:.2f}"]
    lines += [f"ask = {weights.ask:.2f}", "", "[weights]"]
    lines += [f"{name} = {value:.5f}" for name, value in weights.weights.items()]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Fit and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--pull", type=float, default=100.0)
    parser.add_argument("--near", type=float, default=1.0)
    chosen = parser.parse_args()
    rows = list(examples(read(chosen.folder / "tuning.jsonl"), chosen.near))
    source = Path(__file__).parent / "start" / "alone.toml"
    start = parse(source.read_text(encoding="utf-8"), "alone")
    refined = fit(rows, start, Options(tuple(start.weights), chosen.pull, chosen.near))
    header = f'# Fitted on {len(rows)} candidates of the tuning half.\nversion = "fitted"'
    sys.stdout.write(write(refined, header))


if __name__ == "__main__":
    main()
