"""The enumerations of the procedure: states, intents, signals, timers, prompts.

The values are written into the record, so they never change; new ones may be added.
"""

from enum import StrEnum


class State(StrEnum):
    """Where the work stands. Named for what the operator is asked to do."""

    NEW = "new"
    BRIEFING = "briefing"
    SEATING = "seating"
    POSITIONING = "positioning"
    ENTERING = "entering"
    OPENING = "opening"
    FILLING = "filling"
    CLOSING = "closing"
    RAISING = "raising"
    WITHDRAWING = "withdrawing"
    SHAKING_OFF = "shaking-off"
    INVERTING = "inverting"
    REMOVING_TUBE = "removing-tube"
    EMPTYING_DIES = "emptying-dies"
    WEIGHING = "weighing"
    EMPTYING_TUBE = "emptying-tube"
    INSPECTING = "inspecting"
    MARKED = "marked"
    STOWING = "stowing"
    COUNTING = "counting"
    DISPOSING = "disposing"
    SIGNING = "signing"
    CLOSED = "closed"
    STOPPED = "stopped"
    STANDING_BY = "standing-by"
    NOTE_PLACE = "note-place"
    NOTE_AMOUNT = "note-amount"
    NOTE_SAMPLES = "note-samples"
    REMARKING = "remarking"
    STOPPING = "stopping"
    DOUBTING = "doubting"
    READING_BACK = "reading-back"
    WITNESSING = "witnessing"
    CHECKING = "checking"
    BACK = "back"
    """The state that a side dialogue was entered from; never a current state."""


END = (State.CLOSED, State.STOPPED)

NOTE = (State.NOTE_PLACE, State.NOTE_AMOUNT, State.NOTE_SAMPLES)

HELD = (State.DOUBTING, State.READING_BACK, State.WITNESSING, State.STOPPING)
"""Side dialogues that hold a phrase until it is affirmed."""

SIDE = (State.STANDING_BY, *NOTE, State.REMARKING, *HELD, State.CHECKING)
"""Dialogues that return to where they were entered from."""

STEP = tuple(s for s in State if s not in (*END, *SIDE, State.NEW, State.BACK))
"""The steps of the work itself."""

ACTIVE = tuple(s for s in State if s not in (*END, State.NEW, State.BACK))
"""Wherever a session that has begun and not ended can stand."""

INSERTING = tuple(
    s for s in STEP if s not in (State.BRIEFING, State.COUNTING, State.DISPOSING, State.SIGNING)
)
"""The steps of one insertion."""

IN_POWDER = (State.OPENING, State.FILLING, State.CLOSING, State.RAISING, State.WITHDRAWING)


class Intent(StrEnum):
    """What a phrase means."""

    CAUTION_ISOLATED = "caution-isolated"
    CAUTION_EARTHED = "caution-earthed"
    CAUTION_PROTECTED = "caution-protected"
    DIES_SEATED = "dies-seated"
    POSITIONED = "positioned"
    AT_DEPTH = "at-depth"
    PORT_OPEN = "port-open"
    FILLED_CLOSED = "filled-closed"
    SET_FILLED = "set-filled"
    PORT_CLOSED = "port-closed"
    RAISED_OPEN = "raised-open"
    SHAFT_RAISED = "shaft-raised"
    SAMPLER_OUT = "sampler-out"
    DIES_UP_TUBE_OFF = "dies-up-tube-off"
    SHAKEN_OFF = "shaken-off"
    DIES_UP = "dies-up"
    TUBE_OFF = "tube-off"
    ALL_FULL = "all-full"
    VIAL_FULL = "vial-full"
    VIAL_SHORT = "vial-short"
    VIAL_EMPTY = "vial-empty"
    MASS = "mass"
    EMPTY_CLEAN = "empty-clean"
    TUBE_EMPTIED = "tube-emptied"
    POWDER_IN_TUBE = "powder-in-tube"
    SHAFT_CLEAN = "shaft-clean"
    SHAFT_MARKED = "shaft-marked"
    MARKS_ACCEPTED = "marks-accepted"
    SAMPLER_CHANGED = "sampler-changed"
    ON_STAND = "on-stand"
    DIES_COMPLETE = "dies-complete"
    DIE_MISSING = "die-missing"
    DEVIATION_ACCEPTED = "deviation-accepted"
    SAMPLES_VOIDED = "samples-voided"
    INSERTION_REPEATED = "insertion-repeated"
    RECORD_SIGNED = "record-signed"
    AFFIRM = "affirm"
    WITNESS_AFFIRMED = "witness-affirmed"
    NEGATIVE = "negative"
    SAY_AGAIN = "say-again"
    WHERE_ARE_WE = "where-are-we"
    WHAT_CAN_I_SAY = "what-can-i-say"
    HEAD_CODE = "head-code"
    STAND_BY = "stand-by"
    RESUME = "resume"
    NOTE_SPILL = "note-spill"
    NOTE_LEAK = "note-leak"
    PLACE_FLOOR = "place-floor"
    PLACE_VESSEL = "place-vessel"
    PLACE_SAMPLER = "place-sampler"
    PLACE_VIALS = "place-vials"
    AMOUNT_TRACE = "amount-trace"
    AMOUNT_SPOONFUL = "amount-spoonful"
    AMOUNT_MORE = "amount-more"
    AFFECTS_NONE = "affects-none"
    AFFECTS_INSERTION = "affects-insertion"
    AFFECTS_ALL = "affects-all"
    REMARK = "remark"
    CORRECTION = "correction"
    DISREGARD = "disregard"
    STOP_SAMPLING = "stop-sampling"
    TAKE_OVER = "take-over"


