"""Run an ONNX graph with torch, node by node: fast on an accelerator where int8 kernels are not.

Numbers that count or point (integers and truth values) stay numpy arrays on the processor; what
sounds (floating point) lies on the device. Nodes that quantise pass their input through and weights
are turned back into float32 once, so that an int8 graph gives what its float32 original would,
but for the rounding of the weights. Only what the speech synthesiser uses is understood.
"""

from collections.abc import Callable
from typing import Any, Final

import numpy as np
import onnx
import torch
import torch.nn.functional as F  # noqa: N812 - its usual name
from onnx import helper, numpy_helper

Value = Any
"""A numpy array of integers or truth values, or a float tensor on the device, or None."""

_FLOATS: Final = (1, 10, 11)
_NUMPY: Final = {2: np.uint8, 3: np.int8, 6: np.int32, 7: np.int64, 9: np.bool_}


class Graph:
    """One graph, ready to be run; not for two threads at once."""

    def __init__(self, model: onnx.ModelProto, device: str) -> None:
        """Read the weights and plan which values can be dropped after which node."""
        self.device = torch.device(device)
        self._fixed = {item.name: self._held(item) for item in model.graph.initializer}
        self._nodes = [self._step(node) for node in model.graph.node]
        self._results = [item.name for item in model.graph.output]
        self._ready: dict[str, Any] = {}
        last = {name: at for at, step in enumerate(self._nodes) for name in step[1]}
        kept = {*self._fixed, *self._results}
        self._dropped: list[list[str]] = [[] for _ in self._nodes]
        for name, at in last.items():
            if name and name not in kept:
                self._dropped[at].append(name)
        self._keep_fractions(model)

    def _held(self, item: onnx.TensorProto) -> Value:
        array = numpy_helper.to_array(item)
        if array.dtype.kind == "f":
            return torch.tensor(array.astype(np.float32), device=self.device)
        return array

    @staticmethod
    def _step(node: onnx.NodeProto) -> tuple[str, list[str], list[str], dict[str, Any]]:
        extra = {item.name: helper.get_attribute_value(item) for item in node.attribute}
        text = {name: v.decode() for name, v in extra.items() if isinstance(v, bytes)}
        return node.op_type, list(node.input), list(node.output), {**extra, **text}

    def _keep_fractions(self, model: onnx.ModelProto) -> None:
        """Leave biases unrounded: their step was meant for a scale that is not used here."""
        made = {name: at for at, node in enumerate(model.graph.node) for name in node.output}
        for at, (kind, taken, given, _) in enumerate(self._nodes):
            before = made.get(taken[0]) if taken else None
            if before is None or kind != "Cast" or "bias" not in given[0].lower():
                continue
            if self._nodes[before][0] == "Floor":
                for place in (before, at):
                    self._nodes[place] = ("Identity", *self._nodes[place][1:])

    @torch.inference_mode()
    def run(self, **given: Value) -> Value:
        """Return the first result for the named inputs (numpy arrays)."""
        held: dict[str, Value] = dict(self._fixed)
        for name, value in given.items():
            array = np.asarray(value)
            held[name] = self.on_device(array) if array.dtype.kind == "f" else array
        for (kind, taken, made, extra), dropped in zip(self._nodes, self._dropped, strict=True):
            values = [held[name] if name else None for name in taken]
            result = _RULES[kind](self, values, extra, made)
            results = result if isinstance(result, tuple) else (result,)
            held.update((n, v) for n, v in zip(made, results, strict=False) if n)
            for name in dropped:
                held.pop(name, None)
        return held[self._results[0]]

    def on_device(self, value: Value) -> torch.Tensor:
        """Return a value as a float tensor on the device."""
        if isinstance(value, torch.Tensor):
            return value
        return torch.as_tensor(np.asarray(value, np.float32), device=self.device)

    def once(self, key: str, make: Callable[[], Any]) -> Any:  # noqa: ANN401 - of any kind
        """Return what was made for a key, making it the first time."""
        if key not in self._ready:
            self._ready[key] = make()
        return self._ready[key]


Extra = dict[str, Any]
Rule = Callable[[Graph, list[Value], Extra, list[str]], Value]
_RULES: dict[str, Rule] = {}


def _rule(*names: str) -> Callable[[Rule], Rule]:
    def keep(rule: Rule) -> Rule:
        for name in names:
            _RULES[name] = rule
        return rule

    return keep


