"""The recipe's stages; `python -m phone_model --help` lists them."""

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import torch

from . import speak
from .network import Network
from .train import Batches, Speech, train


def _device(number: int = 0) -> str:
    cards = torch.cuda.device_count()
    return f"cuda:{number % cards}" if cards else "cpu"


def _in_processes(jobs: list[tuple[object, ...]]) -> None:
    with ProcessPoolExecutor(len(jobs), mp_context=get_context("spawn")) as pool:
        for future in [pool.submit(*job) for job in jobs]:  # type: ignore[arg-type]
            print(future.result(), flush=True)


def _speak(options: argparse.Namespace) -> None:
    """Natural voices (an accelerator helps most here) or formant voices (processor only)."""
    every = range(options.processes)
    if options.stage == "natural":
        _in_processes(
            [
                (speak.natural, options.work, n, len(every), options.seconds, _device(n))
                for n in every
            ]
        )
    else:
        _in_processes([(speak.formant, options.work, n, len(every), options.seconds) for n in every])


def _train(options: argparse.Namespace) -> None:
    from .inputs_read import lexicon_of, encoder_of  # noqa: PLC0415

    torch.manual_seed(1)  # one head for all trainings, or their mean would be of no use
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    device = _device(options.card)
    network = Network()
    if options.start:
        network.load_state_dict({k: v.float() for k, v in torch.load(options.start).items()})
    else:
        network.take_encoder(encoder_of(options.work))
    begin = time.monotonic()
    speech = Speech.read(options.work / "speech", lexicon_of(options.work), device)
    hours = speech.sizes.sum() / 16_000 / 3600
    print(f"{len(speech.labels)} clips, {hours:.1f} h, read in {time.monotonic() - begin:.0f} s")
    mean, done = train(
        network.to(device),
        Batches(speech, options.seed),
        seconds=options.seconds,
        rate=options.rate,
        steps=options.steps,
        say=options.to.stem,
    )
    options.to.parent.mkdir(parents=True, exist_ok=True)
    torch.save({name: value.half().cpu() for name, value in mean.items()}, options.to)
    print(f"{options.to.name}: {done} steps, seed {options.seed}", flush=True)


def main(arguments: list[str]) -> None:
    """Run one stage."""
    parser = argparse.ArgumentParser(prog="phone_model")
    stages = parser.add_subparsers(dest="stage", required=True)
    for name in ("natural", "formant"):
        stage = stages.add_parser(name)
        stage.add_argument("work", type=Path)
        stage.add_argument("--processes", type=int, default=2)
        stage.add_argument("--seconds", type=float, default=1e9)
    stage = stages.add_parser("train")
    stage.add_argument("work", type=Path)
    stage.add_argument("to", type=Path)
    stage.add_argument("--start", type=Path)
    stage.add_argument("--seed", type=int, default=1)
    stage.add_argument("--seconds", type=float, default=240)
    stage.add_argument("--steps", type=int)
    stage.add_argument("--rate", type=float, default=3e-4)
    stage.add_argument("--card", type=int, default=0)
    options = parser.parse_args(arguments)
    {"natural": _speak, "formant": _speak, "train": _train}[options.stage](options)


if __name__ == "__main__":
    main(sys.argv[1:])