QUESTIONS = (
    Intent.SAY_AGAIN,
    Intent.WHERE_ARE_WE,
    Intent.WHAT_CAN_I_SAY,
    Intent.HEAD_CODE,
)
"""Questions: they change nothing, so a doubtful hearing may be answered."""

SHORT_ONLY = (
    Intent.FILLED_CLOSED,
    Intent.RAISED_OPEN,
    Intent.DIES_UP_TUBE_OFF,
    Intent.ALL_FULL,
    Intent.EMPTY_CLEAN,
    Intent.HEAD_CODE,
)
"""Said only in a short dialogue: one confirmation of two or three steps, and the head code."""

FULL_ONLY = (
    Intent.SET_FILLED,
    Intent.PORT_CLOSED,
    Intent.SHAFT_RAISED,
    Intent.SHAKEN_OFF,
    Intent.DIES_UP,
    Intent.TUBE_OFF,
)
"""Said only in a full dialogue: a short one confirms these steps together with their neighbours."""

POSITIONAL = (
    Intent.PORT_OPEN,
    Intent.FILLED_CLOSED,
    Intent.SET_FILLED,
    Intent.PORT_CLOSED,
    Intent.RAISED_OPEN,
    Intent.SHAFT_RAISED,
)
VIAL = (Intent.VIAL_FULL, Intent.VIAL_SHORT, Intent.VIAL_EMPTY)
CONTENT = (*VIAL, Intent.ALL_FULL)
"""Intents that say what vials hold."""
CAUTIONS = {
    "isolated": Intent.CAUTION_ISOLATED,
    "earthed": Intent.CAUTION_EARTHED,
    "protected": Intent.CAUTION_PROTECTED,
}


class Signal(StrEnum):
    """Triggers other than phrases."""

    OPENED = "opened"
    FILL_REACHED = "fill-reached"
    FILL_OVERRUN = "fill-overrun"
    SHAKE_OFF_REACHED = "shake-off-reached"
    REMARK_TAKEN = "remark-taken"
    DOUBT = "doubt"
    RESUMED = "resumed"


Trigger = Intent | Signal
TRIGGERS: tuple[Trigger, ...] = (*Intent, *Signal)

CONFIRMS = tuple(Intent)[: tuple(Intent).index(Intent.AFFIRM)]
"""Intents that advance the work or record a result: those a correction can take back."""


class Timer(StrEnum):
    """The timers of the procedure; each triggers the signal of the same name."""

    FILL_REACHED = "fill-reached"
    FILL_OVERRUN = "fill-overrun"
    SHAKE_OFF_REACHED = "shake-off-reached"


