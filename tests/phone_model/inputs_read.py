"""Read what `inputs.gather` wrote; nothing of the program is needed here."""

import json
import lzma
from pathlib import Path
from typing import Any

import numpy as np


def lexicon_of(work: Path) -> dict[str, list[int]]:
    """Read each word's phones, as the network numbers them."""
    found: dict[str, list[int]] = json.loads(
        lzma.decompress((work / "lexicon.json.xz").read_bytes())
    )
    return found


def encoder_of(work: Path) -> dict[str, np.ndarray[Any, Any]]:
    """Read the encoder's weights by their names."""
    with np.load(work / "encoder.npz") as file:
        return {name: file[name] for name in file.files}
