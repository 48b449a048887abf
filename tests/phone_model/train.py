"""Fine-tune the network on the spoken texts; weights are averaged on the way."""

import json
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import numpy as np
import numpy.typing as npt
import torch
import torch.nn.functional as F  # noqa: N812 - its usual name

from .augment import Augmenter
from .front import RATE, Front
from .network import PLACES, Network

BATCH: Final = 128
_LONGEST: Final = int(5.75 * RATE)

State = dict[str, torch.Tensor]


@dataclass(slots=True)
class Speech:
    """Every training clip, end to end on the device."""

    sound: torch.Tensor
    starts: npt.NDArray[np.int64]
    sizes: npt.NDArray[np.int64]
    labels: list[list[int]]

    @staticmethod
    def read(folder: Path, lexicon: dict[str, list[int]], device: str) -> "Speech":
        """Read what `speak` wrote, training parts only."""
        sounds, starts, sizes, labels, before = [], [], [], [], 0
        for path in sorted(folder.glob("*.json")):
            sound = np.load(path.with_suffix(".npy"))
            for row in json.loads(path.read_text()):
                if row["part"] == "train":
                    starts.append(before + row["start"])
                    sizes.append(row["size"])
                    labels.append([n for word in row["text"].split() for n in lexicon[word]])
            sounds.append(sound)
            before += sound.size
        whole = torch.from_numpy(np.concatenate(sounds)).to(device)
        return Speech(whole, np.array(starts), np.array(sizes), labels)

    def clips(self, chosen: npt.NDArray[np.int64], size: int, begin: torch.Tensor) -> torch.Tensor:
        """Lay the chosen clips into silence, each beginning at its own sample (B, size)."""
        device = self.sound.device
        starts = torch.from_numpy(self.starts[chosen]).to(device)[:, None]
        sizes = torch.from_numpy(self.sizes[chosen]).to(device)[:, None]
        at = torch.arange(size, device=device)[None] - begin[:, None]
        inside = (at >= 0) & (at < sizes)
        places = (starts + at.clamp_min(0)).clamp_max(self.sound.numel() - 1)
        return self.sound[places].float() / 32768 * inside


@dataclass(slots=True)
class Batches:
    """Makes batches; the same ones for the same seed on the same kind of device."""

    speech: Speech
    seed: int
    _rng: np.random.Generator = field(init=False)
    _augment: Augmenter = field(init=False)
    _front: Front = field(init=False)

    def __post_init__(self) -> None:
        """Start both sources of chance."""
        device = self.speech.sound.device
        self._rng = np.random.default_rng(self.seed)
        self._augment = Augmenter(torch.Generator(device).manual_seed(self.seed))
        self._front = Front().to(device)

    def __iter__(self) -> Iterator[tuple[torch.Tensor, list[list[int]]]]:
        """Yield pictures (B, 80, frames) and their labels without end."""
        order = np.zeros(0, np.int64)
        while True:
            if len(order) < BATCH:
                rough = self.speech.sizes + self._rng.normal(0, 0.4 * RATE, len(self.speech.sizes))
                sorted_ = np.argsort(rough)
                cut = len(sorted_) // BATCH * BATCH
                order = self._rng.permutation(sorted_[:cut].reshape(-1, BATCH)).reshape(-1)
            chosen, order = order[:BATCH], order[BATCH:]
            yield self._batch(chosen)

    @torch.no_grad()
    def _batch(self, chosen: npt.NDArray[np.int64]) -> tuple[torch.Tensor, list[list[int]]]:
        speech, rng, device = self.speech, self._rng, self.speech.sound.device
        sizes = speech.sizes[chosen]
        size = int(min(max(sizes) + rng.uniform(0.1, 1.0) * RATE, _LONGEST))
        begin = torch.from_numpy((rng.random(BATCH) * np.maximum(size - sizes, 0)).astype(int))
        begin = begin.to(device)
        clips = speech.clips(chosen, size, begin)
        labels = [speech.labels[n] for n in chosen]
        draw = rng.random()
        if draw < 0.22 and size < 2.9 * RATE:
            gap = torch.zeros(BATCH, int(rng.uniform(0, 0.7) ** 2 / 0.7 * RATE), device=device)
            clips = torch.cat([clips, gap, torch.roll(clips, 7, 0)], 1)
            labels = [
                one + other for one, other in zip(labels, labels[-7:] + labels[:-7], strict=True)
            ]
        elif draw < 0.42 and size < 5 * RATE:
            clips = self._augment.paused(clips, torch.from_numpy(sizes).to(device), begin)
        empty = max(1, round(BATCH * 0.04))
        clips[:empty] = 0
        labels[:empty] = [[] for _ in range(empty)]
        pictures = self._front(self._augment(clips, empty))[:, :, : 2 * PLACES]
        return self._masked(pictures), labels

    def _masked(self, pictures: torch.Tensor) -> torch.Tensor:
        """Blot out two stripes of bands and, in half of the batches, a moment."""
        middle = pictures.mean()
        for _ in range(2):
            low = int(self._rng.integers(0, 70))
            pictures[:, low : low + int(self._rng.integers(0, 12))] = middle
        if self._rng.random() < 0.5:
            at = int(self._rng.integers(0, pictures.shape[2] - 12))
            pictures[:, :, at : at + int(self._rng.integers(1, 9))] = middle
        return pictures


