"""Figures of evidence, worked by hand on small passes."""

import math

import pytest

from assistant.speech.utterance_verification.decoder_passes import Passes, Segment
from assistant.speech.utterance_verification.features import measure

SPOKEN = {"go": [["G", "OW"]], "no": [["N", "OW"]]}


def pronounce(phrase: str) -> list[list[list[str]]]:
    """Look words up in a dictionary of two."""
    return [SPOKEN[word] for word in phrase.split()]


def passes(aligned: tuple[Segment, ...], loop: tuple[Segment, ...]) -> Passes:
    """Build passes for the phrase "go" with "no" as runner-up."""
    return Passes("go", "go", "no", -50.0, -70.0, aligned, loop, 30.0)


ALIGNED = (
    Segment("SIL", 0, 10, -10.0, -1),
    Segment("G", 10, 10, -100.0, 0),
    Segment("OW", 20, 10, -60.0, 0),
    Segment("SIL", 30, 10, -10.0, -1),
)
LOOP = (
    Segment("SIL", 0, 10, -10.0, -1),
    Segment("G", 10, 10, -80.0, 0),
    Segment("OW", 20, 10, -80.0, 0),
    Segment("SIL", 30, 10, -10.0, -1),
)


def test_phones_are_compared_with_the_loop_in_their_own_frames() -> None:
    """G is 20 worse over 10 frames, OW 20 better: -2 and +2 per frame, 0 in the mean."""
    found = measure(passes(ALIGNED, LOOP), ["go", "no"], pronounce)
    assert found is not None
    assert found["gm"] == pytest.approx(0.0)
    assert found["g3"] == pytest.approx(-2.0)
    assert found["gmin"] == pytest.approx(-2.0)
    assert found["gw"] == pytest.approx(0.0)
    assert found["llr"] == pytest.approx(0.0)


def test_lead_over_the_runner_up_is_per_frame_of_the_phrase() -> None:
    """20 over 20 frames is 1."""
    found = measure(passes(ALIGNED, LOOP), ["go", "no"], pronounce)
    assert found is not None
    assert found["gap"] == pytest.approx(1.0)


def test_duration_is_against_the_usual_length_of_a_phone() -> None:
    """20 frames for two phones of usually 7.5."""
    found = measure(passes(ALIGNED, LOOP), ["go", "no"], pronounce)
    assert found is not None
    assert found["dur"] == pytest.approx(math.log(20 / 15))
    assert found["absdur"] == pytest.approx(math.log(20 / 15))


def test_spelling_prefers_the_phrase_that_the_loop_heard() -> None:
    """The loop heard G OW: nothing to change for "go", one phone of two for "no"."""
    found = measure(passes(ALIGNED, LOOP), ["go", "no"], pronounce)
    assert found is not None
    assert found["edl"] == 0.0
    assert found["edgapl"] == pytest.approx(0.5)


def test_phones_outside_the_phrase_are_counted() -> None:
    """Two more phones after the phrase are talk that the phrase does not explain."""
    talk = (*LOOP[:3], Segment("N", 30, 5, -30.0, 0), Segment("OW", 35, 5, -30.0, 0))
    found = measure(passes(ALIGNED, talk), ["go"], pronounce)
    assert found is not None
    assert found["outside"] == 2.0
    assert found["edgapl"] == pytest.approx(1.0 - found["edl"])


def test_one_bad_phone_is_clipped() -> None:
    """A phone cannot count for less than -150 a frame."""
    awful = (ALIGNED[0], Segment("G", 10, 10, -99999.0, 0), *ALIGNED[2:])
    found = measure(passes(awful, LOOP), ["go"], pronounce)
    assert found is not None
    assert found["gmin"] == -150.0


@pytest.mark.parametrize(("aligned", "loop"), [((), LOOP), (ALIGNED, ())])
def test_without_an_alignment_there_is_no_evidence(
    aligned: tuple[Segment, ...], loop: tuple[Segment, ...]
) -> None:
    """Audio too short for the phrase gives no figures."""
    assert measure(passes(aligned, loop), ["go"], pronounce) is None
