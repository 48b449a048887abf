"""The second opinion's figures for kept evidence, computed once and kept beside it."""

import json
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from assistant.speech.utterance_verification.decision import HOPELESS
from assistant.speech.utterance_verification.score_model import Weights
from assistant.speech.utterance_verification.trimming import dithered, samples_of, trimmed
from assistant.speech.utterance_verification.verifier import Opinion
from tests.listening_bench.cases import Case, Material
from tests.listening_bench.cutting import usable
from tests.listening_bench.evidence import Evidence

Key = tuple[int, int, int]
"""Number of the case, place of the utterance in its clip, rank of the candidate."""


@dataclass(slots=True)
class Votes:
    """All figures of the second opinion, and what they cost."""

    figures: dict[Key, Mapping[str, float]] = field(default_factory=dict)
    cpu: list[float] = field(default_factory=list)
    """Processor seconds for each utterance asked about."""


def read_votes(kept: Path) -> Votes:
    """Read kept votes; an empty set when there is no file."""
    found = Votes()
    if kept.is_file():
        for line in kept.read_text(encoding="utf-8").splitlines(keepends=True):
            if line.endswith("\n"):
                table = json.loads(line)
                for place, rank, figures in table["votes"]:
                    found.figures[table["number"], place, rank] = figures
                found.cpu.extend(table["cpu"])
    return found


def collect_votes(
    evidence: Iterable[Evidence],
    cases: Mapping[int, Case],
    material: Material,
    kept: Path,
    *,
    opinion: Opinion,
    alone: Weights,
) -> Votes:
    """Ask the second opinion wherever the live judge would, skipping what is kept already."""
    done = set()
    if kept.is_file():
        lines = kept.read_text(encoding="utf-8").splitlines()
        done = {json.loads(line)["number"] for line in lines}
    with kept.open("a", encoding="utf-8") as sink:
        for case in evidence:
            if case.number not in done:
                votes, cpu = _ask(case, cases[case.number], material, opinion, alone)
                row = {"number": case.number, "votes": votes, "cpu": cpu}
                sink.write(json.dumps(row) + "\n")
                sink.flush()
    return read_votes(kept)


def _ask(
    evidence: Evidence, case: Case, material: Material, opinion: Opinion, alone: Weights
) -> tuple[list[tuple[int, int, Mapping[str, float]]], list[float]]:
    wanted = [
        (place, rank, candidate)
        for place, heard in enumerate(evidence.heard)
        for rank, candidate in enumerate(heard.candidates)
        if alone.score(candidate.figures) >= HOPELESS
    ]
    if not wanted:
        return [], []
    utterances = usable(material.clip(case).samples)
    votes: list[tuple[int, int, Mapping[str, float]]] = []
    cpu = []
    for place, rank, candidate in wanted:
        cut = dithered(trimmed(samples_of(utterances[place].utterance.pcm)))
        started = time.process_time()
        figures = opinion.figures(cut, candidate.phrase, candidate.second)
        cpu.append(time.process_time() - started)
        votes.append((place, rank, figures))
    return votes, cpu
