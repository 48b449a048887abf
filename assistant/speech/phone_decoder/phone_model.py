"""The network that hears phones, run by onnxruntime on one thread.

Beside the model file lies a card with its version, size and SHA-256; a file that differs from its
card is refused, since a record names the model by that hash.
"""

import hashlib
import platform
import sys
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

import numpy as np
import numpy.typing as npt
from pydantic import BaseModel, ConfigDict, ValidationError

from assistant.errors import DeviceError
from assistant.grammar.phones import PHONES
from assistant.ports import SAMPLE_RATE
from assistant.speech.pcm import samples_of
from assistant.speech.phone_decoder.log_mel import log_mel

FORMAT: Final = "phones-en 1"
"""Version of the input and output that this program can use."""
SYMBOLS: Final = ("", *PHONES)
"""What a column of the output stands for; the first is the blank, the rest are phones."""
FRAME_MS: Final = 20
"""Time from one row of the output to the next."""
SHORTEST_SAMPLES: Final = 800
EXACT_PRODUCTS: Final = "session.x64quantprecision"
"""Option of onnxruntime that keeps 8-bit products exact on every x86-64 processor."""
_LEAD_FRAMES: Final = 10
"""Rows of silence put before the sound and dropped again. In training every clip began in silence:
of 22 windows of 4 s along one piece of talk it heard 40 phones or more in 3, none in 10; with this
lead 45 or more in all."""
_REINSTALL: Final = "reinstall the package sampling-assistant"

LogProbabilities = npt.NDArray[np.float64]
"""Natural logarithms, shape (frames, 40), 50 frames a second; each row sums to 1."""


class ModelCard(BaseModel):
    """What the file beside the model says about it."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    format: str
    """Which input and output the model has: `FORMAT`."""
    version: str
    bytes: int
    """Size of the model file."""
    sha256: str


@dataclass(frozen=True, slots=True)
class ModelFile:
    """A model whose bytes are those of its card."""

    data: bytes
    version: str
    sha256: str


def shipped_model() -> Path:
    """Return where the model that comes with the program lies."""
    return Path(str(files("assistant.speech") / "models" / "phones-en.onnx"))


def read_model(path: Path) -> ModelFile:
    """Read a model and prove it against the card beside it (same name, ending .json).

    Raises:
        DeviceError: the model or its card is missing, damaged, shorter than it should be, of
            another version, or has another hash.
    """
    card = _read_card(path.with_suffix(".json"))
    if card.format != FORMAT:
        raise DeviceError(
            f'The phone model {path} is of version "{card.format}"; this program needs '
            f'"{FORMAT}": {_REINSTALL}.'
        )
    try:
        data = path.read_bytes()
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise DeviceError(
            f"The phone model {path} cannot be read ({reason}): {_REINSTALL}."
        ) from None
    if len(data) < card.bytes:
        raise DeviceError(
            f"The phone model {path} is truncated, {len(data)} of {card.bytes} bytes: {_REINSTALL}."
        )
    found = hashlib.sha256(data).hexdigest()
    if found != card.sha256:
        raise DeviceError(
            f"The phone model {path} has the SHA-256 {found}, its card says {card.sha256}: "
            f"{_REINSTALL}."
        )
    return ModelFile(data, card.version, found)


def _read_card(path: Path) -> ModelCard:
    try:
        return ModelCard.model_validate_json(path.read_bytes())
    except OSError as fault:
        reason = (fault.strerror or str(fault)).lower()
        raise DeviceError(
            f"The card of the phone model, {path}, cannot be read ({reason}): {_REINSTALL}."
        ) from None
    except ValidationError:
        raise DeviceError(
            f"The card of the phone model, {path}, is damaged: {_REINSTALL}."
        ) from None


def _runtime() -> Any:  # noqa: ANN401 - the package ships no types
    try:
        import onnxruntime  # noqa: PLC0415 - only where speech is heard
    except ImportError as fault:
        python = f"cp{sys.version_info.major}{sys.version_info.minor}"
        raise DeviceError(
            f"The phone model needs onnxruntime ({fault}); run: pip install onnxruntime. This "
            f"machine needs its wheel for {python}, {sys.platform}, {platform.machine()}."
        ) from None
    return onnxruntime


class PhoneModel:
    """Turns sound into phone probabilities; the same samples give the same ones on one machine.

    Between processors the rounding of sums differs, by which a probability moved by up to 0.04.
    """

    def __init__(self, file: ModelFile) -> None:
        """Load the network.

        Raises:
            DeviceError: onnxruntime is missing, or cannot use the file.
        """
        runtime = _runtime()
        options = runtime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        # Without the arena, memory of the longest utterance is given back after it.
        options.enable_cpu_mem_arena = False
        # Processors without VNNI add 8-bit products in pairs, in 16 bits that overflow: of 12 clips
        # one lost a phone. With unsigned weights they do not.
        options.add_session_config_entry(EXACT_PRODUCTS, "1")
        options.log_severity_level = 3
        try:
            self._session = runtime.InferenceSession(
                file.data, options, providers=["CPUExecutionProvider"]
            )
        except Exception as fault:  # noqa: BLE001 - the engine has its own tree of errors
            raise DeviceError(
                f"The phone model cannot be loaded ({fault}): {_REINSTALL}."
            ) from None
        self.version = file.version
        self.sha256 = file.sha256
        self._latest: tuple[bytes, LogProbabilities] | None = None

    @property
    def name(self) -> str:
        """Version and hash, as they go on record."""
        return f"phones-en {self.version} {self.sha256[:12]}"

    def run(self, pcm: bytes) -> LogProbabilities:
        """Return the phone probabilities of an utterance (16-bit mono at `SAMPLE_RATE`).

        What is shorter than 50 ms holds no frame. The latest result is kept, so that the end of
        speech and the decision about the same samples cost one pass.
        """
        if self._latest is not None and self._latest[0] == pcm:
            return self._latest[1]
        samples = samples_of(pcm)
        if samples.size < SHORTEST_SAMPLES:
            return np.zeros((0, len(SYMBOLS)))
        silence = np.zeros(_LEAD_FRAMES * FRAME_MS * SAMPLE_RATE // 1000, dtype=samples.dtype)
        mel = log_mel(np.concatenate([silence, samples]))
        found = self._session.run(None, {"mel": mel[None]})[0][0][_LEAD_FRAMES:]
        posteriors: LogProbabilities = np.asarray(found, dtype=np.float64)
        self._latest = pcm, posteriors
        return posteriors


def load_model(path: Path | None = None) -> PhoneModel:
    """Load a model file; the one that comes with the program when none is named.

    Raises:
        DeviceError: as for `read_model` and `PhoneModel`.
    """
    return PhoneModel(read_model(path or shipped_model()))
