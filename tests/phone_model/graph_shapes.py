"""Rules for the nodes that move, cut and count values; importing them adds them to the graph."""

import numpy as np
import torch
import torch.nn.functional as F  # noqa: N812 - its usual name
from onnx import numpy_helper

from .graph import Extra, Graph, Value, _ints, _plain, _rule


@_rule("Shape")
def _shape(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    return np.array(values[0].shape, np.int64)


@_rule("Unsqueeze")
def _unsqueeze(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    value, axes = values[0], _ints(values[1])
    whole = np.ndim(value) + len(axes)
    places = sorted(axis % whole for axis in axes)
    if _plain(value):
        return np.expand_dims(value, tuple(places))
    for place in places:
        value = value.unsqueeze(place)
    return value


@_rule("Squeeze")
def _squeeze(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    value = values[0]
    axes = _ints(values[1]) if len(values) > 1 and values[1] is not None else None
    if _plain(value):
        return np.squeeze(value, None if axes is None else tuple(axes))
    return value.squeeze() if axes is None else value.squeeze(tuple(axes))


@_rule("Reshape")
def _reshape(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    shape = [values[0].shape[i] if n == 0 else n for i, n in enumerate(_ints(values[1]))]
    return values[0].reshape(shape)


@_rule("Transpose")
def _transpose(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    return (
        values[0].transpose(*extra["perm"])
        if _plain(values[0])
        else values[0].permute(extra["perm"])
    )


@_rule("Concat")
def _concat(graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    if all(_plain(v) for v in values):
        return np.concatenate(values, extra["axis"])
    return torch.cat([graph.on_device(v) for v in values], extra["axis"])


@_rule("Split")
def _split(_graph: Graph, values: list[Value], extra: Extra, made: list[str]) -> Value:
    if len(values) > 1 and values[1] is not None:
        return torch.split(values[0], _ints(values[1]), extra.get("axis", 0))
    return torch.chunk(values[0], len(made), extra.get("axis", 0))


@_rule("Gather")
def _gather(graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    value, places, axis = values[0], np.asarray(values[1]), extra.get("axis", 0)
    if _plain(value):
        return np.take(value, places, axis)
    places = np.where(places < 0, places + value.shape[axis], places).astype(np.int64)
    if places.ndim == 0:
        return value.select(axis, int(places))
    chosen = value.index_select(axis, torch.as_tensor(places.reshape(-1), device=graph.device))
    return chosen.reshape(*value.shape[:axis], *places.shape, *value.shape[axis + 1 :])


@_rule("Slice")
def _slice(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    value, starts, ends = values[0], _ints(values[1]), _ints(values[2])
    axes = _ints(values[3]) if len(values) > 3 and values[3] is not None else range(len(starts))
    steps = _ints(values[4]) if len(values) > 4 and values[4] is not None else [1] * len(starts)
    cut: list[slice] = [slice(None)] * np.ndim(value)
    for start, end, axis, step in zip(starts, ends, axes, steps, strict=True):
        open_end = step < 0 and end < -value.shape[axis]
        cut[axis] = slice(start, None if open_end else end, step)
    if not _plain(value):
        back = [axis for axis, part in enumerate(cut) if part.step and part.step < 0]
        for axis in back:
            places = np.arange(value.shape[axis])[cut[axis]].copy()
            value = value.index_select(axis, torch.as_tensor(places, device=value.device))
            cut[axis] = slice(None)
    return value[tuple(cut)]


def _axes(values: list[Value]) -> tuple[int, ...] | None:
    return tuple(_ints(values[1])) if len(values) > 1 and values[1] is not None else None


@_rule("ReduceMean")
def _mean(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    return values[0].mean(_axes(values), keepdim=bool(extra.get("keepdims", 1)))


@_rule("ReduceSum")
def _sum(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    axes, keep = _axes(values), bool(extra.get("keepdims", 1))
    if _plain(values[0]):
        return np.asarray(values[0].sum(axis=axes, keepdims=keep))
    return values[0].sum(axes, keepdim=keep) if axes else values[0].sum()


@_rule("ConstantOfShape")
def _constant(graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    fill = numpy_helper.to_array(extra["value"]) if "value" in extra else np.zeros(1, np.float32)
    array = np.full(_ints(values[0]), fill.item(), fill.dtype)
    return graph.on_device(array) if fill.dtype.kind == "f" else array


@_rule("Expand")
def _expand(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    value, shape = values[0], _ints(values[1])
    if _plain(value):
        return value * np.ones(shape, value.dtype)
    return value * torch.ones(shape, dtype=value.dtype, device=value.device)


@_rule("CumSum")
def _running_sum(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    value, axis = values[0], int(values[1])
    return np.cumsum(value, axis, value.dtype) if _plain(value) else value.cumsum(axis)


@_rule("Range")
def _range(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    return np.arange(*(v.item() for v in values), dtype=np.asarray(values[0]).dtype)


@_rule("NonZero")
def _nonzero(_graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    array = values[0] if _plain(values[0]) else values[0].cpu().numpy()
    return np.array(np.nonzero(array), np.int64)


@_rule("ScatterND")
def _scatter(graph: Graph, values: list[Value], _extra: Extra, _made: list[str]) -> Value:
    places = np.moveaxis(np.asarray(values[1]), -1, 0)
    if _plain(values[0]):
        array = values[0].copy()
        array[tuple(places)] = values[2]
        return array
    target = values[0].clone()
    target[tuple(torch.as_tensor(p, device=graph.device) for p in places)] = graph.on_device(
        values[2]
    )
    return target


@_rule("Pad")
def _pad(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    pads, size = _ints(values[1]), np.ndim(values[0])
    if extra.get("mode", "constant") == "reflect":
        return F.pad(values[0], (pads[size - 1], pads[-1]), mode="reflect")
    flat = [n for axis in reversed(range(size)) for n in (pads[axis], pads[axis + size])]
    return F.pad(values[0], flat)


@_rule("Resize")
def _resize(graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    sound, size = values[0], values[0].shape[-1]
    if len(values) > 3 and values[3] is not None:
        count = _ints(values[3])[-1]
        scale = count / size
    else:
        scale = float(values[2][-1])
        count = int(np.floor(size * scale))
    places = np.arange(count, dtype=np.float64)
    half = extra.get("coordinate_transformation_mode", "half_pixel") == "half_pixel"
    places = (places + 0.5) / scale - 0.5 if half else places / scale
    if extra.get("mode", "nearest") == "nearest":
        near = np.clip(np.floor(places), 0, size - 1).astype(np.int64)
        return sound.index_select(-1, torch.as_tensor(near, device=graph.device))
    places = np.clip(places, 0, size - 1)
    low = np.floor(places).astype(np.int64)
    high = np.minimum(low + 1, size - 1)
    part = graph.on_device(places - low)
    low_, high_ = (torch.as_tensor(v, device=graph.device) for v in (low, high))
    return sound.index_select(-1, low_) * (1 - part) + sound.index_select(-1, high_) * part


@_rule("STFT")
def _spectrum(_graph: Graph, values: list[Value], extra: Extra, _made: list[str]) -> Value:
    window = values[2]
    size = int(values[3]) if len(values) > 3 and values[3] is not None else window.shape[0]
    sound = values[0].squeeze(-1) if values[0].dim() == 3 else values[0]
    both = torch.stft(
        sound,
        size,
        int(values[1]),
        size,
        window,
        center=False,
        onesided=bool(extra.get("onesided", 1)),
        return_complex=True,
    )
    return torch.view_as_real(both).transpose(1, 2)
