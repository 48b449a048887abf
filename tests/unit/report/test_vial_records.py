"""What a record says of its vials: order, time open, depth, mass and what became of them."""

from collections.abc import Callable

import pytest

from assistant.errors import InputError
from assistant.evaluation.assays import State as Fate
from assistant.plan.insertion_geometry import insertions
from assistant.plan.powder_bed import bed_of
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import DeviceLost, Meaning, RemarkTaken, Resumed
from assistant.procedure.model import Status
from assistant.report.vial_records import RecordStudy, random_mixture_rsd, study_of
from assistant.testing import Departure

Record = Callable[..., RecordStudy]

BREAK = Resumed(software="later", engine="typed", microphone="none", speaker="none")
LATE = Departure(State.FILLING, 40.0, visit=2)


def test_every_vial_is_placed(record: Record) -> None:
    """Thirty vials of ten locations, in order, each with the depth the plan works out."""
    found = record()
    plan = found.plan
    assert [vial.vial for vial in found.vials] == [str(n) for n in range(1, 31)]
    depths = [place.cover_mm[0] for place in insertions(plan, bed_of(plan))]
    for vial in found.vials:
        index = (int(vial.vial) - 1) // 3
        assert vial.location == plan.locations[index].code
        assert vial.depth_mm == pytest.approx(depths[index], abs=0.05)
        assert vial.insertion_order == index + 1
        assert (vial.position, vial.port, vial.attempt) == ((int(vial.vial) - 1) % 3 + 1, 1, 1)
    assert found.complete
    assert found.people == ("Mira Oostveld",)
    assert {one.state for one in found.expected} == {Fate.TAKEN}


def test_a_port_is_open_from_open_to_closed(record: Record) -> None:
    """The time spent with the second port open is longer by what was waited, and by that alone."""
    plain, late = record(), record(LATE)
    assert plain.vials[1].open_seconds is not None
    assert late.vials[1].open_seconds is not None
    # Shortest filling time of the plan, and two answers of 1 to 4 s.
    assert 7.0 <= plain.vials[1].open_seconds <= 13.0
    # Two answers may differ by 3 s each.
    assert late.vials[1].open_seconds - plain.vials[1].open_seconds == pytest.approx(40.0, abs=6.0)
    assert late.vials[0].open_seconds == plain.vials[0].open_seconds


def test_a_correction_takes_the_opening_back(record: Record) -> None:
    """Only the opening that stood counts; a closing taken back goes on counting."""
    said = Meaning(intent=Intent.CORRECTION)
    opened = record(Departure(State.FILLING, 20.0), Departure(State.FILLING, said, visit=2))
    assert opened.complete
    first = opened.vials[0].open_seconds
    assert first is not None
    assert first < 20.0
    closed = record(Departure(State.RAISING, 9.0), Departure(State.RAISING, said, visit=2))
    longer = closed.vials[0].open_seconds
    assert longer is not None
    assert longer > 16.0


def test_a_short_dialogue_counts_alike(record: Record) -> None:
    """From open to closed in one confirmation; a closing taken back goes on counting."""
    short = ('dialogue = "full"', 'dialogue = "short"')
    plain = record(changes=[short])
    seconds = plain.vials[1].open_seconds
    assert seconds is not None
    # Shortest filling time of the plan, and one answer of 1 to 4 s.
    assert 6.0 <= seconds <= 9.0
    said = Meaning(intent=Intent.CORRECTION)
    closed = record(
        Departure(State.RAISING, 9.0), Departure(State.RAISING, said, visit=2), changes=[short]
    )
    longer = closed.vials[0].open_seconds
    assert longer is not None
    assert longer > 15.0


def test_time_is_not_counted_across_a_restart(record: Record) -> None:
    """The steady clock begins anew with the program, so an opening across a break has no length."""
    broken = record(Departure(State.FILLING, BREAK))
    assert broken.complete
    assert broken.vials[0].open_seconds is None
    assert broken.vials[1].open_seconds is not None


def test_a_repeated_insertion_comes_last_and_voids_what_it_replaces(record: Record) -> None:
    """The location is entered again, its vials count on, and results stay in the plan's order."""
    found = record(LATE, Departure(State.DISPOSING, Meaning(intent=Intent.INSERTION_REPEATED)))
    void = [vial for vial in found.vials if vial.status is Status.VOID]
    again = [vial for vial in found.vials if vial.attempt == 2]
    assert void
    assert {vial.location for vial in void + again} == {"C2"}
    assert [vial.vial for vial in again] == ["31", "32", "33"]
    assert {vial.insertion_order for vial in again} == {11}
    assert [one.vial.vial for one in found.expected if one.state is Fate.TAKEN][-1] == "30"
    states = {one.vial.vial: one.state for one in found.expected}
    assert {states[vial.vial] for vial in void} == {Fate.VOID}


