"""Close-out: dies counted, deviations disposed of with a reason, the record signed."""

from collections.abc import Callable

import pytest

from assistant.procedure import queries
from assistant.procedure.effects import Close, Say
from assistant.procedure.enums import Intent, Prompt, State
from assistant.procedure.events import DeviceLost
from assistant.procedure.model import Status
from tests.unit.procedure.conftest import Drive

Start = Callable[..., Drive]


def noted(there: Drive, affects: Intent) -> Drive:
    """Make a note of a spill where the work stands."""
    there.say(Intent.NOTE_SPILL).say(Intent.PLACE_FLOOR).say(Intent.AMOUNT_TRACE)
    return there.say(affects)


def test_without_deviations_the_record_is_signed_at_once(drive: Start) -> None:
    """Dies complete, then the signature."""
    there = drive("double-cone", State.COUNTING).say(Intent.DIES_COMPLETE)
    assert (there.state, there.prompts) == (State.SIGNING, ["sign"])
    assert there.say(Intent.RECORD_SIGNED).state is State.CLOSED


def test_a_missing_die_is_a_deviation_without_samples(drive: Start) -> None:
    """It may lie in the product: it can be accepted with a reason, not voided or repeated."""
    there = drive("double-cone", State.COUNTING).say(Intent.DIE_MISSING)
    assert there.effects == (Say(Prompt.DISPOSE, {"number": 1, "kind": "die-missing"}),)
    assert [m.intent for m in queries.advancing(there.session)] == [Intent.DEVIATION_ACCEPTED]
    for intent in (Intent.SAMPLES_VOIDED, Intent.INSERTION_REPEATED):
        assert there.say(intent).prompts == ["not-now"]
    assert there.say(Intent.DEVIATION_ACCEPTED).prompts == ["ask-remark"]
    assert there.answer().state is State.SIGNING


def test_each_deviation_is_disposed_of_in_turn(drive: Start) -> None:
    """Accepted or void, each with a spoken reason; the samples stand or do not."""
    there = drive("double-cone", State.EMPTYING_DIES).say(Intent.VIAL_SHORT).say(Intent.VIAL_EMPTY)
    there.until(State.DISPOSING)
    assert there.effects == (Say(Prompt.DISPOSE, {"number": 1, "kind": "short-die"}),)
    there.say(Intent.DEVIATION_ACCEPTED).answer()
    assert there.effects[-1] == Say(Prompt.DISPOSE, {"number": 2, "kind": "empty-die"})
    there.say(Intent.SAMPLES_VOIDED).answer()
    assert there.state is State.SIGNING
    assert [d.status for d in there.session.deviations] == ["accepted", "void"]
    assert [there.vial(n).status for n in (1, 2, 3)] == [Status.SHORT, Status.VOID, Status.FULL]
    assert there.effects[-1] == Say(Prompt.SIGN, {"taken": 29, "planned": 30})


def test_a_repeated_insertion_is_taken_anew(drive: Start) -> None:
    """All its samples are void, its location is entered again, and vials count on."""
    there = drive("double-cone", State.EMPTYING_DIES).say(Intent.VIAL_SHORT).until(State.DISPOSING)
    there.say(Intent.INSERTION_REPEATED)
    assert (there.state, there.session.step) == (State.REMARKING, State.SEATING)
    there.answer()
    assert (there.state, there.session.at.attempt) == (State.SEATING, 2)
    assert [there.vial(n).status.value for n in (1, 2, 3, 4)] == ["void"] * 3 + ["full"]
    assert [s.vial for s in there.session.here()] == [31, 32, 33]
    there.until(State.SIGNING)
    assert there.effects[-1] == Say(Prompt.SIGN, {"taken": 30, "planned": 30})
    assert [d.status for d in there.session.deviations] == ["repeat"]


