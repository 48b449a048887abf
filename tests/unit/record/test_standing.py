"""Self-consistent, anchored up to an entry, anchored to the end: never one said for another."""

from dataclasses import replace

import pytest

from assistant.procedure.enums import State
from assistant.record.anchor import Anchor
from assistant.record.standing import Standing, signed

BARE = Standing(entries=360, state=State.CLOSED, kind="live")
CODE = Anchor(42, "the head code 42-42BZ-R8ZJ-A")


def test_a_record_alone_is_self_consistent_only() -> None:
    """Somebody may have written all of it anew."""
    said = BARE.anchoring()
    assert said.startswith("self-consistent only: ")
    assert all(each in said for each in ("--head", "--keys", "--authority", "--register"))
    assert BARE.anchored == 0


def test_an_early_anchor_covers_no_later_entry() -> None:
    """Each range is said, and by what the first is anchored."""
    assert replace(BARE, anchors=(CODE,)).anchoring() == (
        "anchored up to entry 42 of 360 by the head code 42-42BZ-R8ZJ-A; entries 43 to 360 are "
        "self-consistent only"
    )


def test_the_furthest_anchor_counts() -> None:
    """Both are named where two reach as far."""
    ends = (signed("Ada Lindqvist", "reviewed", 360), Anchor(360, "the head code X"))
    assert replace(BARE, anchors=(CODE, *ends)).anchoring() == (
        "anchored to the end, entry 360, by the signature of Ada Lindqvist (reviewed), "
        "the head code X"
    )


def test_an_unfinished_session_is_no_closed_one() -> None:
    """That it was cut off is said to be possible."""
    assert BARE.ending() == "session: closed"
    assert replace(BARE, state=State.STOPPED).ending() == "session: stopped"
    assert "or its end was cut off" in replace(BARE, state=State.FILLING).ending()


@pytest.mark.parametrize(
    ("required", "standing", "missing"),
    [
        ("anchored-to-end", replace(BARE, anchors=(CODE,)), "not anchored to its end, entry 360"),
        ("closed", replace(BARE, state=State.STOPPED), "not closed but stopped"),
        ("live", replace(BARE, kind="rehearsal"), "not live but rehearsal"),
        ("live", replace(BARE, kind=""), "not live but of a kind not on record"),
        ("reviewed", BARE, "no genuine signatures at the end"),
        ("reviewed", replace(BARE, anchors=(signed("Ada", "reviewed", 10),)), "at the end"),
    ],
)
def test_what_is_required_and_missing_is_said(
    required: str, standing: Standing, missing: str
) -> None:
    """One sentence each."""
    (said,) = standing.lacking([required])
    assert missing in said


def test_one_person_does_not_sign_for_two() -> None:
    """Two meanings need two persons, however often one of them signed."""
    ada = tuple(signed("Ada", meaning, 360) for meaning in ("performed", "reviewed"))
    alone = replace(BARE, anchors=ada)
    assert alone.lacking(["performed"]) == alone.lacking(["reviewed"]) == ()
    assert len(alone.lacking(["performed", "reviewed"])) == 1
    both = replace(BARE, anchors=(*ada, signed("Ben", "reviewed", 360)))
    assert both.lacking(["performed", "reviewed", "closed", "live", "anchored-to-end"]) == ()
