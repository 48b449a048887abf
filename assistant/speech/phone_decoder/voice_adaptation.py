"""One person's voice: which phones the network takes for others when this person speaks.

A bias for every phone of the last layer, fitted on phrases whose words are known: about a minute of
speech. Only the frames in which a phone peaks are used, and only how the phones share them: how
often the network hears any phone at all stays as it is. A profile is bound to its model by hash.
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

LEAST_PHONES: Final = 150
"""Fewer clear phones than this say too little about a voice; a minute holds some 400."""
STRENGTH: Final = 10.0
"""How strongly each bias is drawn to zero, in frames; little speech changes little."""
LARGEST: Final = 1.5
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
    phones: int
    """Clear phones that it was made from."""
    bias: Annotated[tuple[Finite, ...], Field(min_length=len(SYMBOLS), max_length=len(SYMBOLS))]
    """One figure for the blank, always 0, and for each phone, natural logarithms."""

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
    pieces = [piece for ways, posteriors in sayings if (piece := _peaks(ways, posteriors))]
    count = sum(len(meant) for _, meant in pieces)
    if count < LEAST_PHONES:
        raise InputError(
            f'Only {count} sounds of what "{name}" said were clear; {LEAST_PHONES} are needed: '
            "say more of the phrases, one at a time, in a quiet place."
        )
    heard = np.concatenate([rows for rows, _ in pieces])
    bias = _fitted(heard, np.concatenate([meant for _, meant in pieces]))
    rounded = (0.0, *(round(float(value), 4) for value in bias))
    return VoiceProfile(name=name, model_sha256=model_sha256, phones=count, bias=rounded)


def _peaks(ways: Sequence[Sequence[Way]], posteriors: Floats) -> tuple[Floats, Numbers] | None:
    """Return the frame of each phone of a saying and the phone meant, None where it does not fit.

    Returns:
        probabilities of the phones without the blank, shape (phones, 39), and their numbers from 0.
    """
    if not len(posteriors):
        return None
    ratio = ratios(posteriors)
    phrases = PhraseSet({"": ways})
    way = phrases.best_way(0, phrases.ways_scores(ratio))
    found = align(way, ratio)
    if found is None or sum(found.phones) / len(found.phones) < WORST_FIT:
        return None
    meant: Numbers = np.array(labels([phone for word in way for phone in word])) - 1
    stops = [*found.starts[1:], found.end]
    frames = [
        start + int(posteriors[start:stop, 0].argmin())
        for start, stop in zip(found.starts, stops, strict=True)
    ]
    return posteriors[frames, 1:], meant


def _fitted(heard: Floats, meant: Numbers) -> Floats:
    """Return the biases under which the phones meant are likeliest, with a mean of zero."""
    count = heard.shape[1]
    wanted = np.bincount(meant, minlength=count).astype(np.float64)
    bias = np.zeros(count)
    for _ in range(_STEPS):
        share = np.exp(adapted(heard, bias))
        gradient = wanted - share.sum(axis=0) - STRENGTH * bias
        curvature = (share * (1.0 - share)).sum(axis=0) + STRENGTH
        bias = np.clip(bias + 0.5 * gradient / curvature, -LARGEST, LARGEST)
    centred: Floats = bias - bias.mean()
    return np.clip(centred, -LARGEST, LARGEST)
