"""Write the network as an ONNX graph, its matrix products in 8 bits, and what it is made of."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

import numpy as np
import onnx
import torch
from onnx import TensorProto, helper, numpy_helper
from onnxruntime.quantization import QuantType, quantize_dynamic

from .network import HEADS, LAYERS, OUTPUTS, WIDTH

_OPSET: Final = 20
_HEAD_WIDTH: Final = WIDTH // HEADS

State = dict[str, torch.Tensor]


def mean_of(states: Sequence[State]) -> State:
    """Return the mean of several sets of weights."""
    return {
        name: torch.stack([state[name].float() for state in states]).mean(0) for name in states[0]
    }


class _Builder:
    """Collects nodes and weights; every method returns the name of what it adds."""

    def __init__(self, state: State) -> None:
        self.nodes: list[onnx.NodeProto] = []
        self.weights: list[onnx.TensorProto] = []
        self._state = state

    def fixed(self, name: str, value: np.ndarray[Any, Any]) -> str:
        self.weights.append(numpy_helper.from_array(value, name))
        return name

    def weight(self, name: str, *, turned: bool = False) -> str:
        value = self._state[name].float().numpy()
        return self.fixed(name, np.ascontiguousarray(value.T if turned else value))

    def node(self, kind: str, *inputs: str, name: str, **extra: Any) -> str:  # noqa: ANN401 - attributes
        self.nodes.append(helper.make_node(kind, list(inputs), [name], name=name, **extra))
        return name

    def linear(self, heard: str, part: str) -> str:
        turned = self.weight(f"{part}.weight", turned=True)
        product = self.node("MatMul", heard, turned, name=f"{part}.product")
        return self.node("Add", product, self.weight(f"{part}.bias"), name=f"{part}.sum")

    def norm(self, heard: str, part: str) -> str:
        names = self.weight(f"{part}.weight"), self.weight(f"{part}.bias")
        kind = "LayerNormalization"
        return self.node(kind, heard, *names, name=f"{part}.out", axis=-1, epsilon=1e-5)

    def filtered(self, heard: str, part: str, step: int) -> str:
        names = self.weight(f"{part}.weight"), self.weight(f"{part}.bias")
        out = self.node(
            "Conv", heard, *names, name=f"{part}.out", pads=[1, 1], strides=[step], kernel_shape=[3]
        )
        return self.node("Gelu", out, name=f"{part}.gelu")

    def layer(self, heard: str, part: str) -> str:
        three = self.linear(self.norm(heard, f"{part}.norm_one"), f"{part}.three")
        split = self.node("Reshape", three, "split", name=f"{part}.split")
        turned = self.node("Transpose", split, name=f"{part}.turned", perm=[2, 0, 3, 1, 4])
        query, key, value = (
            self.node("Gather", turned, f"part{n}", name=f"{part}.{n}", axis=0) for n in range(3)
        )
        key = self.node("Transpose", key, name=f"{part}.key", perm=[0, 1, 3, 2])
        query = self.node("Mul", query, "scale", name=f"{part}.query")
        seen = self.node("MatMul", query, key, name=f"{part}.scores")
        share = self.node("Softmax", seen, name=f"{part}.share", axis=-1)
        mixed = self.node("MatMul", share, value, name=f"{part}.mixed")
        back = self.node("Transpose", mixed, name=f"{part}.back", perm=[0, 2, 1, 3])
        whole = self.node("Reshape", back, "whole", name=f"{part}.whole")
        heard = self.node("Add", heard, self.linear(whole, f"{part}.out"), name=f"{part}.first")
        wide = self.linear(self.norm(heard, f"{part}.norm_two"), f"{part}.wide")
        wide = self.node("Gelu", wide, name=f"{part}.gelu")
        return self.node("Add", heard, self.linear(wide, f"{part}.narrow"), name=f"{part}.second")


def graph_of(state: State) -> onnx.ModelProto:
    """Return the graph in 32 bits: `mel` (1, 80, T) to `logp` (1, T/2, 40), T even."""
    build = _Builder(state)
    for n in range(3):
        build.fixed(f"part{n}", np.array(n, np.int64))
    build.fixed("split", np.array([0, 0, 3, HEADS, _HEAD_WIDTH], np.int64))
    build.fixed("whole", np.array([0, 0, WIDTH], np.int64))
    build.fixed("scale", np.array(_HEAD_WIDTH**-0.5, np.float32))
    build.fixed("zero", np.array([0], np.int64))
    build.fixed("one", np.array([1], np.int64))
    heard = build.filtered(build.filtered("mel", "first", 1), "second", 2)
    heard = build.node("Transpose", heard, name="steps", perm=[0, 2, 1])
    shape = build.node("Shape", heard, name="shape", start=1, end=2)
    places = build.node("Slice", build.weight("places"), "zero", shape, "zero", name="placed")
    heard = build.node("Add", heard, places, name="begun")
    for n in range(LAYERS):
        heard = build.layer(heard, f"layers.{n}")
    out = build.linear(build.norm(heard, "norm"), "head")
    build.node("LogSoftmax", out, name="logp", axis=-1)
    mel = helper.make_tensor_value_info("mel", TensorProto.FLOAT, [1, 80, "T"])
    logp = helper.make_tensor_value_info("logp", TensorProto.FLOAT, [1, "U", OUTPUTS])
    graph = helper.make_graph(build.nodes, "phones", [mel], [logp], build.weights)
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", _OPSET)], ir_version=9)
    onnx.checker.check_model(model)
    return model


def export(state: State, path: Path) -> str:
    """Write the graph with the weights of its matrix products in 8 bits; return its SHA-256."""
    full = path.with_suffix(".full.onnx")
    onnx.save(graph_of(state), full)
    quantize_dynamic(
        full, path, op_types_to_quantize=["MatMul"], weight_type=QuantType.QInt8, per_channel=True
    )
    full.unlink()
    return hashlib.sha256(path.read_bytes()).hexdigest()


def describe(path: Path, digest: str, trainings: Sequence[Any], shipped: Sequence[str]) -> None:
    """Write the model's card beside it: version, hash, licence, origin, what was kept out."""
    from .inputs import PACKAGES, SEED  # noqa: PLC0415 - needs the program, the rest does not
    from .kokoro import TEST_VOICES, TUNING_VOICES  # noqa: PLC0415 - the same

    card = {
        "format": "phones-en 1",
        "version": "1",
        "bytes": path.stat().st_size,
        "sha256": digest,
        "licence": "MIT",
        "interface": {
            "mel": "float32 (1, 80, T): log-mel picture of Whisper, 100 frames a second, T even",
            "logp": "float32 (1, T/2, 40): natural logs; blank, then the 39 ARPAbet phones, sorted",
        },
        "packages": [asdict(package) for package in PACKAGES],
        "seed of the texts": SEED,
        "trainings": [asdict(training) for training in trainings],
        "weights": f"mean of {' and '.join(shipped)}, matrix products in 8 bits",
        "kept out of training": {
            "test": list(TEST_VOICES),
            "tuning": list(TUNING_VOICES),
            "also": "every voice of the benchmark's test half, flite, piper, all human speech",
        },
    }
    path.with_suffix(".json").write_text(json.dumps(card, indent=2) + "\n")