def test_a_second_fault_of_a_repeated_insertion_is_not_repeated_again(drive: Start) -> None:
    """Its location was entered anew already; void or accept is left."""
    there = drive("double-cone", State.EMPTYING_DIES).say(Intent.VIAL_SHORT).say(Intent.VIAL_EMPTY)
    there.until(State.DISPOSING).say(Intent.INSERTION_REPEATED).answer().until(State.DISPOSING)
    offered = [m.intent for m in queries.advancing(there.session)]
    assert offered == [Intent.DEVIATION_ACCEPTED, Intent.SAMPLES_VOIDED]
    assert there.say(Intent.INSERTION_REPEATED).prompts == ["not-now"]


def test_a_spill_over_several_insertions_repeats_them_all(drive: Start) -> None:
    """Each location touched is entered once more, in order."""
    there = drive("double-cone", State.STOWING).answer().until(State.STOWING)
    noted(there, Intent.AFFECTS_ALL).until(State.DISPOSING)
    there.say(Intent.INSERTION_REPEATED).answer()
    progress = there.session.progress
    assert [(i.location, i.attempt) for i in progress.insertions[10:]] == [(0, 2), (1, 2)]
    assert (progress.insertion, progress.queue) == (10, (11,))
    assert sum(s.status is Status.VOID for s in progress.samples) == 6
    there.until(State.SIGNING)
    assert there.effects[-1] == Say(Prompt.SIGN, {"taken": 30, "planned": 30})
    assert [s.vial for s in there.session.progress.samples] == list(range(1, 37))


def test_a_third_attempt_counts_on(drive: Start) -> None:
    """A repetition can itself go wrong and be repeated."""
    there = drive("bin", State.EMPTYING_DIES).say(Intent.VIAL_SHORT).until(State.DISPOSING)
    there.say(Intent.INSERTION_REPEATED).until(State.EMPTYING_DIES).say(Intent.VIAL_EMPTY)
    there.until(State.DISPOSING).say(Intent.INSERTION_REPEATED).answer()
    assert (there.session.at.location, there.session.at.attempt) == (0, 3)
    assert [s.vial for s in there.session.here()] == [23, 24]
    there.until(State.CLOSED)
    assert Close() in there.effects


def test_trouble_before_the_signature_is_disposed_of_first(drive: Start) -> None:
    """A deviation that arises while signing, or while a reason is given, is not signed away."""
    there = drive("double-cone", State.SIGNING)
    there.take(DeviceLost(device="speaker", reason="unplugged"))
    assert there.say(Intent.RECORD_SIGNED).state is State.DISPOSING
    there.say(Intent.DEVIATION_ACCEPTED)
    there.take(DeviceLost(device="microphone", reason="unplugged"))
    there.answer()
    assert there.state is State.SIGNING
    assert there.say(Intent.RECORD_SIGNED).state is State.DISPOSING


def test_trouble_while_the_witness_is_asked_is_disposed_of_first(drive: Start) -> None:
    """The witness affirms a signature that cannot be given yet."""
    there = drive("watched", State.SIGNING).say(Intent.RECORD_SIGNED)
    there.take(DeviceLost(device="speaker", reason="unplugged"))
    assert there.say(Intent.WITNESS_AFFIRMED).state is State.DISPOSING


@pytest.mark.parametrize("name", ["double-cone", "v-blender", "bin"])
def test_void_is_not_deleted(drive: Start, name: str) -> None:
    """A void sample stays in the list, with its mass."""
    there = drive(name, State.EMPTYING_DIES).say(Intent.VIAL_SHORT)
    if there.state is State.WEIGHING:
        there.say(Intent.MASS, number="560").say(Intent.AFFIRM)
    there.until(State.DISPOSING).say(Intent.SAMPLES_VOIDED)
    assert there.vial(1).status is Status.VOID
    assert there.vial(1).mass_mg == ("560" if name == "bin" else "")
    assert (
        len(there.session.progress.samples)
        == len(there.session.plan.locations) * there.session.plan.vials_per_insertion
    )
