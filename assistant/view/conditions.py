"""How the devices, the room, the disk and the clock are, as far as the record says."""

from pydantic import BaseModel, ConfigDict

from assistant.procedure.events import (
    AudioLost,
    ClockStepped,
    DeviceBack,
    DeviceLost,
    Event,
    NoiseRose,
    Opened,
    Resumed,
    SoundChecked,
    StorageTroubled,
)

__all__ = ["Condition", "Conditions", "conditions_after"]


class Condition(BaseModel):
    """One of them: whether it is as it should be, and in words."""

    model_config = ConfigDict(frozen=True)

    good: bool = True
    text: str = "-"


class Conditions(BaseModel):
    """All five."""

    model_config = ConfigDict(frozen=True)

    microphone: Condition = Condition()
    speaker: Condition = Condition()
    noise: Condition = Condition(text="not measured")
    disk: Condition = Condition(text="written")
    clock: Condition = Condition(text="not known")


_CLOCK = {
    "yes": Condition(text="set by a time server"),
    "no": Condition(good=False, text="not set by a time server"),
    "unknown": Condition(text="not known whether a time server sets it"),
}


def conditions_after(now: Conditions, event: Event) -> Conditions:
    """Return how they are after an event; unchanged where it says nothing about them."""
    changed = _changed(now, event)
    return now.model_copy(update=changed) if changed else now


def _changed(now: Conditions, event: Event) -> dict[str, Condition]:
    match event:
        case Opened():
            return {**_devices(event), "clock": _CLOCK.get(event.clock_synchronised, now.clock)}
        case Resumed():
            return _devices(event)
        case DeviceLost():
            return {event.device: Condition(good=False, text=f"lost: {event.reason}")}
        case DeviceBack():
            return {event.device: Condition(text=event.name)}
        case ClockStepped():
            return {"clock": Condition(good=False, text=f"stepped by {event.seconds} s")}
        case StorageTroubled():
            return {"disk": Condition(text=f"written again after {event.seconds} s")}
        case _:
            return _of_sound(event)


def _of_sound(event: Event) -> dict[str, Condition]:
    match event:
        case SoundChecked():
            words = "overridden, " if event.overridden else ""
            text = f"{words}speech {event.snr_db} dB above the room"
            return {"noise": Condition(good=not event.overridden, text=text)}
        case NoiseRose():
            text = f"the room is {event.rise_db} dB louder than at the sound check"
            return {"noise": Condition(good=False, text=text)}
        case AudioLost():
            return {"microphone": Condition(text=f"{event.milliseconds} ms of sound were lost")}
        case _:
            return {}


def _devices(event: Opened | Resumed) -> dict[str, Condition]:
    return {
        "microphone": Condition(text=event.microphone or "no microphone"),
        "speaker": Condition(text=event.speaker or "no loudspeaker"),
    }
