"""Everything that can happen to a session: the vocabulary of the record.

A closed union of frozen models. Each has a short, stable `type`; quantities are strings, so that
their bytes never depend on a float's rounding.
"""

from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, JsonValue, TypeAdapter

from assistant.plan.model import Position
from assistant.procedure.enums import Intent, Timer

SCHEMA = 2
"""Version of the record's format; an older one is upgraded on reading."""

Decimal = Annotated[str, Field(pattern=r"^-?[0-9]{1,9}(\.[0-9]{1,6})?$")]
Spoken = Annotated[str, Field(pattern=r"^[0-9]{1,9}(\.[0-9]{1,6})?$")]
"""A number as it is said: there is no word for minus."""


class Frozen(BaseModel):
    """Base: frozen, and unknown fields are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class Meaning(Frozen):
    """The meaning of a phrase: an intent and the object it names."""

    intent: Intent
    position: Position | None = None
    vial: Annotated[int, Field(ge=1)] | None = None
    call: str | None = None
    number: Spoken | None = None


class Opened(Frozen):
    """The record begins; who, what, with which software and devices."""

    type: Literal["opened"] = "opened"
    schema_version: Literal[2] = Field(default=2, alias="schema")
    software: str
    plan_sha256: str
    grammar_sha256: str
    operator: str
    engine: str
    microphone: str
    speaker: str
    profile_sha256: str = ""
    """Voice profile of the operator, where one was used."""
    kind: Literal["", "live", "typed", "rehearsal"] = ""
    """Live: with a microphone that was open and the clock of the machine. Typed: with that clock,
    but without a microphone. Rehearsal: made up. "" in records that do not say."""
    engine_version: str = ""
    model: str = ""
    """File or folder of the engine's model, without its path."""
    model_sha256: str = ""
    program_sha256: str = ""
    """Over the names and contents of all files of the installed program."""
    host: str = ""
    account: str = ""
    """Of the operating system."""
    utc_offset: str = ""
    """Of the machine's time zone at the opening, such as "+02:00"."""
    clock_synchronised: Literal["", "yes", "no", "unknown"] = ""
    """Whether the operating system says that its clock follows a time server."""
    clock_affirmed: Literal["", "yes", "not asked"] = ""
    """Whether somebody typed, before the work began, that date, time, zone and synchronisation as
    shown are right; not asked where nobody sat at a terminal; "" in a rehearsal."""
    machine_boot: str = ""
    """Names this start of the machine, whose steady clock runs on while it is the same; "" where
    the system does not say."""
    stamp_authority: str = ""
    """Address of the time-stamping authority that is asked during the session, "" without one."""


class SoundChecked(Frozen):
    """Levels in the room before the work; dB relative to full scale."""

    type: Literal["sound-checked"] = "sound-checked"
    speech_dbfs: Decimal
    noise_dbfs: Decimal
    snr_db: Decimal
    clipped: bool
    recognised: int
    asked: int
    overridden: bool = False
    """The room was too loud and the operator said to go on all the same."""
    microphone_ms: str = ""
    """Delay of the microphone as its system reports it, in milliseconds; "" where it does not."""
    speaker_ms: str = ""
    """The same of the loudspeaker."""


NEAR: Final = "near-wording"
"""Reason of a refusal: these were other words for a phrase, which is the meaning."""

OTHER_LABEL: Final = "other-label"
"""Reason of a refusal: the scanned label is of another batch or plan; the text is its code."""


class Heard(Frozen):
    """One utterance, typed line or key press, and what was decided about it."""

    type: Literal["heard"] = "heard"
    source: Literal["voice", "text", "key"]
    text: str
    decision: Literal["accept", "ask", "refuse"]
    reason: str = ""
    meaning: Meaning | None = None
    engine: str = ""
    scores: dict[str, str] = Field(default_factory=dict)
    clip: str = ""
    """SHA-256 of the clip holding the audio, "" where there is none."""


class TimerRang(Frozen):
    """A timer that the procedure asked for has run out."""

    type: Literal["timer-rang"] = "timer-rang"
    timer: Timer
    generation: Annotated[int, Field(ge=1)]
    """Which start of the timer; an older one than the present is stale."""


class RemarkTaken(Frozen):
    """A spoken memo (a clip) or a typed one (text)."""

    type: Literal["remark-taken"] = "remark-taken"
    clip: str = ""
    seconds: Decimal = "0"
    text: str = ""


class DeviceLost(Frozen):
    """A microphone or loudspeaker went away or fell silent."""

    type: Literal["device-lost"] = "device-lost"
    device: Literal["microphone", "speaker"]
    reason: str


class DeviceBack(Frozen):
    """A device works again, perhaps another one than before."""

    type: Literal["device-back"] = "device-back"
    device: Literal["microphone", "speaker"]
    name: str


class AudioLost(Frozen):
    """Samples were lost; an utterance with a gap is not used."""

    type: Literal["audio-lost"] = "audio-lost"
    milliseconds: int


class ClockStepped(Frozen):
    """The wall clock jumped against the steady one."""

    type: Literal["clock-stepped"] = "clock-stepped"
    seconds: Decimal


class NoiseRose(Frozen):
    """The noise floor has been well above the sound check's for a while."""

    type: Literal["noise-rose"] = "noise-rose"
    noise_dbfs: Decimal
    rise_db: Decimal


class StorageTroubled(Frozen):
    """The record could not be written for a while; written when it could again."""

    type: Literal["storage-troubled"] = "storage-troubled"
    reason: str
    seconds: Decimal


class Resumed(Frozen):
    """The program continues after a break; a torn last line, if any, was set aside."""

    type: Literal["resumed"] = "resumed"
    software: str
    engine: str
    microphone: str
    speaker: str
    torn_bytes: int = 0
    torn_sha256: str = ""
    machine_boot: str = ""
    """As in the first entry."""


class ViewerNoted(Frozen):
    """Somebody began or ceased to watch the session's page from another machine."""

    type: Literal["viewer-noted"] = "viewer-noted"
    viewer: Annotated[int, Field(ge=1)]
    """Number of the code that let the viewer in, from 1 in each start of the program."""
    did: Literal["joined", "left"]
    address: str
    wrong_codes: Annotated[int, Field(ge=0)] = 0
    """Wrong codes tried so far in this start of the program, by anybody."""


Event = Annotated[
    Opened
    | SoundChecked
    | Heard
    | TimerRang
    | RemarkTaken
    | DeviceLost
    | DeviceBack
    | AudioLost
    | ClockStepped
    | NoiseRose
    | StorageTroubled
    | Resumed
    | ViewerNoted,
    Field(discriminator="type"),
]

EVENT: TypeAdapter[Event] = TypeAdapter(Event)


def dump(event: Event) -> dict[str, JsonValue]:
    """Return the event as it stands in the record; what has its default is left out."""
    plain: dict[str, JsonValue] = event.model_dump(
        mode="json", by_alias=True, exclude_defaults=True
    )
    plain["type"] = event.type
    if isinstance(event, Opened):
        plain["schema"] = event.schema_version
    return plain


def load(plain: object) -> Event:
    """Read an event back.

    Raises:
        pydantic.ValidationError: the type or a field is unknown or out of range.
    """
    return EVENT.validate_python(plain)
