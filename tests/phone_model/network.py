"""The network: Whisper tiny.en's encoder, cut to the clip's length, and a layer to the phones."""

import struct
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812 - its usual name
from torch import nn

from .lexicon import PHONES

WIDTH: Final = 384
HEADS: Final = 6
LAYERS: Final = 4
PLACES: Final = 300
"""Outputs at most, 50 a second: six seconds."""
OUTPUTS: Final = len(PHONES) + 1

_KINDS: Final = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}


class Layer(nn.Module):
    """Self-attention and two products, each over a normalised input and added to it."""

    def __init__(self, dropout: float) -> None:
        """Make the parts; names are what the exporter looks for."""
        super().__init__()
        self.norm_one, self.norm_two = nn.LayerNorm(WIDTH), nn.LayerNorm(WIDTH)
        self.three = nn.Linear(WIDTH, 3 * WIDTH)
        self.out = nn.Linear(WIDTH, WIDTH)
        self.wide = nn.Linear(WIDTH, 4 * WIDTH)
        self.narrow = nn.Linear(4 * WIDTH, WIDTH)
        self.dropout = nn.Dropout(dropout)

    def forward(self, heard: torch.Tensor) -> torch.Tensor:
        """Return the layer's output (B, T, width)."""
        batch, steps, width = heard.shape
        parts = self.three(self.norm_one(heard)).view(batch, steps, 3, HEADS, width // HEADS)
        query, key, value = parts.permute(2, 0, 3, 1, 4)
        seen = F.scaled_dot_product_attention(query, key, value)
        heard = heard + self.dropout(self.out(seen.transpose(1, 2).reshape(heard.shape)))
        return heard + self.dropout(self.narrow(F.gelu(self.wide(self.norm_two(heard)))))


class Network(nn.Module):
    """Mel picture (B, 80, T) to unnormalised log probabilities (B, T/2, 40)."""

    def __init__(self, dropout: float = 0.1) -> None:
        """Make the parts, at random."""
        super().__init__()
        self.first = nn.Conv1d(80, WIDTH, 3, padding=1)
        self.second = nn.Conv1d(WIDTH, WIDTH, 3, stride=2, padding=1)
        self.places = nn.Parameter(torch.zeros(PLACES, WIDTH))
        self.layers = nn.ModuleList([Layer(dropout) for _ in range(LAYERS)])
        self.norm = nn.LayerNorm(WIDTH)
        self.head = nn.Linear(WIDTH, OUTPUTS)

    def forward(self, mel: torch.Tensor) -> torch.Tensor:
        """Return the outputs before their softmax."""
        heard = F.gelu(self.second(F.gelu(self.first(mel)))).transpose(1, 2)
        heard = heard + self.places[: heard.shape[1]]
        for layer in self.layers:
            heard = layer(heard)
        out: torch.Tensor = self.head(self.norm(heard))
        return out

    def take_encoder(self, weights: Mapping[str, np.ndarray[Any, Any]]) -> None:
        """Take over the encoder's weights by the names of the CTranslate2 file."""
        state = {}
        for mine, theirs in _names():
            found = torch.from_numpy(weights[theirs].astype(np.float32))
            state[mine] = found[:PLACES] if mine == "places" else found
        left, unknown = self.load_state_dict(state, strict=False)
        if unknown or set(left) != {"head.weight", "head.bias"}:
            msg = f"The encoder's weights do not fit: {left} missing, {unknown} unknown."
            raise ValueError(msg)


def _names() -> list[tuple[str, str]]:
    pairs = [
        (f"{mine}.{kind}", f"encoder/{theirs}/{kind}")
        for mine, theirs in (("first", "conv1"), ("second", "conv2"))
        for kind in ("weight", "bias")
    ]
    pairs.append(("places", "encoder/position_encodings/encodings"))
    norms = [("norm", "encoder/layer_norm")]
    for n in range(LAYERS):
        mine, theirs = f"layers.{n}", f"encoder/layer_{n}"
        norms += [
            (f"{mine}.norm_one", f"{theirs}/self_attention/layer_norm"),
            (f"{mine}.norm_two", f"{theirs}/ffn/layer_norm"),
        ]
        for part, place in (
            ("three", "self_attention/linear_0"),
            ("out", "self_attention/linear_1"),
            ("wide", "ffn/linear_0"),
            ("narrow", "ffn/linear_1"),
        ):
            pairs += [(f"{mine}.{part}.{k}", f"{theirs}/{place}/{k}") for k in ("weight", "bias")]
    for mine, theirs in norms:
        pairs += [(f"{mine}.weight", f"{theirs}/gamma"), (f"{mine}.bias", f"{theirs}/beta")]
    return pairs


def read_weights(path: Path) -> dict[str, np.ndarray[Any, Any]]:
    """Read the weights of a CTranslate2 model file (binary version 6: names, shapes, data)."""
    data, place = path.read_bytes(), 0

    def number(kind: str) -> int:
        nonlocal place
        (value,) = struct.unpack_from(f"<{kind}", data, place)
        place += struct.calcsize(kind)
        return int(value)

    def text() -> str:
        nonlocal place
        size = number("H")
        place += size
        return data[place - size : place - 1].decode()

    number("I"), text(), number("I")
    found = {}
    for _ in range(number("I")):
        name = text()
        shape = [number("I") for _ in range(number("B"))]
        kind = np.dtype(_KINDS[number("B")])
        size = number("I")
        found[name] = np.frombuffer(data, kind, size // kind.itemsize, place).reshape(shape)
        place += size
    return found