def loss_of(network: Network, pictures: torch.Tensor, labels: list[list[int]]) -> torch.Tensor:
    """Return CTC's loss for each phone, averaged over the clips."""
    kind = torch.bfloat16
    with torch.autocast(pictures.device.type, kind, enabled=pictures.is_cuda):
        out = network(pictures)
    logs = out.float().log_softmax(-1).transpose(0, 1)
    counts = torch.tensor([len(label) for label in labels])
    targets = torch.tensor([n for label in labels for n in label], dtype=torch.long)
    steps = torch.full((len(labels),), logs.shape[0])
    losses = F.ctc_loss(
        logs, targets.to(logs.device), steps, counts, reduction="none", zero_infinity=True
    )
    return (losses / counts.to(logs.device).clamp_min(1)).mean()


def pace(done: float) -> float:
    """Return the part of the highest learning rate when a part of the time is over."""
    return done / 0.06 if done < 0.06 else 0.5 * (1 + np.cos(np.pi * (done - 0.06) / 0.94)) + 0.01


def train(
    network: Network,
    batches: Batches,
    *,
    seconds: float,
    rate: float,
    steps: int | None = None,
    memory: float = 0.9993,
    say: str = "",
) -> tuple[State, int]:
    """Train for a time, or for a number of steps.

    Args:
        network: changed in place.
        batches: what it learns from.
        seconds: how long.
        rate: highest learning rate; the head's is twice as high.
        steps: stop after so many, and pace by them; the same result again on the same device.
        memory: of the moving average of the weights, a step.
        say: name printed with the progress.

    Returns:
        The moving average of the weights, and the steps done.
    """
    head = list(network.head.parameters())
    rest = [p for name, p in network.named_parameters() if not name.startswith("head")]
    groups = [{"params": rest, "high": rate}, {"params": head, "high": 2 * rate}]
    descent = torch.optim.AdamW(groups, lr=rate, weight_decay=0.01, fused=head[0].is_cuda)
    mean = {name: value.detach().clone() for name, value in network.state_dict().items()}
    begin, done, total = time.monotonic(), 0, torch.zeros((), device=head[0].device)
    network.train()
    for pictures, labels in batches:
        part = done / steps if steps else (time.monotonic() - begin) / seconds
        if part >= 1 or time.monotonic() - begin > 3 * seconds:
            break
        for group in descent.param_groups:
            group["lr"] = group["high"] * min(1.0, pace(part))
        loss = loss_of(network, pictures, labels)
        descent.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(network.parameters(), 2.0)
        descent.step()
        done += 1
        with torch.no_grad():
            keep = min(memory, done / (done + 20))
            torch._foreach_lerp_(list(mean.values()), list(network.state_dict().values()), 1 - keep)
            total += loss.detach()
        if done % 500 == 0:
            line = (
                f"{say} {done} steps {time.monotonic() - begin:.0f} s loss {total.item() / 500:.4f}"
            )
            sys.stdout.write(f"{line}\n")
            total.zero_()
    network.eval()
    return mean, done
