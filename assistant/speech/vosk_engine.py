"""The Vosk recogniser, with a model folder that the user has installed.

The library is prevented from downloading a model, exiting the process and guessing words it does
not know. Its "grammar" is a word-pair model in which pieces of different phrases recombine, so
every result is compared with the exact phrases.
"""

import ctypes
import json
import os
import re
import sys
import threading
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import cached_property
from importlib.metadata import version
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

from assistant.errors import DeviceError, GrammarError
from assistant.grammar.rendering import NUMBER
from assistant.ports import SAMPLE_RATE, Decision, EngineFacts, Judgement, Stakes, Utterance
from assistant.speech.hypothesis import Hypothesis
from assistant.speech.model_hash import folder_hash
from assistant.speech.pcm import dithered
from assistant.speech.phrase_graph import normal
from assistant.user_folder import user_folder

MODEL_VARIABLE = "SAMPLING_ASSISTANT_VOSK_MODEL"
"""Environment variable that may hold the path of a model folder."""

_CHUNK_BYTES = 2 * SAMPLE_RATE // 5
"""The library processes steps of 0.2 s."""

_SHORTEST_BYTES = 2 * SAMPLE_RATE // 20

_UNKNOWN = "[unk]"

_NEEDED = ("am/final.mdl", "conf/mfcc.conf")
_DYNAMIC = ("graph/HCLr.fst", "graph/Gr.fst")
_STATIC = "graph/HCLG.fst"


def find_model(language: str, configured: Path | None = None) -> Path | None:
    """Look for a model folder; a folder that is named explicitly must be usable.

    Args:
        language: two-letter code, such as "en".
        configured: the folder named in the configuration.

    Returns:
        The folder, or None if none was named and the standard folders have no usable one.

    Raises:
        DeviceError: the configured folder, or the one in `MODEL_VARIABLE`, cannot be used.
    """
    variable = os.environ.get(MODEL_VARIABLE)
    named = configured or (Path(variable) if variable else None)
    if named is not None:
        check_model(named)
        return named
    pattern = re.compile(rf"vosk-model-(small-)?{re.escape(language)}(-|$)")
    for place in standard_places():
        for folder in sorted(place.iterdir()) if place.is_dir() else ():
            if pattern.match(folder.name) and fault_of_model(folder) is None:
                return folder
    return None


def standard_places() -> tuple[Path, ...]:
    """Return the folders searched for models, the user's own first."""
    return (
        user_folder() / "vosk",
        Path.home() / ".cache" / "vosk",
        Path("/usr/share/vosk"),
    )


def fault_of_model(folder: Path) -> str | None:
    """Return why a folder cannot be used as a model, None if it can."""
    if not folder.is_dir():
        return "is not a folder"
    missing = [name for name in _NEEDED if not (folder / name).is_file()]
    if missing:
        return f"lacks {missing[0]}, so it is not an unpacked Vosk model"
    if all((folder / name).is_file() for name in _DYNAMIC):
        return None
    if (folder / _STATIC).is_file():
        return (
            "has a static graph, so it cannot be limited to phrases (use a small or lgraph model)"
        )
    return "lacks graph/HCLr.fst or graph/Gr.fst, so it cannot be limited to phrases"


def check_model(folder: Path) -> None:
    """Refuse a folder that Vosk cannot use for phrases.

    Raises:
        DeviceError: says what is wrong with the folder and what to do.
    """
    fault = fault_of_model(folder)
    if fault is not None:
        raise DeviceError(
            f"The Vosk model folder {folder} {fault}; unpack a dynamic-graph model there or name"
            " another folder"
        )


