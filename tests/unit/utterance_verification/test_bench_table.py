"""Lines of the table, and the numbers that are said for it."""

from dataclasses import replace

import pytest

from assistant.ports import Decision
from tests.listening_bench.digits import Spoken, draw, lines
from tests.listening_bench.evidence import Evidence
from tests.listening_bench.figures import Outcome
from tests.listening_bench.table import Listening
from tests.listening_bench.table import lines as table_lines
from tests.listening_bench.timing import Delay

CASE = Evidence(
    1, "phrase", "go", "v", "pink", "clean", "s", ("go", "no"), ("go", "no"), (), ("no",)
)


def became(decision: Decision, phrase: str = "go") -> Outcome:
    """Return what became of "go"."""
    return Outcome(CASE, decision, phrase)


def cell(way: Listening, figure: str) -> str:
    """Return one cell of the table."""
    return next(line.cells[way.name] for line in table_lines([way]) if line.figure == figure)


@pytest.mark.parametrize(
    ("first", "repeat", "answer", "share"),
    [
        (became("accept"), None, None, "100.0 %"),
        (became("refuse"), became("accept"), None, "100.0 %"),
        (became("refuse"), became("ask"), None, "0.0 %"),
        (became("refuse"), None, None, "0.0 %"),
        (became("ask"), None, became("accept"), "100.0 %"),
        (became("ask"), became("accept"), became("refuse"), "0.0 %"),
        (became("ask", "no"), became("accept"), became("accept"), "0.0 %"),
        (became("accept", "no"), became("accept"), became("accept"), "0.0 %"),
    ],
)
def test_one_more_saying(
    first: Outcome, repeat: Outcome | None, answer: Outcome | None, share: str
) -> None:
    """A refusal is said again, an ask-back answered; one for another phrase is lost."""
    way = Listening(
        "way",
        [first],
        {1: repeat} if repeat else {},
        {1: answer} if answer else {},
    )
    assert cell(way, "right after one ask-back or repeat, clean").startswith(share)


def test_near_misses_are_counted_with_and_without_what_is_read_back() -> None:
    """Three accepted of four: one of them records a sample and is read back, one does harm."""
    near = replace(CASE, kind="near", text="goal")
    found = [
        Outcome(near, "accept", "no"),
        Outcome(near, "accept", "go"),
        Outcome(replace(near, harmful=()), "accept", "go"),
        Outcome(near, "ask", "go"),
    ]
    way = Listening("way", found)
    assert cell(way, "near misses accepted").startswith("75.0 % (3/4")
    assert cell(way, "near misses accepted, not read back").startswith("50.0 % (2/4")
    assert cell(way, "near misses that advance or record").startswith("25.0 % (1/4")


def test_numbers_are_drawn_alike_and_a_third_has_a_decimal_place() -> None:
    """Three or four digits; the same seed gives the same numbers."""
    numbers = draw(90)
    assert numbers == draw(90)
    assert sum("." in number for number in numbers) == 30
    assert {len(number.replace(".", "")) for number in numbers} == {3, 4}
    assert draw(90, seed=2) != numbers


def test_read_backs_are_right_wrong_or_missing() -> None:
    """Two right, one wrong, one not heard."""
    found = [
        Spoken("one two milligrams", "clean", "one two milligrams"),
        Spoken("one two milligrams", "20 dB", "one two milligrams"),
        Spoken("one two milligrams", "10 dB", "one three milligrams"),
        Spoken("one two milligrams", "10 dB", ""),
    ]
    cells = {line.figure: line.cells["way"] for line in lines({"way": found})}
    assert cells["people's digits right at first read-back"].startswith("50.0 % (2/4")
    assert cells["people's digits right at first read-back, 10 dB"].startswith("0.0 % (0/2")
    assert cells["people's digits read back wrong, to be negated"].startswith("25.0 % (1/4")


def test_a_verdict_comes_no_sooner_than_the_end_of_the_utterance() -> None:
    """Judged ahead in the pause; a slow judgement adds only what exceeds the pause."""
    quick = Delay(endpoint=0.30, engine=0.40, judged=0.05, cpu=1.0, raw_cpu=0.2, seconds=3.0)
    assert quick.total == pytest.approx(0.30)
    assert replace(quick, judged=0.35).total == pytest.approx(0.50)
