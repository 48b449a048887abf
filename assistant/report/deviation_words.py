"""Deviations in words, as a reviewer reads them on paper."""

from assistant.procedure.enums import Kind

__all__ = ["in_words"]

_PLACES = {
    "place-floor": "on the floor",
    "place-vessel": "around the vessel's opening",
    "place-sampler": "along the sampler",
    "place-vials": "beside the vial rack",
    "in-tube": "inside the tube",
}
_AMOUNTS = {
    "amount-trace": "only a trace",
    "amount-spoonful": "about a spoonful",
    "amount-more": "more than a spoonful",
}
_DEVICES = {"microphone": "microphone", "speaker": "loudspeaker"}
_POSITIONS = ("bottom", "middle", "top")

_WORDS = {
    Kind.SPILL: "powder spilled{place}",
    Kind.LEAK: "powder leaked{place}",
    Kind.SHORT: "a die came out short of powder",
    Kind.EMPTY: "a die came out empty",
    Kind.OVERRUN: "port open longer than planned, shaft at {detail}",
    Kind.MARKED: "rub marks on the shaft",
    Kind.WRONG_OBJECT: "named instead of the one in hand: {named}",
    Kind.DIE_MISSING: "a die is missing",
    Kind.UNDER_WEIGHT: "net mass of {detail} mg, below the balance's smallest weight",
    Kind.MASS_OUTSIDE: "net mass of {detail} mg, outside the expected range",
    Kind.DISTURBED: "something was moved during a break",
    Kind.DEVICE_LOST: "{device} lost",
    Kind.CLOCK_STEP: "clock changed by {detail} s",
    Kind.CLOCK_FREE: "clock not synchronised",
    Kind.NOISE_RISE: "room louder by {detail} dB",
    Kind.OVERRIDE: "sound check not passed; begun all the same",
    Kind.STORAGE: "record could not be written for a time: {detail}",
}


def in_words(kind: str, detail: str) -> str:
    """Return what happened; a kind that this version does not know stays as it is recorded.

    Args:
        kind: value of `Kind`.
        detail: as recorded beside it.
    """
    if kind not in _WORDS:
        return f"{kind} {detail}".strip()
    parts = [_PLACES.get(part) or _AMOUNTS.get(part) or part for part in detail.split()]
    place = f": {', '.join(parts)}" if parts else ""
    return _WORDS[Kind(kind)].format(
        detail=detail,
        place=place,
        named=_named(detail),
        device=_DEVICES.get(detail, detail),
    )


def _named(detail: str) -> str:
    """What was named or scanned: a vial's number, a position of the shaft, or a label's code."""
    if detail.isdecimal():
        return f"vial {detail}"
    return f"{detail} position" if detail in _POSITIONS else f"label {detail}"