class VoskRecogniser:
    """A `Recogniser` over a Vosk model folder.

    Thread-safe; calls wait for each other.
    """

    def __init__(self, folder: Path) -> None:
        """Load the model (a small one takes about 2 s).

        Args:
            folder: an unpacked dynamic-graph model.

        Raises:
            DeviceError: the package is missing or the folder cannot be used.
        """
        check_model(folder)
        try:
            import vosk  # noqa: PLC0415 - takes 0.1 s and loads a network library
        except (ImportError, OSError, TypeError) as fault:
            raise DeviceError(
                f"The speech recogniser Vosk cannot be loaded ({fault}); run: pip install vosk"
            ) from fault
        vosk.SetLogLevel(-1)
        self._make = vosk.KaldiRecognizer
        self._model = _load(vosk, folder)
        self._folder = folder
        self._lock = threading.Lock()
        self._grammar = ""
        self._phrases: frozenset[str] = frozenset()

    @property
    def name(self) -> str:
        """Engine, version and model folder, as written to the record."""
        return f"vosk {version('vosk')} {self._folder.name}"

    @cached_property
    def facts(self) -> EngineFacts:
        """Version, and the hash of the model folder.

        Raises:
            DeviceError: the folder is no longer readable.
        """
        return EngineFacts("vosk", version("vosk"), self._folder.name, folder_hash(self._folder))

    @property
    def model_folder(self) -> Path:
        """The model folder, for its hash."""
        return self._folder

    def missing(self, words: Sequence[str]) -> list[str]:
        """Return the words the model does not know; they cannot be used in a phrase."""
        return [word for word in words if not self._knows(normal(word))]

    def _knows(self, word: str) -> bool:
        return bool(word) and self._model.vosk_model_find_word(word) >= 0

    def prepare(self, phrases: Sequence[str]) -> None:
        """Set the phrases to recognise from the next utterance on.

        Raises:
            GrammarError: a phrase contains a word the model does not know, or the list is empty.
        """
        spoken = sorted({normal(phrase) for phrase in phrases})
        if not spoken or not spoken[0]:
            raise GrammarError("There is no phrase to listen for; give at least one, with words")
        unknown = self.missing(sorted({word for phrase in spoken for word in phrase.split()}))
        if unknown:
            raise GrammarError(
                f'The Vosk model {self._folder.name} does not know "{", ".join(unknown)}";'
                " use other words or another model"
            )
        listed = pair_cover(spoken)
        if self._knows(_UNKNOWN):
            listed.append(_UNKNOWN)
        with self._lock:
            self._grammar = json.dumps(listed, ensure_ascii=False)
            self._phrases = frozenset(spoken)

    def hear(self, utterance: Utterance) -> Hypothesis:
        """Recognise one whole utterance; the text is one of the phrases, or "".

        The result depends on the utterance alone, never on earlier ones.

        Raises:
            RuntimeError: `prepare` was not called.
        """
        if not self._phrases:
            raise RuntimeError("prepare() must name the phrases before hear()")
        if len(utterance.pcm) < _SHORTEST_BYTES:
            return Hypothesis("")
        with self._lock:
            text, confidence = self._decode(dithered(utterance.pcm))
            return Hypothesis(text, confidence) if text in self._phrases else Hypothesis("")

    def _decode(self, sound: bytes) -> tuple[str, float | None]:
        """Return the text and the confidence of its least certain word."""
        _reseed()
        # One recogniser per utterance, since it adapts to earlier input; creating it takes 1 ms.
        recogniser = self._make(self._model, float(SAMPLE_RATE), self._grammar)
        recogniser.SetWords(True)  # noqa: FBT003 - the library's signature
        chunks = (sound[at : at + _CHUNK_BYTES] for at in range(0, len(sound), _CHUNK_BYTES))
        results = [
            json.loads(recogniser.Result()) for chunk in chunks if recogniser.AcceptWaveform(chunk)
        ]
        results.append(json.loads(recogniser.FinalResult()))
        words = [word for result in results for word in result.get("result", ())]
        if not words:
            return "", None
        text = " ".join(str(word["word"]) for word in words)
        return text, min(float(word["conf"]) for word in words)


def _reseed() -> None:
    """Reset the engine's dither, so that the same sound always gives the same words.

    The dither uses the random numbers of the C library. On Windows the engine has its own copy,
    which cannot be reset, so the least certain words may differ from run to run.
    """
    if sys.platform != "win32":
        ctypes.CDLL(None).srand(1)


def _load(vosk: Any, folder: Path) -> Any:  # noqa: ANN401 - untyped library
    """Load a model by its path; a model given by name would be downloaded."""
    try:
        return vosk.Model(model_path=str(folder))
    except Exception as fault:  # the library raises no narrower type
        if type(fault) is not Exception:
            raise
        raise DeviceError(
            f"The Vosk model folder {folder} is damaged; unpack the model again"
        ) from fault


def pair_cover(phrases: Iterable[str]) -> list[str]:
    """Return a subset of the phrases that contains every pair of neighbouring words.

    The engine learns only such pairs, so further phrases would only cost time: twenty thousand
    phrases of digits are reduced to a few hundred.
    """
    seen: set[tuple[str, str]] = set()
    cover = []
    for phrase in phrases:
        pairs = set(pairwise(["<s>", *phrase.split(), "</s>"]))
        if not pairs <= seen:
            seen |= pairs
            cover.append(phrase)
    return cover


ACCEPTS: Final = 0.9
"""Minimum confidence of the least certain word for a phrase to be accepted."""
ASKS: Final = 0.6
"""Minimum confidence for asking back."""


class VoskEngine:
    """Judges by Vosk's own confidence: a weak check, for languages the other engines lack."""

    def __init__(self, folder: Path) -> None:
        """Load the model.

        Raises:
            DeviceError: the folder is not a usable dynamic-graph model.
        """
        self._recogniser = VoskRecogniser(folder)
        self._stricter = 0.0

    @property
    def name(self) -> str:
        """Engine, version and model, as written to the record."""
        return self._recogniser.name

    @property
    def facts(self) -> EngineFacts:
        """Version of Vosk, and the hash of the model folder."""
        return self._recogniser.facts

    def prepare(
        self,
        union: Sequence[str],
        legal: Mapping[str, Stakes],
        expected: Collection[str] = (),
    ) -> None:
        """Set the phrases, all treated alike; this engine has no number loop."""
        del expected
        phrases = dict.fromkeys([*union, *legal])
        self._recogniser.prepare([phrase for phrase in phrases if NUMBER not in phrase])

    def tighten(self, by: float) -> None:
        """Raise the required confidence by `by` / 20; `by` is in log odds."""
        self._stricter = by / 20.0

    def judge(self, utterance: Utterance) -> Judgement:
        """Accept, ask back or refuse by the least certain word."""
        found = self._recogniser.hear(utterance)
        sure = found.confidence if found.confidence is not None else 0.0
        decision: Decision = "refuse"
        if found.text and sure >= ACCEPTS + self._stricter:
            decision = "accept"
        elif found.text and sure >= ASKS + self._stricter:
            decision = "ask"
        reason = {"accept": "", "ask": "unclear", "refuse": "no-phrase"}[decision]
        scores = {"confidence": f"{sure:.4f}"}
        return Judgement(decision, found.text, reason, utterance, self.name, scores)
