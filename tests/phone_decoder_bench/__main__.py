"""Command line of the measurements; see the package."""

import argparse
import hashlib
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

from assistant.speech.phone_decoder.decision import parse_calibration, shipped_calibration
from assistant.speech.phone_decoder.phone_model import ModelFile, PhoneModel
from assistant.speech.phone_decoder.phrase_scores import PhraseSet
from assistant.speech.phone_decoder.phrase_verifier import PhraseVerifier
from assistant.speech.phone_decoder.pronunciations import Pronunciations
from assistant.speech.pocketsphinx_engine import model_folder
from tests.listening_bench.voices import Half

from . import enrol, fit, measure, people, worst
from .clips import KINDS, LEVELS, Clip, NaturalVoices, Studio, grammar, phrases


def _model(path: Path) -> PhoneModel:
    """Load any model file: what is measured need not be the one that is shipped."""
    data = path.read_bytes()
    return PhoneModel(ModelFile(data, path.stem, hashlib.sha256(data).hexdigest()))


def _words() -> Pronunciations:
    return Pronunciations(model_folder(), grammar()["pronunciations"])


def _clips(options: argparse.Namespace) -> Iterator[Clip]:
    half: Half = options.half
    studio = Studio(half, options.cache)
    for kind in options.kinds or KINDS:
        for level in options.levels or LEVELS:
            if options.natural:
                yield from NaturalVoices(options.natural).clips(kind, level, studio)
            else:
                yield from (studio.clip(kind, level, n) for n in range(options.count))


def main() -> None:
    """Fit or measure."""
    parser = argparse.ArgumentParser(prog="phone_decoder_bench")
    parser.add_argument("what", choices=("fit", "measure", "enrol", "people", "worst", "near"))
    parser.add_argument("--model", type=Path, required=True)
    parser.add_argument("--cache", type=Path, default=Path("build/bench"))
    parser.add_argument("--half", choices=("tuning", "test"), default="test")
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--kinds", nargs="*", choices=KINDS)
    parser.add_argument("--levels", nargs="*", choices=tuple(LEVELS))
    parser.add_argument(
        "--natural", type=Path, help="folder of natural voices kept out of training"
    )
    parser.add_argument("--calibration", type=Path, help="another than the one in the package")
    parser.add_argument("--missed", action="store_true", help="also list what went wrong")
    options = parser.parse_args()
    model = _model(options.model)
    if options.what == "fit":
        words = _words()
        grammar_set = PhraseSet({each: words.phrase(each) for each in phrases()})
        studio = Studio("tuning", options.cache)
        rows = fit.rows(model, grammar_set, studio, options.count / 60)
        sys.stdout.write(fit.written(options.model.stem, rows))
        return
    for line in _measured(options, model):
        sys.stdout.write(f"{line}\n")
        sys.stdout.flush()


def _measured(options: argparse.Namespace, model: PhoneModel) -> Iterator[str]:
    """Measure what was asked for and yield the lines to print."""
    rule, words = shipped_calibration(), _words()
    if options.calibration:
        rule = parse_calibration(options.calibration.read_text())
    studio = Studio(options.half, options.cache)
    verifier = PhraseVerifier(model, words, grammar()["digits"], rule)
    match options.what:
        case "enrol":
            yield from enrol.compare(model, words, rule, studio)
        case "worst":
            yield from worst.every_phrase(verifier, studio)
        case "near":
            yield from worst.near_misses(verifier, words, studio, "20")
        case "people":
            clips = people.clips(options.cache)
            yield from _table(verifier, measure.run(verifier, clips, people.asked), options)
        case _:
            yield from _table(verifier, measure.run(verifier, _clips(options)), options)


def _table(
    verifier: PhraseVerifier,
    found: Mapping[tuple[str, str], measure.Tally],
    options: argparse.Namespace,
) -> Iterator[str]:
    yield verifier.name
    yield measure.table(found)
    if options.missed:
        yield from (f"{key}: {tally.missed}" for key, tally in found.items())


if __name__ == "__main__":
    main()
