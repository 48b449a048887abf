"""The whole procedure as one literal table.

Theory of operation. A row reads: standing in `source`, on `trigger`, if `guard` holds, go to
`target` and do `action`. Rows of one source and trigger are tried from the top. What stands in no
row is refused and changes nothing. `target` None means: stay, and do not repeat the prompt.
`State.BACK` means: return to where the side dialogue was entered from.

Rules that can be read off it: the shaft is raised, and the sampler withdrawn, only from a state
that "port closed" leads to; a sample is taken only by "port closed" after "set filled" after the
waiting time; nothing but a phrase, a key or a line typed advances a step;
a short dialogue confirms some steps together, each of its rows standing for the rows of the steps
it passes over, and never passes over a wait, an opening or a closing;
what a vial holds, and who operates, is never taken from one hearing: it is read back and affirmed,
or witnessed.
The diagram in README.md is generated from this table.
"""

from collections.abc import Callable
from typing import Final, NamedTuple

from assistant.procedure import actions as do
from assistant.procedure import guards as when
from assistant.procedure.enums import (
    ACTIVE,
    NOTE,
    QUESTIONS,
    STEP,
    Intent,
    Signal,
    State,
    Trigger,
)
from assistant.procedure.transition_context import Transition

Guard = Callable[[Transition], bool]
Action = Callable[[Transition], None]


class Row(NamedTuple):
    """One line of the table."""

    source: State | tuple[State, ...]
    trigger: Trigger | tuple[Trigger, ...]
    guard: Guard | None
    target: State | None
    action: Action = do.nothing


S, I, G = State, Intent, Signal  # noqa: E741 - the table is read as a picture; short names keep it one
STAY: Final = None
CAUTION = (I.CAUTION_ISOLATED, I.CAUTION_EARTHED, I.CAUTION_PROTECTED)
VERDICT = (I.VIAL_FULL, I.VIAL_SHORT)
RESULT = (*VERDICT, I.VIAL_EMPTY)
PLACE = (I.PLACE_FLOOR, I.PLACE_VESSEL, I.PLACE_SAMPLER, I.PLACE_VIALS)
AMOUNT = (I.AMOUNT_TRACE, I.AMOUNT_SPOONFUL, I.AMOUNT_MORE)
AFFECTS = (I.AFFECTS_NONE, I.AFFECTS_INSERTION, I.AFFECTS_ALL)
PAUSABLE = (*STEP, S.STANDING_BY)
ASIDE = (S.STANDING_BY, *NOTE, S.REMARKING, S.STOPPING, S.DOUBTING, S.READING_BACK, S.CHECKING)
"""Side dialogues that can be held while a timer runs."""

