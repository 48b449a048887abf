"""A label scanned into the session: a scanner types its code and Enter."""

from dataclasses import replace

from assistant.plan.vials import vials
from assistant.procedure.enums import Kind, State
from assistant.procedure.events import Heard
from tests.unit.session.conftest import Bench


def through_cautions(bench: Bench) -> None:
    """Answer what is asked before the work."""
    while bench.loop.session.state is not State.SEATING:
        bench.press()


def to_the_vials(bench: Bench) -> None:
    """Up to the first die of the first location."""
    while bench.loop.session.state is not State.EMPTYING_DIES:
        bench.pass_time(0.5)
        bench.press()


def scanned(bench: Bench, code: str) -> Heard:
    """The entry of a label that a scanner typed."""
    bench.type(code)
    event = bench.events[-1]
    assert isinstance(event, Heard)
    return event


def test_a_scanned_label_is_its_vial(bench: Bench) -> None:
    """The code goes on record as it was read, and the next die is asked for."""
    to_the_vials(bench)
    first = vials(bench.plan)[0]
    event = scanned(bench, first.mark(bench.plan.study.batch))
    assert (event.source, event.decision) == ("text", "accept")
    assert event.text == first.mark(bench.plan.study.batch)
    assert bench.loop.session.progress.samples[0].status == "full"
    assert bench.loop.session.sample().vial == 2
    assert bench.loop.session.deviations == ()


def test_a_wrong_vial_is_told_and_noted_and_not_taken(bench: Bench) -> None:
    """The label of the third vial where the first is in hand."""
    to_the_vials(bench)
    scanned(bench, vials(bench.plan)[2].mark(bench.plan.study.batch))
    assert bench.entries[-1][2] == "I heard vial 3. Expected: vial 1."
    assert bench.loop.session.sample().vial == 1
    (noted,) = bench.loop.session.deviations
    assert (noted.kind, noted.detail) == (Kind.WRONG_OBJECT, "3")


def test_a_label_from_elsewhere_is_told_and_noted_and_not_taken(bench: Bench) -> None:
    """Another batch, and a vial of this number that the plan has elsewhere."""
    to_the_vials(bench)
    first = vials(bench.plan)[0]
    for code in (first.mark("TV9999"), replace(first, location="N2").mark("TV2611")):
        event = scanned(bench, code)
        assert (event.decision, event.reason, event.meaning) == ("refuse", "other-label", None)
        assert bench.entries[-1][2] == "That label is of another batch or plan. This is noted."
        assert bench.loop.session.deviations[-1].detail == code
    assert bench.loop.session.sample().vial == 1
    assert len(bench.loop.session.deviations) == 2


def test_a_label_at_another_step_is_told_so(bench: Bench) -> None:
    """It does not count before there is a die to be emptied, and changes nothing."""
    through_cautions(bench)
    scanned(bench, vials(bench.plan)[0].mark(bench.plan.study.batch))
    assert bench.entries[-1][2].endswith("Not now.")
    assert bench.loop.session.deviations == ()
