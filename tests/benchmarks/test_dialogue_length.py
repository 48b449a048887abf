"""How long the talk of one insertion is: the full dialogue and the short one, in the same run.

A triplicate insertion is rehearsed by the book with the real recogniser, once in each dialogue.
Counted are exchanges (phrases taken), seconds of talk (what the program says, tones and what the
operator says, without pauses and without handling), seconds that a port is open, and what the
program says meanwhile. All of it is simulated time, so the figures do not depend on the machine.
The table for the README, every voice of the simulated operator:

    nice python -m tests.benchmarks.test_dialogue_length
"""

import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Literal

import pytest

from assistant.journal.entry import Entry
from assistant.ports import SAMPLE_RATE
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Event, Heard
from assistant.procedure.machine import Outcome
from assistant.session.rehearse import OPERATOR_VOICES, Effort, Rehearsal, RehearsalSettings
from assistant.session.session_loop import tone_for
from assistant.speech.tts import Voice
from assistant.storage import bundled_files

pytestmark = [pytest.mark.slow, pytest.mark.model]

Dialogue = Literal["full", "short"]

PLAN = bundled_files.read_plan("double-cone")
GRAMMAR = bundled_files.read_grammar("en")
OPENS = (Intent.PORT_OPEN, Intent.RAISED_OPEN)
CLOSES = (Intent.PORT_CLOSED, Intent.FILLED_CLOSED)


@dataclass(frozen=True, slots=True)
class Turn:
    """One entry of a session."""

    insertion: int
    at_s: float
    event: Event
    outcome: Outcome
    said: str

    @property
    def intent(self) -> Intent | None:
        """What was confirmed, if anything was."""
        taken = isinstance(self.event, Heard) and self.event.decision == "accept"
        return self.event.meaning.intent if taken and self.event.meaning else None  # type: ignore[union-attr]


@dataclass(frozen=True, slots=True)
class Length:
    """What one insertion took."""

    exchanges: int
    talk_s: float
    open_s: float
    """Longest time that a port was open."""
    said_while_open_s: float
    """Most that the program said, tones included, while one port was open."""


class Turns:
    """Keeps what happens in a session."""

    def __init__(self) -> None:
        """Nothing has happened."""
        self.turns: list[Turn] = []

    def entered(self, entry: Entry, event: Event, outcome: Outcome, said: str) -> None:
        """Keep an entry with the insertion that it belongs to."""
        before = self.turns[-1].outcome.session.progress.insertion if self.turns else 0
        self.turns.append(Turn(before, int(entry.mono) / 1e9, event, outcome, said))

    def trouble(self, reason: str) -> None:
        """Fail: nothing may go wrong here."""
        raise AssertionError(reason)


def plan(dialogue: Dialogue) -> bytes:
    """Return the shipped triplicate plan with two locations only, in one of the dialogues."""
    head, *locations = PLAN.split(b"[[locations]]")
    two = b"[[locations]]".join([head, *locations[:2]])
    lines = [line for line in two.splitlines() if not line.startswith(b"dialogue")]
    return b"\n".join([*lines[:2], f'dialogue = "{dialogue}"'.encode(), *lines[2:]])


@cache
def rehearsed(dialogue: Dialogue, voice: str) -> tuple[tuple[Length, Length], Effort]:
    """Rehearse and return the lengths of the first and of the second insertion."""
    turns = Turns()
    with tempfile.TemporaryDirectory() as folder:
        settings = RehearsalSettings(
            plan(dialogue), dialogue, GRAMMAR, "en", Path(folder) / "record", voice=voice
        )
        rehearsal = Rehearsal(settings, [turns])
        assert rehearsal.run().state is State.CLOSED
    first, second = (measure(turns.turns, number, voice) for number in range(2))
    return (first, second), rehearsal.effort


def measure(turns: list[Turn], insertion: int, voice: str) -> Length:
    """Measure one insertion, from the dies to the stand."""
    steps = range(len(turns))
    begin = next(n for n in steps if turns[n].insertion == insertion and _seating(turns[n]))
    end = next(n for n in steps if n > begin and turns[n].intent is Intent.ON_STAND)
    asked, done = turns[begin - 1 : end], turns[begin : end + 1]
    openings = list(_openings(done))
    return Length(
        exchanges=sum(isinstance(turn.event, Heard) for turn in done),
        talk_s=sum(map(_spoken, asked)) + sum(_answered(turn, voice) for turn in done),
        open_s=max(seconds for seconds, _ in openings),
        said_while_open_s=max(said for _, said in openings),
    )


def _seating(turn: Turn) -> bool:
    return turn.intent is Intent.DIES_SEATED


def _openings(turns: list[Turn]) -> Iterator[tuple[float, float]]:
    """Yield for each opening how long it was and how long the program spoke meanwhile."""
    marks = [n for n, turn in enumerate(turns) if turn.intent in (*OPENS, *CLOSES)]
    for begin, end in list(pairwise(marks))[::2]:
        said = sum(_spoken(turn) for turn in turns[begin:end])
        yield turns[end].at_s - turns[begin].at_s, said


@cache
def _voice(name: str) -> Voice:
    return Voice(name, rate=150) if name else Voice()


def _seconds(pcm: bytes) -> float:
    return len(pcm) / 2 / SAMPLE_RATE


def _spoken(turn: Turn) -> float:
    """Seconds of prompt and tone after an entry."""
    short = turn.outcome.session.plan.dialogue == "short"
    tone = tone_for(turn.event, turn.outcome) if short else None
    return _seconds(_voice("").render(turn.said, tone)) if turn.said or tone else 0.0


def _answered(turn: Turn, voice: str) -> float:
    heard = isinstance(turn.event, Heard) and turn.event.source == "voice"
    return _seconds(_voice(voice).render(turn.event.text)) if heard else 0.0  # type: ignore[union-attr]


@pytest.mark.parametrize("voice", OPERATOR_VOICES[:2])
def test_an_insertion_takes_few_words(voice: str) -> None:
    """At most 16 exchanges and 70 s of talk, and less than the full dialogue in every figure."""
    (full, _), _ = rehearsed("full", voice)
    lengths, effort = rehearsed("short", voice)
    assert effort.rescued == 0
    for length in lengths:
        assert length.exchanges <= 16
        assert length.talk_s <= 70.0
        assert length.exchanges <= 0.6 * full.exchanges
        assert length.talk_s < full.talk_s
        assert length.open_s < full.open_s


@pytest.mark.parametrize("voice", OPERATOR_VOICES[:2])
def test_the_program_hardly_speaks_while_a_port_is_open(voice: str) -> None:
    """One second at most, so that how long a port is open is up to the operator."""
    lengths, _ = rehearsed("short", voice)
    assert all(length.said_while_open_s <= 1.0 for length in lengths)


def main() -> None:
    """Print the table."""
    for voice in OPERATOR_VOICES:
        for dialogue in ("full", "short"):
            lengths, effort = rehearsed(dialogue, voice)
            for name, length in zip(("first", "later"), lengths, strict=True):
                print(  # noqa: T201 - a benchmark's figures are its result
                    f"{voice:15} {dialogue:5} {name:5} {length.exchanges:3} exchanges "
                    f"{length.talk_s:6.1f} s of talk, open {length.open_s:5.1f} s, said meanwhile "
                    f"{length.said_while_open_s:4.1f} s; repeated {effort.repeated}, "
                    f"asked back {effort.asked}, by hand {effort.rescued}"
                )


if __name__ == "__main__":
    main()
