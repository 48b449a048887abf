"""What `new-plan` writes is sampled to the end as it stands: every vessel, kind, number of ports.

The quick way: the real procedure, words, chain and proof, the answers typed. The way with the real
listening is in `tests/cli/test_new_plan_rehearse.py`.
"""

from datetime import UTC, datetime
from hashlib import sha256
from itertools import product

import pytest

from assistant.clock import ManualClock
from assistant.conformance import fold
from assistant.grammar.language import parse_grammar
from assistant.grammar.rendering import meanings, universe
from assistant.journal.chain import read
from assistant.plan import Plan, parse_plan
from assistant.plan.check import findings
from assistant.plan.dies import Weight, mass_window
from assistant.plan.finding import Fitness
from assistant.plan.new_plan import new_plan
from assistant.plan.questionnaire import answers_of
from assistant.plan.vessel import KINDS
from assistant.plan.vials import vials
from assistant.procedure.enums import State
from assistant.procedure.model import Session
from assistant.storage import bundled_files
from assistant.testing import quick_record
from tests.memory_journal import MemoryJournal

GRAMMAR = bundled_files.read_grammar("en")
LANGUAGE = parse_grammar(GRAMMAR, "en")
SAMPLERS = ("single", "duplicate", "triplicate")
POSITIONS = {"single": 1, "duplicate": 2, "triplicate": 3}


def written(vessel: str, sampler: str, ports: int) -> bytes:
    """The plan file that `new-plan` writes for these answers."""
    answers = {"vessel": vessel, "sampler": sampler, "ports": str(ports)}
    return new_plan(answers_of(answers)).encode()


def sampled(raw: bytes) -> tuple[Plan, Session]:
    """Sample a plan to the end and prove the record."""
    plan = parse_plan(raw, "plan.toml")
    journal = MemoryJournal()
    made = quick_record(journal, ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC)), raw, GRAMMAR)
    told, _ = fold(journal.lines(), plan, LANGUAGE)
    assert told == made
    return plan, made


QUICK = [(vessel, "duplicate", 1) for vessel in KINDS]
EVERY = [
    *product(KINDS, SAMPLERS, (1, 2)),
    *((vessel, "triplicate", ports) for vessel in KINDS for ports in (3, 4)),
]


@pytest.mark.parametrize(
    ("vessel", "sampler", "ports"),
    [
        pytest.param(
            *each, marks=() if each in QUICK else pytest.mark.slow, id="-".join(map(str, each))
        )
        for each in EVERY
    ],
)
def test_a_new_plan_is_sampled_unchanged(vessel: str, sampler: str, ports: int) -> None:
    """Nothing of it is refused; every planned vial is filled, in order, without a deviation."""
    plan, made = sampled(written(vessel, sampler, ports))
    assert [f for f in findings(plan) if f.verdict is Fitness.UNFIT] == []
    assert made.state is State.CLOSED
    assert made.deviations == ()
    count = 10 * POSITIONS[sampler] * ports
    assert [sample.vial for sample in made.progress.samples] == list(range(1, count + 1))
    assert {sample.status.value for sample in made.progress.samples} == {"full"}
    planned = [(v.number, v.position, v.port) for v in vials(plan)]
    filled = [
        (s.vial, plan.sampler.positions[s.position].value, s.port + 1)
        for s in made.progress.samples
    ]
    assert filled == planned


@pytest.mark.parametrize(
    "sampler", [pytest.param(each, marks=pytest.mark.slow) for each in SAMPLERS]
)
def test_no_two_meanings_sound_the_same(sampler: str) -> None:
    """With four ports and up to 120 vials every phrase of the last insertion means one thing."""
    _, made = sampled(written("double-cone", sampler, 4))
    known = universe(LANGUAGE, made)
    assert len(known) == len(list(meanings(made)))
    assert len(made.here()) == 4 * POSITIONS[sampler]


def test_masses_follow_the_plan() -> None:
    """With the weighing switched on, every made-up mass lies where that plan's dies should."""
    text = written("rectangular-bin", "single", 2).decode()
    start = text.index("# [weighing]")
    head, block = text[:start], text[start:].split("\n\n", 1)
    weighed = "\n".join(line.removeprefix("# ") for line in block[0].splitlines())
    plan, made = sampled("\n\n".join((head + weighed, block[1])).encode())
    assert plan.weighing is not None
    window = mass_window(plan)
    masses = [float(sample.mass_mg) for sample in made.progress.samples]
    assert len(set(masses)) > 10
    assert {window.judge(mass) for mass in masses} == {Weight.WITHIN}
    assert min(masses) >= round(window.bulk_mg, 1)
    assert max(masses) <= round(window.tapped_mg, 1)
    other = mass_window(parse_plan(written("drum", "single", 1), "p"))
    shifted = {other.judge(2 * mass) for mass in masses}
    assert Weight.WITHIN not in shifted


@pytest.mark.parametrize("name", ["double-cone", "v-blender", "bin"])
def test_masses_of_the_shipped_plans(name: str) -> None:
    """The shipped plans are weighed, where they ask for it, inside their own windows."""
    raw = bundled_files.read_plan(name)
    plan, made = sampled(raw)
    masses = [sample.mass_mg for sample in made.progress.samples]
    if plan.weighing is None:
        assert set(masses) == {""}
        return
    window = mass_window(plan)
    assert {window.judge(float(mass)) for mass in masses} == {Weight.WITHIN}


def test_the_plan_on_record_is_the_one_written() -> None:
    """The record names the bytes that `new-plan` wrote, byte by byte."""
    raw = written("drum", "single", 1)
    journal = MemoryJournal()
    quick_record(
        journal,
        ManualClock(datetime(2026, 3, 4, 8, tzinfo=UTC)),
        raw,
        GRAMMAR,
        until=State.SEATING,
    )
    first = next(iter(read(journal.lines())))
    assert first.event["plan_sha256"] == sha256(raw).hexdigest()