TABLE: tuple[Row, ...] = (
    # Before the powder is touched.
    Row(S.NEW, G.OPENED, when.has_cautions, S.BRIEFING),
    Row(S.NEW, G.OPENED, None, S.SEATING),
    Row(S.BRIEFING, CAUTION, when.more_cautions, S.BRIEFING, do.next_caution),
    Row(S.BRIEFING, CAUTION, when.this_caution, S.SEATING),
    # One insertion.
    Row(S.SEATING, I.DIES_SEATED, None, S.POSITIONING),
    Row(S.POSITIONING, I.POSITIONED, None, S.ENTERING),
    Row(S.ENTERING, I.AT_DEPTH, when.needs_witness, S.WITNESSING, do.hold),
    Row(S.ENTERING, I.AT_DEPTH, None, S.OPENING),
    Row(S.OPENING, I.PORT_OPEN, when.needs_witness, S.WITNESSING, do.hold),
    Row(S.OPENING, I.PORT_OPEN, None, S.FILLING, do.open_port),
    Row(S.FILLING, I.SET_FILLED, when.waited, S.CLOSING, do.disarm),
    Row(S.FILLING, I.FILLED_CLOSED, when.waited_and_witnessed, S.WITNESSING, do.hold),
    Row(S.FILLING, I.FILLED_CLOSED, when.waited_and_more, S.RAISING, do.close),
    Row(S.FILLING, I.FILLED_CLOSED, when.waited, S.WITHDRAWING, do.close),
    Row(S.CLOSING, I.PORT_CLOSED, when.needs_witness, S.WITNESSING, do.hold),
    Row(S.CLOSING, I.PORT_CLOSED, when.more_positions, S.RAISING, do.take),
    Row(S.CLOSING, I.PORT_CLOSED, None, S.WITHDRAWING, do.take),
    Row(S.RAISING, I.SHAFT_RAISED, None, S.OPENING, do.raise_shaft),
    Row(S.RAISING, I.RAISED_OPEN, when.needs_witness, S.WITNESSING, do.hold),
    Row(S.RAISING, I.RAISED_OPEN, None, S.FILLING, do.raise_and_open),
    Row(S.WITHDRAWING, I.SAMPLER_OUT, None, S.SHAKING_OFF, do.withdraw),
    Row(S.SHAKING_OFF, I.SHAKEN_OFF, when.waited, S.INVERTING, do.disarm),
    Row(S.SHAKING_OFF, I.DIES_UP_TUBE_OFF, when.waited, S.EMPTYING_DIES, do.disarm),
    Row(S.INVERTING, I.DIES_UP, None, S.REMOVING_TUBE),
    Row(S.REMOVING_TUBE, I.TUBE_OFF, None, S.EMPTYING_DIES),
    Row(S.EMPTYING_DIES, RESULT, when.needs_witness, S.WITNESSING, do.hold),
    Row(S.EMPTYING_DIES, RESULT, when.only_heard, S.READING_BACK, do.hold),
    Row(S.EMPTYING_DIES, VERDICT, when.weighs, S.WEIGHING, do.label),
    Row(S.EMPTYING_DIES, RESULT, when.more_dies, S.EMPTYING_DIES, do.label),
    Row(S.EMPTYING_DIES, RESULT, None, S.EMPTYING_TUBE, do.label),
    Row(S.EMPTYING_DIES, I.ALL_FULL, when.needs_witness, S.WITNESSING, do.hold),
    Row(S.EMPTYING_DIES, I.ALL_FULL, when.not_read_back, S.READING_BACK, do.hold),
    Row(S.EMPTYING_DIES, I.ALL_FULL, None, S.EMPTYING_TUBE, do.label_rest),
    Row(S.WEIGHING, I.MASS, when.in_range, S.READING_BACK, do.hold),
    Row(S.WEIGHING, I.MASS, when.affirmed_more, S.EMPTYING_DIES, do.weigh),
    Row(S.WEIGHING, I.MASS, when.affirmed_last, S.EMPTYING_TUBE, do.weigh),
    Row(S.EMPTYING_TUBE, I.TUBE_EMPTIED, when.needs_witness, S.WITNESSING, do.hold),
    Row(S.EMPTYING_TUBE, I.TUBE_EMPTIED, None, S.INSPECTING),
    Row(S.EMPTYING_TUBE, I.EMPTY_CLEAN, when.needs_witness, S.WITNESSING, do.hold),
    Row(S.EMPTYING_TUBE, I.EMPTY_CLEAN, None, S.STOWING),
    Row(S.EMPTYING_TUBE, I.POWDER_IN_TUBE, None, S.NOTE_AMOUNT, do.leak_in_tube),
    Row(S.INSPECTING, I.SHAFT_CLEAN, None, S.STOWING),
    Row(S.INSPECTING, I.SHAFT_MARKED, None, S.MARKED, do.marked),
    Row(S.MARKED, (I.MARKS_ACCEPTED, I.SAMPLER_CHANGED), None, S.STOWING),
    Row(S.STOWING, I.ON_STAND, when.more_insertions, S.SEATING, do.next_insertion),
    Row(S.STOWING, I.ON_STAND, None, S.COUNTING, do.last_insertion),
    # Close-out.
    Row(S.COUNTING, I.DIES_COMPLETE, when.open_deviations, S.DISPOSING),
    Row(S.COUNTING, I.DIES_COMPLETE, None, S.SIGNING),
    Row(S.COUNTING, I.DIE_MISSING, None, S.DISPOSING, do.die_missing),
    Row(S.DISPOSING, I.DEVIATION_ACCEPTED, None, S.REMARKING, do.accept_deviation),
    Row(S.DISPOSING, I.SAMPLES_VOIDED, when.names_samples, S.REMARKING, do.void_samples),
    Row(S.DISPOSING, I.INSERTION_REPEATED, when.repeatable, S.REMARKING, do.repeat_insertion),
    Row(S.SIGNING, I.RECORD_SIGNED, when.open_deviations, S.DISPOSING),
    Row(S.SIGNING, I.RECORD_SIGNED, when.needs_witness, S.WITNESSING, do.hold),
    Row(S.SIGNING, I.RECORD_SIGNED, None, S.CLOSED, do.sign),
    # Timers; they run on while a side dialogue is held.
    Row((S.FILLING, *ASIDE), G.FILL_REACHED, when.filling, STAY, do.fill_reached),
    Row((S.FILLING, *ASIDE, S.WITNESSING), G.FILL_OVERRUN, when.filling, STAY, do.fill_overrun),
    Row((S.SHAKING_OFF, *ASIDE), G.SHAKE_OFF_REACHED, when.shaking_off, STAY, do.shake_off_reached),
    # At any moment.
    Row(ACTIVE, I.HEAD_CODE, None, STAY, do.tell_head),
    Row(ACTIVE, tuple(q for q in QUESTIONS if q is not I.HEAD_CODE), None, STAY),
    Row(STEP, I.STAND_BY, None, S.STANDING_BY, do.step_aside),
    Row(S.STANDING_BY, I.RESUME, None, S.BACK),
    Row(PAUSABLE, (I.NOTE_SPILL, I.NOTE_LEAK), None, S.NOTE_PLACE, do.begin_note),
    Row(S.NOTE_PLACE, PLACE, None, S.NOTE_AMOUNT, do.note_place),
    Row(S.NOTE_AMOUNT, AMOUNT, None, S.NOTE_SAMPLES, do.note_amount),
    Row(S.NOTE_SAMPLES, AFFECTS, None, S.BACK, do.finish_note),
    Row(NOTE, I.DISREGARD, None, S.BACK, do.drop_note),
    Row(PAUSABLE, I.REMARK, None, S.REMARKING, do.step_aside),
    Row(S.REMARKING, G.REMARK_TAKEN, None, S.BACK, do.keep_remark),
    Row(STEP, I.CORRECTION, when.has_past, S.BACK, do.correct),
    Row(PAUSABLE, I.TAKE_OVER, when.only_heard, S.READING_BACK, do.hold),
    Row(PAUSABLE, I.TAKE_OVER, when.knows_person, STAY, do.take_over),
    Row(
        tuple(s for s in ACTIVE if s is not S.STOPPING),
        I.STOP_SAMPLING,
        None,
        S.STOPPING,
        do.step_aside,
    ),
    Row(S.STOPPING, I.AFFIRM, None, S.STOPPED, do.stop),
    Row(S.STOPPING, I.NEGATIVE, None, S.BACK),
    # A phrase held until it is affirmed.
    Row((*STEP, S.STANDING_BY, *NOTE), G.DOUBT, None, S.DOUBTING, do.hold),
    Row((S.DOUBTING, S.READING_BACK), I.AFFIRM, None, S.BACK, do.release),
    Row(S.WITNESSING, I.WITNESS_AFFIRMED, None, S.BACK, do.release),
    Row(S.READING_BACK, I.CORRECTION, None, S.BACK, do.cancel),
    Row((S.DOUBTING, S.READING_BACK, S.WITNESSING), I.NEGATIVE, None, S.BACK, do.cancel),
    # After a break of the program.
    Row(ACTIVE, G.RESUMED, None, S.CHECKING, do.check),
    Row(S.CHECKING, I.AFFIRM, None, S.BACK),
    Row(S.CHECKING, I.NEGATIVE, when.inserting, S.SEATING, do.restart_insertion),
    Row(S.CHECKING, I.NEGATIVE, None, S.BACK, do.disturbed),
)
"""Every transition there is."""


class Line(NamedTuple):
    """A row for one source and one trigger."""

    source: State
    trigger: Trigger
    guard: Guard | None
    target: State | None
    action: Action


def rows() -> list[Line]:
    """The table with one source and one trigger a line, in the same order."""
    flat = []
    for row in TABLE:
        sources = row.source if isinstance(row.source, tuple) else (row.source,)
        triggers = row.trigger if isinstance(row.trigger, tuple) else (row.trigger,)
        flat += [Line(s, t, row.guard, row.target, row.action) for s in sources for t in triggers]
    return flat
