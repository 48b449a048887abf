"""The table of the listening: from outcomes to lines of text."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from tests.listening_bench.figures import Outcome, Rate, rate

LEVELS = ("clean", "20 dB", "10 dB")
UNRELATED = ("human", "chatter", "noise")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the table."""

    figure: str
    cells: Mapping[str, str]
    """What each way of listening reached, by its name."""


@dataclass(frozen=True, slots=True)
class Listening:
    """One way of listening, with what became of every case under it."""

    name: str
    outcomes: Sequence[Outcome]
    repeats: Mapping[int, Outcome] = field(default_factory=dict)
    """What became of saying it once more, by the number of the first case."""
    answers: Mapping[int, Outcome] = field(default_factory=dict)
    """What became of affirming what was asked back, by the number of the first case."""

    def of(self, *kinds: str, level: str = "") -> list[Outcome]:
        """Return the outcomes of some kinds of case."""
        return [
            each
            for each in self.outcomes
            if each.case.kind in kinds and level in {"", each.case.level}
        ]


def _accepted(each: Outcome) -> bool:
    return each.decision == "accept"


def lines(ways: Iterable[Listening]) -> list[Line]:
    """Return the lines that are rates, one cell for each way of listening."""
    listed = list(ways)

    def line(figure: str, counted: Callable[[Listening], Rate]) -> Line:
        return Line(figure, {way.name: str(counted(way)) for way in listed})

    found = [
        line("unrelated human speech accepted", lambda w: rate(w.of("human"), _accepted)),
        line("other talk accepted", lambda w: rate(w.of("chatter"), _accepted)),
        line("bursts of noise accepted", lambda w: rate(w.of("noise"), _accepted)),
        line("unrelated clips that make it speak", lambda w: rate(w.of(*UNRELATED), _spoke)),
        line("near misses accepted", lambda w: rate(w.of("near"), _accepted)),
        line("near misses accepted, not read back", lambda w: rate(w.of("near"), _unasked)),
        line("near misses that advance or record", lambda w: rate(w.of("near"), _harm)),
        line("harm by unrelated clips", lambda w: rate(w.of("human", "chatter", "harm"), _harm)),
        line("phrase accepted as another", lambda w: rate(w.of("phrase", "human-phrase"), _wrong)),
    ]
    found += [line(f"right at first saying, {each}", _first("phrase", each)) for each in LEVELS]
    found += [
        line(f"right, people's phrases, {each}", _first("human-phrase", each)) for each in LEVELS
    ]
    found += [line(f"right after one ask-back or repeat, {each}", _later(each)) for each in LEVELS]
    return found


def _first(kind: str, level: str) -> Callable[[Listening], Rate]:
    return lambda way: rate(way.of(kind, level=level), _right)


def _later(level: str) -> Callable[[Listening], Rate]:
    return lambda way: _repeated(way, level)


def _right(each: Outcome) -> bool:
    return each.right


def _unasked(each: Outcome) -> bool:
    return each.decision == "accept" and not each.read_back


def _spoke(each: Outcome) -> bool:
    return each.spoke or each.decision != "refuse"


def _wrong(each: Outcome) -> bool:
    return each.wrong


def _harm(each: Outcome) -> bool:
    return each.harm


def _repeated(way: Listening, level: str) -> Rate:
    """Count a phrase asked back as affirmed, and one that was refused as said once more."""
    first = way.of("phrase", level=level)
    hits = sum(each.right or _recovered(way, each) for each in first)
    return Rate(hits, len(first))


def _recovered(way: Listening, each: Outcome) -> bool:
    """Whether one more saying brings a phrase home; one taken or asked for another is lost."""
    if each.decision == "accept":
        return False
    second = (way.answers if each.decision == "ask" else way.repeats).get(each.case.number)
    asked_right = each.decision == "refuse" or each.phrase == each.case.text
    return asked_right and second is not None and second.right


def by_phrase(outcomes: Iterable[Outcome]) -> list[tuple[str, Rate]]:
    """Return each phrase with how often it was right at first saying, the worst first."""
    grouped: dict[str, list[Outcome]] = {}
    for each in outcomes:
        if each.case.kind == "phrase":
            grouped.setdefault(each.case.text, []).append(each)
    rates = [(text, rate(group, _right)) for text, group in grouped.items()]
    return sorted(rates, key=lambda pair: (pair[1].percent, pair[0]))


def by_voice(outcomes: Iterable[Outcome]) -> list[tuple[str, Rate]]:
    """Return each voice with how often its phrases were right at first saying."""
    grouped: dict[str, list[Outcome]] = {}
    for each in outcomes:
        if each.case.kind == "phrase":
            grouped.setdefault(each.case.voice, []).append(each)
    return sorted((voice, rate(group, _right)) for voice, group in grouped.items())


def markdown(found: Sequence[Line]) -> str:
    """Return the lines as a table in Markdown."""
    names = list(found[0].cells)
    rows = [f"| figure | {' | '.join(names)} |", "|---" * (len(names) + 1) + "|"]
    rows += [
        f"| {line.figure} | {' | '.join(line.cells.get(n, '') for n in names)} |" for line in found
    ]
    return "\n".join(rows)