def _ints(value: Value) -> list[int]:
    return [int(v) for v in np.atleast_1d(value)]


def _plain(value: Value) -> bool:
    return not isinstance(value, torch.Tensor)


_TWO: Final[dict[str, Callable[[Value, Value], Value]]] = {
    "Mul": lambda x, y: x * y,
    "Add": lambda x, y: x + y,
    "Sub": lambda x, y: x - y,
    "Equal": lambda x, y: x == y,
    "Greater": lambda x, y: x > y,
    "Less": lambda x, y: x < y,
    "GreaterOrEqual": lambda x, y: x >= y,
    "And": lambda x, y: x & y,
    "Pow": lambda x, y: x**y,
}
_ONE: Final[dict[str, Callable[[torch.Tensor], torch.Tensor]]] = {
    "Sqrt": torch.sqrt,
    "Sin": torch.sin,
    "Cos": torch.cos,
    "Atan": torch.atan,
    "Exp": torch.exp,
    "Tanh": torch.tanh,
    "Sigmoid": torch.sigmoid,
    "Floor": torch.floor,
    "Round": torch.round,
}


def _two(graph: Graph, values: list[Value], of: Callable[[Value, Value], Value]) -> Value:
    one, other = values
    if _plain(one) and _plain(other):
        return np.asarray(of(one, other))
    result = of(graph.on_device(one), graph.on_device(other))
    return result.cpu().numpy() if result.dtype == torch.bool else result


for _name, _of in _TWO.items():
    _RULES[_name] = lambda g, v, _a, _o, of=_of: _two(g, v, of)  # type: ignore[misc]
for _name, _sound in _ONE.items():
    _RULES[_name] = lambda g, v, _a, _o, of=_sound: of(g.on_device(v[0]))  # type: ignore[misc]