def test_a_break_that_moved_the_sampler_voids_and_repeats(record: Record) -> None:
    """The insertion in hand is void with the vials it had not filled yet."""
    found = record(
        Departure(State.FILLING, BREAK, visit=4),
        Departure(State.CHECKING, Meaning(intent=Intent.NEGATIVE)),
    )
    assert found.complete
    assert [vial.vial for vial in found.vials if vial.status is Status.VOID] == ["4", "5", "6"]
    assert found.deviations[0].location == "N2"
    assert found.vials[4].open_seconds is None


def test_what_never_reached_its_vial_is_not_reconciled(record: Record) -> None:
    """An empty die, one still in the sampler and one never filled await a decision."""
    empty = record(
        Departure(State.EMPTYING_DIES, Meaning(intent=Intent.VIAL_EMPTY, vial=2), visit=2)
    )
    assert empty.vials[1].status is Status.EMPTY
    assert empty.expected[1].state is Fate.UNRECONCILED
    broken_off = record(until=State.WITHDRAWING)
    assert not broken_off.complete
    assert {one.state for one in broken_off.expected} == {Fate.UNRECONCILED}
    assert {vial.insertion_order for vial in broken_off.vials} == {1, None}


def test_a_session_stopped_with_an_open_port_has_no_length(record: Record) -> None:
    """What was never confirmed closed has no time open."""
    found = record(Departure(State.CLOSING, Meaning(intent=Intent.STOP_SAMPLING)))
    assert found.session.state is State.STOPPED
    assert {vial.open_seconds for vial in found.vials} == {None}


def test_ports_of_one_insertion_lie_at_their_own_depths(record: Record) -> None:
    """With two ports every insertion gives two depths, and masses come from the balance."""
    found = record(plan="bin")
    ports = len(found.plan.sampler.ports_mm)
    assert ports > 1
    one = [vial for vial in found.vials if vial.location == found.vials[0].location]
    assert len({vial.depth_mm for vial in one}) == ports
    assert all(vial.mass_mg is not None for vial in found.vials)


def test_a_port_above_the_powder_has_no_depth(record: Record) -> None:
    """A depth is a depth below the surface or nothing."""
    found = record(changes=[("below_surface_mm = 95.0", "depth_mm = 300.0")])
    assert found.vials[0].depth_mm is None


def test_deviations_keep_their_circumstances(record: Record) -> None:
    """When, who, where, and the reason given at the disposal, typed or spoken."""
    found = record(
        LATE,
        Departure(State.COUNTING, DeviceLost(device="speaker", reason="unplugged")),
        Departure(State.REMARKING, RemarkTaken(clip="ab" * 32, seconds="3.0"), visit=2),
    )
    overrun, device = found.deviations
    assert overrun.location == "C2"
    assert overrun.by == "Mira Oostveld"
    assert overrun.utc.startswith("2026-03-04T08:0")
    assert overrun.reason == "seen and judged by the supervisor"
    assert overrun.deviation.status == "accepted"
    assert device.location == ""
    assert device.reason == "spoken, clip abababababab"


def test_a_remark_that_is_no_reason_is_none(record: Record) -> None:
    """A memo in the middle of the work belongs to no deviation, and a silent one says nothing."""
    found = record(
        LATE,
        Departure(State.SEATING, Meaning(intent=Intent.REMARK), visit=2),
        Departure(State.REMARKING, RemarkTaken(), visit=2),
    )
    assert [one.reason for one in found.deviations] == [""]


def test_a_disposal_taken_back_is_open_again(record: Record) -> None:
    """The reason goes with the disposal it was given for."""
    found = record(
        LATE,
        Departure(State.SIGNING, Meaning(intent=Intent.CORRECTION)),
        Departure(State.DISPOSING, Meaning(intent=Intent.SAMPLES_VOIDED), visit=2),
        Departure(State.REMARKING, RemarkTaken(text="too long open"), visit=2),
    )
    assert found.complete
    (overrun,) = found.deviations
    assert overrun.deviation.status == "void"
    assert overrun.reason == "too long open"
    assert found.vials[1].status is Status.VOID


def test_an_empty_record_says_nothing(record: Record) -> None:
    """Without an entry there is nothing to evaluate."""
    with pytest.raises(InputError, match="holds no entry"):
        study_of([], record().plan)


def test_the_random_mixture_needs_particle_sizes(record: Record) -> None:
    """Stange's limit falls with the square root of the sample; without sizes there is none."""
    plan = record().plan
    small, large = random_mixture_rsd(plan, 100.0), random_mixture_rsd(plan, 400.0)
    assert small == pytest.approx(2 * (large or 0.0), rel=1e-12)
    at_bulk = random_mixture_rsd(plan)
    assert at_bulk == pytest.approx(random_mixture_rsd(plan, 360.0), rel=1e-12)
    changes = [
        ("active_d50_um = 35.0\n", ""),
        ("active_gsd = 1.8\n", ""),
        ("active_density_g_ml = 1.3\n", ""),
    ]
    assert random_mixture_rsd(record(changes=changes).plan) is None
