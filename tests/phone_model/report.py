"""Compare models on the very same clips: the best phrase by CTC's forward sum, and phone errors."""

import json
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import torch
import torch.nn.functional as F  # noqa: N812 - its usual name

from tests.listening_bench.noise import Noise, laid_in

from .front import log_mel
from .lexicon import distance, numbers
from .texts import grammar_phrases

Samples = npt.NDArray[np.int16]
Model = Callable[[npt.NDArray[np.float32]], npt.NDArray[np.float32]]
"""Mel picture (80, T) to log probabilities (T/2, 40)."""

CONDITIONS: Final[tuple[tuple[str, Noise, float], ...]] = (
    ("clean", "hum", 45.0),
    ("20 dB hum", "hum", 20.0),
    ("10 dB hum", "hum", 10.0),
    ("20 dB babble", "babble", 20.0),
    ("10 dB babble", "babble", 10.0),
)
_EDGE: Final = 4800
"""Samples (0.3 s) kept before and after the speech."""


@dataclass(frozen=True, slots=True)
class Clip:
    """One phrase in one voice."""

    voice: str
    text: str
    sound: Samples


def noisy(
    clip: Clip, kind: Noise, ratio: float, talk: Sequence[Samples]
) -> npt.NDArray[np.float32]:
    """Lay a clip into noise, the same for the same clip (samples between -1 and 1)."""
    seed = [ord(c) for c in f"{clip.voice}|{clip.text}|{kind}|{ratio}"]
    whole, begin, end = laid_in(clip.sound, kind, ratio, np.random.default_rng(seed), talk)
    return np.asarray(whole[max(0, begin - _EDGE) : end + _EDGE][:95_000] / 32768, np.float32)


def best(logs: npt.NDArray[np.float32], phrases: Sequence[Sequence[int]]) -> int:
    """Return which phrase's phones are likeliest, over all their alignments."""
    scores = torch.from_numpy(logs)[:, None].expand(-1, len(phrases), -1)
    counts = torch.tensor([len(phrase) for phrase in phrases])
    targets = torch.tensor([n for phrase in phrases for n in phrase])
    steps = torch.full((len(phrases),), len(logs))
    return int(F.ctc_loss(scores, targets, steps, counts, reduction="none").argmin())


def greedy(logs: npt.NDArray[np.float32]) -> list[int]:
    """Return the phones of the likeliest path, repeats and blanks taken out."""
    path = logs.argmax(1)
    return [int(n) for at, n in enumerate(path) if n and (at == 0 or path[at - 1] != n)]


def measure(
    models: dict[str, Model],
    clips: Sequence[Clip],
    grammar: Sequence[str],
    name: str,
    say: Callable[[str], None],
) -> list[dict[str, object]]:
    """Return one row for each model and condition, every model on the same sound."""
    phrases = [numbers(text) for text in grammar]
    right = {text: n for n, text in enumerate(grammar)}
    rows = []
    for said, kind, ratio in CONDITIONS:
        hits = dict.fromkeys(models, 0)
        wrong, total = dict.fromkeys(models, 0), 0
        missed: dict[str, list[str]] = {model: [] for model in models}
        for clip in clips:
            talk = [c.sound for c in clips if c.voice != clip.voice][:400]
            mel = log_mel(noisy(clip, kind, ratio, talk))
            total += len(numbers(clip.text))
            for model, hear in models.items():
                logs = hear(mel)
                hit = best(logs, phrases) == right[clip.text]
                hits[model] += hit
                if not hit:
                    missed[model].append(f"{clip.voice}: {clip.text}")
                wrong[model] += distance(numbers(clip.text), greedy(logs))
        for model in models:
            low, high = interval(hits[model], len(clips))
            rows.append(
                {
                    "clips": name, "condition": said, "model": model, "count": len(clips),
                    "right": hits[model], "low": round(low, 3), "high": round(high, 3),
                    "phone errors": round(wrong[model] / total, 4), "missed": missed[model],
                }
            )  # fmt: skip
            say(str({k: v for k, v in rows[-1].items() if k != "missed"}))
    return rows


def interval(hits: int, count: int) -> tuple[float, float]:
    """Return the exact two-sided 95 % interval of a share (Clopper and Pearson 1934)."""
    from scipy.stats import beta  # noqa: PLC0415 - only here

    low = float(beta.ppf(0.025, hits, count - hits + 1)) if hits else 0.0
    high = float(beta.ppf(0.975, hits + 1, count - hits)) if hits < count else 1.0
    return low, high


def session(path: Path) -> Model:
    """Return an exported model on one thread."""
    import onnxruntime  # noqa: PLC0415 - only here

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    run = onnxruntime.InferenceSession(str(path), options, providers=["CPUExecutionProvider"])
    return lambda mel: run.run(None, {"mel": mel[None]})[0][0]


def kept(folder: Path, part: str) -> list[Clip]:
    """Return the clips of the voices kept out of training, as `speak` wrote them."""
    found = []
    for path in sorted(folder.rglob("natural-*.json")):
        sound = np.load(path.with_suffix(".npy"), mmap_mode="r")
        for row in json.loads(path.read_text()):
            if row["part"] == part:
                cut = np.array(sound[row["start"] : row["start"] + row["size"]])
                found.append(Clip(row["voice"], row["text"], cut))
    return found


def compare(
    work: Path, models: Sequence[Path], count: int, say: Callable[[str], None]
) -> list[dict[str, object]]:
    """Compare models on phrases of the unseen natural voices, drawn by chance with a fixed seed.

    Args:
        work: folder with the spoken texts (`speech/`).
        models: exported files.
        count: clips to take.
        say: takes each row as it is made.
    """
    grammar = grammar_phrases(Path("grammars/en.toml"))
    clips = [clip for clip in kept(work, "test") if clip.text in set(grammar)]
    random.Random(1).shuffle(clips)  # noqa: S311 - no secret
    heard = {str(path): session(path) for path in models}
    return measure(heard, clips[:count], grammar, "unseen natural voices", say)