class Prompt(StrEnum):
    """What can be said to the operator; the words stand in the grammar file."""

    CAUTION_ISOLATED = "ask-isolated"
    CAUTION_EARTHED = "ask-earthed"
    CAUTION_PROTECTED = "ask-protected"
    SEAT = "seat"
    POSITION_ENTRY = "position-entry"
    POSITION_MIDDLE = "position-middle"
    POSITION_TILT = "position-tilt"
    POSITION_UPRIGHT = "position-upright"
    POSITION_CLOCK = "position-clock"
    ENTER = "enter"
    OPEN = "open"
    FILL = "fill"
    FILL_REACHED = "fill-reached"
    FILL_OVERRUN = "fill-overrun"
    CLOSE = "close"
    RAISE = "raise"
    WITHDRAW = "withdraw"
    SHAKE_OFF = "shake-off"
    SHAKE_OFF_REACHED = "shake-off-reached"
    INVERT = "invert"
    REMOVE_TUBE = "remove-tube"
    EMPTY_DIE = "empty-die"
    EMPTY_PORT_DIE = "empty-port-die"
    WEIGH = "weigh"
    EMPTY_TUBE = "empty-tube"
    INSPECT = "inspect"
    MARKED = "marked"
    STOW = "stow"
    COUNT = "count"
    DISPOSE = "dispose"
    SIGN = "sign"
    CLOSED = "closed"
    STOPPED = "stopped"
    STANDING_BY = "standing-by"
    ASK_PLACE = "ask-place"
    ASK_AMOUNT = "ask-amount"
    ASK_SAMPLES = "ask-samples"
    NOTED = "noted"
    NOTE_DROPPED = "note-dropped"
    ASK_REMARK = "ask-remark"
    REMARK_KEPT = "remark-kept"
    ASK_STOP = "ask-stop"
    ASK_BACK = "ask-back"
    READ_BACK = "read-back"
    ASK_WITNESS = "ask-witness"
    CHECK_IN_POWDER = "check-in-powder"
    CHECK_OUTSIDE = "check-outside"
    CORRECTED = "corrected"
    NOTHING_TO_CORRECT = "nothing-to-correct"
    WHERE = "where"
    WHERE_OUTSIDE = "where-outside"
    CHOICES = "choices"
    NOT_NOW = "not-now"
    SAY_THIS = "say-this"
    OTHER_LABEL = "other-label"
    WRONG_POSITION = "wrong-position"
    WRONG_VIAL = "wrong-vial"
    TOO_EARLY = "too-early"
    OUT_OF_RANGE = "out-of-range"
    BELOW_MINIMUM = "below-minimum"
    MASS_OUTSIDE = "mass-outside"
    NOT_UNDERSTOOD = "not-understood"
    TAKEN_OVER = "taken-over"
    UNKNOWN_PERSON = "unknown-person"
    MICROPHONE_LOST = "microphone-lost"
    MICROPHONE_BACK = "microphone-back"
    SPEAKER_LOST = "speaker-lost"
    SPEAKER_BACK = "speaker-back"
    NOISE_ROSE = "noise-rose"
    STORAGE_FAILED = "storage-failed"
    STORAGE_BACK = "storage-back"
    HEAD = "head"
    CLOSE_NOW = "close-now"
    RAISE_AND_OPEN = "raise-and-open"
    UNCOVER = "uncover"
    EMPTY_ALL = "empty-all"
    EMPTY_AND_LOOK = "empty-and-look"
    READ_BACK_VIALS = "read-back-vials"
    ASK_WITNESS_VIALS = "ask-witness-vials"
    SEAT_BRIEF = "seat-brief"
    ENTER_BRIEF = "enter-brief"
    OPEN_BRIEF = "open-brief"
    RAISE_AND_OPEN_BRIEF = "raise-and-open-brief"
    WITHDRAW_BRIEF = "withdraw-brief"
    SHAKE_OFF_BRIEF = "shake-off-brief"
    UNCOVER_BRIEF = "uncover-brief"
    EMPTY_ALL_BRIEF = "empty-all-brief"
    EMPTY_AND_LOOK_BRIEF = "empty-and-look-brief"
    STOW_BRIEF = "stow-brief"


class Kind(StrEnum):
    """Kinds of deviation."""

    SPILL = "spill"
    LEAK = "leak"
    SHORT = "short-die"
    EMPTY = "empty-die"
    OVERRUN = "overrun"
    MARKED = "marked-shaft"
    WRONG_OBJECT = "wrong-object"
    DIE_MISSING = "die-missing"
    UNDER_WEIGHT = "below-minimum-weight"
    MASS_OUTSIDE = "mass-outside-window"
    DISTURBED = "disturbed"
    DEVICE_LOST = "device-lost"
    CLOCK_STEP = "clock-step"
    CLOCK_FREE = "clock-not-synchronised"
    NOISE_RISE = "noise-rise"
    OVERRIDE = "override"
    STORAGE = "storage-trouble"