@_rule("Identity")
def _identity(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    return values[0]


@_rule("Div")
def _divide(graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    one, other = values
    if _plain(one) and _plain(other):
        return np.trunc(one / other).astype(one.dtype)
    return torch.nan_to_num(graph.on_device(one) / graph.on_device(other))


@_rule("Cast")
def _cast(graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    if extra["to"] in _FLOATS:
        return graph.on_device(values[0])
    array = values[0] if _plain(values[0]) else values[0].cpu().numpy()
    return np.asarray(array).astype(_NUMPY[extra["to"]])


@_rule("Where")
def _where(graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    chosen, one, other = values
    if _plain(one) and _plain(other):
        return np.where(chosen, one, other)
    mask = torch.as_tensor(chosen, device=graph.device)
    return torch.where(mask, graph.on_device(one), graph.on_device(other))


@_rule("Clip")
def _clip(graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    low, high = ((float(v) if v is not None else None) for v in [*values[1:], None, None][:2])
    return graph.on_device(values[0]).clamp(low, high)


@_rule("LeakyRelu")
def _leaky(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    return F.leaky_relu(values[0], extra.get("alpha", 0.01))


@_rule("FastGelu")
def _gelu(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    total = values[0] if len(values) < 2 or values[1] is None else values[0] + values[1]
    return F.gelu(total, approximate="tanh")


@_rule("Softmax")
def _softmax(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    return values[0].softmax(extra.get("axis", -1))


# What quantises: inputs pass through with a scale of one; weights are turned back once.


@_rule("DynamicQuantizeLinear")
def _pass_through(graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    one = graph.once("one", lambda: graph.on_device(np.float32(1)))
    return values[0], one, np.zeros((), np.uint8)


def _weight(graph: Graph, values: list[Value], made: list[str], *, filters: bool) -> torch.Tensor:
    if not _plain(values[1]):
        return values[1]

    def make() -> torch.Tensor:
        weight = values[1].astype(np.float32)
        zero = np.asarray(0 if len(values) < 4 or values[3] is None else values[3], np.float32)
        if zero.size > 1:
            zero = zero.reshape(-1, *[1] * (weight.ndim - 1)) if filters else zero.reshape(1, -1)
        return graph.on_device(weight - zero)

    return graph.once(made[0], make)


@_rule("MatMulInteger")
def _product_quantised(g: Graph, values: list[Value], _extra: Extra, made: list[str]) -> Value:
    return torch.matmul(g.on_device(values[0]), _weight(g, values, made, filters=False))


@_rule("ConvInteger")
def _filter_quantised(g: Graph, values: list[Value], extra: Extra, made: list[str]) -> Value:
    return _convolve(g.on_device(values[0]), _weight(g, values, made, filters=True), None, extra)


@_rule("DequantizeLinear")
def _dequantise(graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    zero = 0 if len(values) < 3 or values[2] is None else np.asarray(values[2], np.float32)
    return graph.on_device(np.asarray(values[0], np.float32) - zero) * values[1]


@_rule("DynamicQuantizeLSTM")
def _lstm(graph: Graph, values: list[Value], extra: Extra, made: list[str]) -> Value:
    layer = graph.once(made[0], lambda: _recurrent(graph, values, extra["hidden_size"]))
    start = None if values[5] is None else (values[5], values[6])
    out, (hidden, cell) = layer(values[0], start)
    ways, width = 2, extra["hidden_size"]
    steps, batch, _ = out.shape
    return out.reshape(steps, batch, ways, width).permute(0, 2, 1, 3), hidden, cell


def _recurrent(graph: Graph, values: list[Value], width: int) -> torch.nn.LSTM:
    """Build torch's layer, which orders the gates in, forget, cell, out (ONNX: in, out, f, c)."""

    def turned_back(weight: Value, scale: Value, zero: Value) -> torch.Tensor:
        scale_, zero_ = (
            np.asarray(v.cpu() if not _plain(v) else v, np.float32) for v in (scale, zero)
        )
        shape = (-1, 1, 1) if scale_.ndim == 1 else (scale_.shape[0], 1, -1)
        plain = (weight.astype(np.float32) - zero_.reshape(shape)) * scale_.reshape(shape)
        return graph.on_device(plain).transpose(1, 2)

    def order(weight: torch.Tensor) -> torch.Tensor:
        into, out, forget, cell = weight.chunk(4, 0)
        return torch.cat([into, forget, cell, out])

    into = turned_back(values[1], values[8], values[9])
    again = turned_back(values[2], values[10], values[11])
    layer = torch.nn.LSTM(into.shape[2], width, 1, bidirectional=True).to(graph.device)
    with torch.no_grad():
        for way, ending in enumerate(("", "_reverse")):
            getattr(layer, f"weight_ih_l0{ending}").copy_(order(into[way]))
            getattr(layer, f"weight_hh_l0{ending}").copy_(order(again[way]))
            getattr(layer, f"bias_ih_l0{ending}").copy_(order(values[3][way][: 4 * width]))
            getattr(layer, f"bias_hh_l0{ending}").copy_(order(values[3][way][4 * width :]))
    layer.flatten_parameters()
    return layer.eval()


@_rule("MatMul")
def _product(graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    return torch.matmul(graph.on_device(values[0]), graph.on_device(values[1]))


@_rule("FusedMatMul")
def _product_fused(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    one = values[0].transpose(-1, -2) if extra.get("transA") else values[0]
    other = values[1].transpose(-1, -2) if extra.get("transB") else values[1]
    return torch.matmul(one, other) * extra.get("alpha", 1.0)


def _convolve(sound: torch.Tensor, weight: torch.Tensor, bias: Value, extra: Extra) -> torch.Tensor:
    before, after = extra.get("pads", [0, 0])
    if before != after:
        sound, before = F.pad(sound, (before, after)), 0
    step, spread = extra.get("strides", [1])[0], extra.get("dilations", [1])[0]
    return F.conv1d(sound, weight, bias, step, before, spread, extra.get("group", 1))


@_rule("Conv")
def _filter(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    return _convolve(values[0], values[1], values[2] if len(values) > 2 else None, extra)


@_rule("ConvTranspose")
def _spread(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    return F.conv_transpose1d(
        values[0],
        values[1],
        values[2] if len(values) > 2 else None,
        extra.get("strides", [1])[0],
        extra.get("pads", [0, 0])[0],
        extra.get("output_padding", [0])[0],
        extra.get("group", 1),
        extra.get("dilations", [1])[0],
    )


@_rule("LayerNormalization")
def _norm(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    bias = values[2] if len(values) > 2 else None
    return F.layer_norm(values[0], values[0].shape[-1:], values[1], bias, extra["epsilon"])


@_rule("SkipLayerNormalization")
def _norm_of_sum(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    total = values[0] + values[1]
    if len(values) > 4 and values[4] is not None:
        total = total + values[4]
    result = F.layer_norm(total, total.shape[-1:], values[2], values[3], extra["epsilon"])
    return result, None, None, total


# Shapes and places.
