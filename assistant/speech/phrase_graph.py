"""Build the smallest word network that accepts exactly a list of whole phrases.

Common beginnings and endings of phrases become shared paths, so that ten thousand phrases of
digits need only a handful of arcs; no path crosses from one phrase into another.
"""

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Arc:
    """One step of the network; the word "" is an empty transition."""

    source: int
    target: int
    word: str


@dataclass(frozen=True, slots=True)
class Network:
    """Arcs from state 0 to the single final state."""

    arcs: tuple[Arc, ...]
    final: int


def normal(phrase: str) -> str:
    """Return the phrase in lower case with single spaces, the form in which phrases compare."""
    return " ".join(phrase.lower().split())


def build_network(phrases: Sequence[str]) -> Network:
    """Build the minimal acyclic network of the phrases.

    Raises:
        ValueError: no phrase, or a phrase without words.
    """
    spoken = sorted({tuple(normal(phrase).split()) for phrase in phrases})
    if not spoken or not spoken[0]:
        raise ValueError("a network needs at least one phrase, each of at least one word")
    merger = _Merger()
    top = merger.add(spoken, 0)
    return merger.network(top)


_Node = tuple[bool, tuple[tuple[str, int], ...]]


class _Merger:
    """Gives each distinct set of phrase endings one number."""

    def __init__(self) -> None:
        self._numbers: dict[_Node, int] = {}

    def add(self, spoken: Sequence[tuple[str, ...]], depth: int) -> int:
        """Number the node reached by a common prefix of `depth` words."""
        ends = False
        branches: dict[str, list[tuple[str, ...]]] = {}
        for words in spoken:
            if len(words) == depth:
                ends = True
            else:
                branches.setdefault(words[depth], []).append(words)
        edges = tuple((word, self.add(rest, depth + 1)) for word, rest in branches.items())
        return self._numbers.setdefault((ends, edges), len(self._numbers))

    def network(self, top: int) -> Network:
        """Renumber so that the start is 0 and the final state is last."""
        total = len(self._numbers)
        final = self._numbers.get((True, ()), total)

        def place(number: int) -> int:
            return (number - top) % total if number < total else number

        arcs = []
        for (ends, edges), number in self._numbers.items():
            arcs += [Arc(place(number), place(target), word) for word, target in edges]
            if ends and number != final:
                arcs.append(Arc(place(number), place(final), ""))
        return Network(tuple(arcs), place(final))
