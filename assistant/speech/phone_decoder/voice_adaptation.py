"""One person's voice: how much more or less often the network hears each phone from it.

A bias for every output of the last layer, fitted on phrases whose words are known: about a minute
of speech. It is bound to the model it was made with, by hash.
"""

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Final

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from assistant.errors import InputError
from assistant.grammar.phones import Way
from assistant.speech.phone_decoder.phone_model import SYMBOLS
from assistant.speech.phone_decoder.phrase_scores import (
    Floats,
    Numbers,
    PhraseSet,
    align,
    labels,
    ratios,
)

LEAST_SECONDS: Final = 20.0
"""Less speech than this says too little about a voice."""
STRENGTH: Final = 4.0
"""How strongly each bias is drawn to zero, in frames; little speech changes little."""
LARGEST: Final = 2.0
"""No bias goes further, in natural logarithms."""
WORST_FIT: Final = -4.0
"""A saying whose phones fit worse than this, on average, was not the phrase and is left out."""
_STEPS: Final = 60

Finite = Annotated[float, Field(allow_inf_nan=False, ge=-LARGEST, le=LARGEST)]


class VoiceProfile(BaseModel):
    """The biases of one person for one model."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    name: str
    model_sha256: str
    seconds: float
    """Speech that it was made from."""
    bias: Annotated[tuple[Finite, ...], Field(min_length=len(SYMBOLS), max_length=len(SYMBOLS))]
    """One figure for the blank and for each phone, natural logarithms."""

    def encoded(self) -> bytes:
        """Return the content of the profile's file."""
        return self.model_dump_json(indent=1).encode()

    @property
    def digest(self) -> str:
        """SHA-256 of the content, as it goes on record."""
        return hashlib.sha256(self.encoded()).hexdigest()


def read_profile(path: Path, model_sha256: str) -> VoiceProfile:
    """Read a profile for a model.

    Raises:
        InputError: there is none, it is damaged, or was made with another model.
    """
    try:
        found = VoiceProfile.model_validate_json(path.read_bytes())
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise InputError(f"The voice profile {path} cannot be read: {reason}.") from None
    except ValidationError:
        raise InputError(f"The voice profile {path} is damaged; enrol again.") from None
    if found.model_sha256 != model_sha256:
        raise InputError(
            f"The voice profile {path} was made with another phone model "
            f"({found.model_sha256[:12]}, in use is {model_sha256[:12]}); enrol again."
        )
    return found


def adapted(posteriors: Floats, bias: Floats) -> Floats:
    """Return phone probabilities with a voice's biases applied; each row sums to 1 again."""
    moved = posteriors + bias
    top = moved.max(axis=1, keepdims=True)
    total: Floats = moved - top - np.log(np.exp(moved - top).sum(axis=1, keepdims=True))
    return total


def fit_profile(
    name: str,
    model_sha256: str,
    sayings: Sequence[tuple[Sequence[Sequence[Way]], Floats]],
) -> VoiceProfile:
    """Fit a voice's biases.

    Args:
        name: of the person.
        model_sha256: of the model that heard the sayings, without a profile.
        sayings: for each the ways of its phrase, and the phone probabilities of its sound.

    Raises:
        InputError: too little of it was clear speech of the phrases.
    """
    pieces = [piece for ways, posteriors in sayings if (piece := _labelled(ways, posteriors))]
    frames = sum(len(posteriors) for posteriors, _ in pieces)
    seconds = frames / 50.0
    if seconds < LEAST_SECONDS:
        raise InputError(
            f'Only {seconds:.0f} s of what "{name}" said was clear; {LEAST_SECONDS:.0f} s are '
            "needed: say more of the phrases, one at a time, in a quiet place."
        )
    heard = np.concatenate([posteriors for posteriors, _ in pieces])
    meant = np.concatenate([targets for _, targets in pieces])
    bias = _fitted(heard, meant)
    rounded = tuple(round(float(value), 4) for value in bias)
    return VoiceProfile(
        name=name, model_sha256=model_sha256, seconds=round(seconds, 1), bias=rounded
    )


def _labelled(ways: Sequence[Sequence[Way]], posteriors: Floats) -> tuple[Floats, Numbers] | None:
    """Return the frames of a saying with the symbol meant in each, None where it does not fit."""
    if not len(posteriors):
        return None
    ratio = ratios(posteriors)
    phrases = PhraseSet({"": ways})
    way = phrases.best_way(0, phrases.ways_scores(ratio))
    found = align(way, ratio)
    if found is None or sum(found.phones) / len(found.phones) < WORST_FIT:
        return None
    numbers = labels([phone for word in way for phone in word])
    inside = posteriors[found.begin : found.end]
    targets = np.zeros(len(inside), dtype=np.intp)
    stops = [*(start - found.begin for start in found.starts[1:]), len(inside)]
    begin = 0
    for number, stop in zip(numbers, stops, strict=True):
        # A phone peaks in a frame or two; the blank fills the rest of its stretch.
        stretch = inside[begin:stop]
        peak = begin + int(stretch[:, number].argmax())
        targets[peak] = number
        begin = stop
    return inside, targets


def _fitted(heard: Floats, meant: Numbers) -> Floats:
    """Return the biases under which the symbols meant are likeliest (gradient ascent)."""
    counts = np.bincount(meant, minlength=len(SYMBOLS)).astype(np.float64)
    bias = np.zeros(len(SYMBOLS))
    for _ in range(_STEPS):
        share = np.exp(adapted(heard, bias))
        gradient = counts - share.sum(axis=0) - STRENGTH * bias
        curvature = (share * (1.0 - share)).sum(axis=0) + STRENGTH
        bias = np.clip(bias + 0.5 * gradient / curvature, -LARGEST, LARGEST)
    return bias
