"""The model file and what can be wrong with it."""

import hashlib
import json
import sys
from pathlib import Path

import numpy as np
import onnxruntime
import pytest

from assistant.errors import DeviceError
from assistant.speech.phone_decoder.phone_model import (
    EXACT_PRODUCTS,
    FORMAT,
    ModelFile,
    PhoneModel,
    load_model,
    read_model,
)

DATA = b"no network, but bytes" * 100


def laid(folder: Path, data: bytes | None, **card: object) -> Path:
    """Laid."""
    path = folder / "phones-en.onnx"
    if data is not None:
        path.write_bytes(data)
    told = {
        "format": FORMAT,
        "version": "1",
        "bytes": len(DATA),
        "sha256": hashlib.sha256(DATA).hexdigest(),
        **card,
    }
    path.with_suffix(".json").write_text(json.dumps(told))
    return path


@pytest.mark.parametrize(
    ("data", "card", "told"),
    [
        (None, {}, r"phones-en.onnx cannot be read \(no such file"),
        (DATA[:900], {}, "is truncated, 900 of 2100 bytes"),
        (DATA[:-1] + b"?", {}, "has the SHA-256 .* its card says"),
        (DATA, {"format": "phones-en 9"}, 'is of version "phones-en 9"; this program needs'),
        (DATA, {"bytes": "many"}, "card .* is damaged"),
    ],
)
def test_a_file_that_cannot_be_used(
    tmp_path: Path, data: bytes | None, card: dict[str, object], told: str
) -> None:
    """A file that cannot be used."""
    path = laid(tmp_path, data, **card)
    with pytest.raises(DeviceError, match=told) as caught:
        read_model(path)
    assert "reinstall the package sampling-assistant" in str(caught.value)


def test_the_card_is_missing(tmp_path: Path) -> None:
    """The card is missing."""
    with pytest.raises(DeviceError, match=r"card of the phone model, .* cannot be read"):
        read_model(tmp_path / "phones-en.onnx")


def test_bytes_that_agree_are_taken(tmp_path: Path) -> None:
    """Bytes that agree are taken."""
    found = read_model(laid(tmp_path, DATA))
    assert (found.data, found.version) == (DATA, "1")


def test_bytes_that_are_no_network(tmp_path: Path) -> None:
    """Bytes that are no network."""
    with pytest.raises(DeviceError, match="phone model cannot be loaded"):
        load_model(laid(tmp_path, DATA))


def test_without_onnxruntime(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without onnxruntime."""
    monkeypatch.setitem(sys.modules, "onnxruntime", None)
    with pytest.raises(DeviceError, match=r"pip install onnxruntime.*wheel for cp3"):
        PhoneModel(ModelFile(DATA, "1", ""))


def test_products_are_exact_on_processors_that_overflow(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without this setting onnxruntime lets signed 8-bit weights overflow where VNNI is missing."""
    asked: list[str] = []

    def session(_data: bytes, options: onnxruntime.SessionOptions, **_rest: object) -> object:
        asked.append(options.get_session_config_entry(EXACT_PRODUCTS))
        return object()

    monkeypatch.setattr(onnxruntime, "InferenceSession", session)
    PhoneModel(ModelFile(DATA, "1", ""))
    assert asked == ["1"]


@pytest.mark.model
def test_the_network_gives_probabilities(model: PhoneModel) -> None:
    """The network gives probabilities."""
    noise = np.random.default_rng(2).normal(0, 50, 16_000).astype("<i2").tobytes()
    found = model.run(noise)
    assert found.shape == (50, 40)
    assert np.exp(found).sum(axis=1) == pytest.approx(np.ones(50), abs=1e-3)
    assert found[:, 0].mean() > np.log(0.8)
    assert model.run(noise) is found
    assert model.run(noise[:500]).shape == (0, 40)
    assert model.sha256[:12] in model.name
