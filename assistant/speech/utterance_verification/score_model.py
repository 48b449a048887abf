"""Weights of the decision, read from a file that says where they come from."""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from importlib.resources import files

from assistant.errors import GrammarError


@dataclass(frozen=True, slots=True)
class Clarity:
    """How much more is asked of an utterance that stands clear of the noise.

    Clear speech leaves less room for doubt: a phrase that is really said fits better there, while
    one that is almost said does not.
    """

    above_db: float = 0.0
    """Loud over quiet frames from which on more is asked."""
    per_db: float = 0.0
    """What each further dB adds to the threshold."""
    most: float = 0.0
    """The most that is added."""

    def more(self, spread_db: float) -> float:
        """Return what is added to the threshold of acceptance."""
        return min(max(spread_db - self.above_db, 0.0) * self.per_db, self.most)


@dataclass(frozen=True, slots=True)
class Weights:
    """A weighted sum of figures, and the two thresholds that cut it into three outcomes."""

    name: str
    bias: float
    weights: Mapping[str, float]
    """Weight of each figure by name; "a*b" weighs the product of two figures."""
    accept: float
    """At or above this sum the phrase is taken."""
    ask: float
    """At or above this sum, and below `accept`, the phrase is asked back."""
    centre: Mapping[str, float] = field(default_factory=dict)
    """Subtracted from a figure before weighing; 0 where not given."""
    clarity: Clarity = field(default_factory=Clarity)
    """How the threshold of acceptance rises with clear speech."""

    def score(self, figures: Mapping[str, float]) -> float:
        """Return the weighted sum for one utterance."""
        total = self.bias
        for name, weight in self.weights.items():
            value = 1.0
            for factor in name.split("*"):
                value *= figures[factor] - self.centre.get(factor, 0.0)
            total += weight * value
        return total

    def moved(self, by: float) -> "Weights":
        """Return the same weights with both thresholds raised by `by`."""
        return replace(self, accept=self.accept + by, ask=self.ask + by)

    def needed(self, figures: Mapping[str, float]) -> float:
        """Return the threshold of acceptance for one utterance."""
        return self.accept + self.clarity.more(figures.get("spread", 0.0))


def load(name: str) -> Weights:
    """Read the weights that come with the program.

    Args:
        name: of the file.

    Raises:
        GrammarError: the file is damaged.
    """
    source = files("assistant.speech.utterance_verification") / f"{name}.toml"
    return parse(source.read_text(encoding="utf-8"), name)


def parse(text: str, name: str) -> Weights:
    """Read weights from the text of their file.

    Raises:
        GrammarError: the file is damaged.
    """
    table = tomllib.loads(text)
    loaded = Weights(
        name=f"{name} {table['version']}",
        bias=float(table["bias"]),
        weights={key: float(value) for key, value in table["weights"].items()},
        accept=float(table["accept"]),
        ask=float(table["ask"]),
        centre={key: float(value) for key, value in table.get("centre", {}).items()},
        clarity=Clarity(**{key: float(value) for key, value in table.get("clarity", {}).items()}),
    )
    figures = [
        loaded.bias,
        loaded.accept,
        loaded.ask,
        loaded.clarity.per_db,
        loaded.clarity.most,
        *loaded.weights.values(),
    ]
    if not all(math.isfinite(value) for value in figures) or loaded.ask > loaded.accept:
        msg = f'The acceptance weights "{name}" are damaged: reinstall the program.'
        raise GrammarError(msg)
    return loaded
