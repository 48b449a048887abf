"""The model, and phone probabilities spelt out by hand."""

import hashlib
import os
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest

from assistant.grammar.phones import PHONES
from assistant.speech.phone_decoder.phone_model import (
    SYMBOLS,
    ModelFile,
    PhoneModel,
    read_model,
    shipped_model,
)
from assistant.speech.phone_decoder.phrase_scores import Floats

OTHER_MODEL = "SAMPLING_ASSISTANT_PHONE_MODEL"
"""Names a model to test instead of the one in the package."""


@pytest.fixture(scope="session")
def model() -> PhoneModel:
    """Return the model under test."""
    other = os.environ.get(OTHER_MODEL)
    if other:
        data = Path(other).read_bytes()
        return PhoneModel(ModelFile(data, "other", hashlib.sha256(data).hexdigest()))
    if not shipped_model().is_file():
        pytest.skip(f"no phone model in the package; name one by {OTHER_MODEL}")
    return PhoneModel(read_model(shipped_model()))


Spell = Callable[..., Floats]


@pytest.fixture
def spell() -> Spell:
    """Return a function from phones to probabilities as the network gives them."""

    def spelt(phones: Sequence[str], sure: float = 0.97, lead: int = 5) -> Floats:
        """Each phone peaks in one frame; three blanks follow; "-" is three blanks more."""
        symbols = [0] * lead
        for phone in phones:
            symbols += [0, 0, 0] if phone == "-" else [PHONES.index(phone) + 1, 0, 0, 0]
        symbols += [0] * lead
        rest = (1.0 - sure) / (len(SYMBOLS) - 1)
        rows = np.full((len(symbols), len(SYMBOLS)), rest)
        rows[np.arange(len(symbols)), symbols] = sure
        found: Floats = np.log(rows)
        return found

    return spelt
