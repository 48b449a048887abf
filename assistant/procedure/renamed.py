"""Values that a record of schema 1 holds under an earlier name, and their present names."""

from collections.abc import Mapping
from typing import Final

STATES: Final[Mapping[str, str]] = {
    "aiming": "positioning",
    "shedding": "shaking-off",
    "turning": "inverting",
    "baring": "removing-tube",
    "emptying": "emptying-dies",
    "clearing": "emptying-tube",
    "resting": "stowing",
}
INTENTS: Final[Mapping[str, str]] = {"aimed": "positioned", "powder-shed": "shaken-off"}
TIMERS: Final[Mapping[str, str]] = {"shed-reached": "shake-off-reached"}
PROMPTS: Final[Mapping[str, str]] = {
    "aim-entry": "position-entry",
    "aim-middle": "position-middle",
    "aim-tilt": "position-tilt",
    "aim-upright": "position-upright",
    "aim-clock": "position-clock",
    "shed": "shake-off",
    "turn": "invert",
    "bare": "remove-tube",
    "clear": "empty-tube",
    "rest": "stow",
    **TIMERS,
}

BY_KEY: Final[Mapping[str, Mapping[str, str]]] = {
    "state": STATES,
    "step": STATES,
    "intent": INTENTS,
    "timer": TIMERS,
    "prompt": PROMPTS,
}
"""For each key of an entry, the names that its value may have had."""

BY_GRAMMAR_TABLE: Final[Mapping[str, Mapping[str, str]]] = {
    "phrases": INTENTS,
    "prompts": PROMPTS,
    "names": STATES,
}
"""For each table of a grammar file, the keys that it may have had."""
