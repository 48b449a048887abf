"""Speed of planning, as ratios that hold on any machine.

Processor time is taken, the least of several runs, so that a busy machine does not matter.
"""

import io
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from assistant.cli import main
from assistant.errors import PlanError
from assistant.plan import Plan, parse_plan
from assistant.plan.check import findings
from assistant.plan.insertion_geometry import lengths
from assistant.plan.new_plan import plan_of
from assistant.plan.questionnaire import answers_of
from assistant.plan.shapes import height_of, shape_of
from assistant.plan.vessel import KINDS
from assistant.plan.vials import vials
from assistant.report.draw import draw

pytestmark = pytest.mark.slow

PLANS = Path(__file__).parents[2] / "plans"
NAMES = ("double-cone", "v-blender", "bin")


def cost(work: Callable[[], object], runs: int = 5) -> float:
    """Least processor time of several runs, seconds."""
    spent = []
    for _ in range(runs):
        start = time.process_time()
        work()
        spent.append(time.process_time() - start)
    return min(spent)


def shipped(name: str) -> Plan:
    """Read a shipped plan."""
    return parse_plan((PLANS / f"{name}.toml").read_bytes(), name)


@pytest.mark.parametrize("name", NAMES)
def test_inverse_costs_few_volumes(name: str) -> None:
    """A height costs no more than 120 evaluations of the volume."""
    shape = shape_of(shipped(name).vessel)
    total = float(shape.volume(shape.height_mm))
    shares = np.linspace(0.02, 0.98, 100)
    inverse = cost(lambda: [height_of(shape, float(share) * total) for share in shares]) / 100
    volume = cost(lambda: [shape.volume(float(share) * 500) for share in shares]) / 100
    assert inverse < 120 * volume


@pytest.mark.parametrize("name", NAMES)
def test_check_costs_few_readings(name: str) -> None:
    """Checking a plan costs no more than forty readings of its file."""
    plan = shipped(name)
    raw = (PLANS / f"{name}.toml").read_bytes()
    checked = cost(lambda: findings(plan))
    assert checked < 40 * cost(lambda: parse_plan(raw, name))


@pytest.mark.parametrize("name", NAMES)
def test_the_whole_command_costs_few_findings(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """`check` with its simulated chances and its tables costs no more than 8 x the findings."""
    plan = shipped(name)
    assert main(["check", name]) == 0
    whole = cost(lambda: main(["check", name]), runs=3)
    capsys.readouterr()
    assert whole < 8 * cost(lambda: findings(plan))


@pytest.mark.parametrize("vessel", KINDS)
def test_a_new_plan_costs_few_checks(vessel: str) -> None:
    """Ten locations are proposed in the time of 20 checks, whatever the vessel."""
    answers = answers_of({"vessel": vessel, "sampler": "triplicate"})
    made = plan_of(answers)
    proposed = cost(lambda: plan_of(answers), runs=3)
    assert proposed < 20 * cost(lambda: findings(made))


def test_reach_grows_in_step_with_the_locations() -> None:
    """Ten times the locations cost no more than fifteen times the time."""
    plan = shipped("double-cone")
    few = plan.model_copy(update={"locations": plan.locations * 2})
    many = plan.model_copy(update={"locations": plan.locations * 20})
    assert cost(lambda: lengths(many)) < 15 * cost(lambda: lengths(few))


@pytest.mark.parametrize("name", NAMES)
def test_drawing_costs_few_empty_charts(name: str) -> None:
    """A picture costs no more than twelve pages of three empty charts."""
    plan = shipped(name)

    def empty() -> None:
        figure = Figure(figsize=(11.69, 8.27))
        FigureCanvasAgg(figure)
        figure.subplots(1, 3)
        figure.savefig(io.BytesIO(), format="png", dpi=150)

    drawn = cost(lambda: draw(plan, vials(plan), "png"), runs=2)
    assert drawn < 12 * cost(empty)


def test_a_million_locations_are_refused_at_once() -> None:
    """The refusal costs less than reading one shipped plan a hundred times."""
    million = b'[[locations]]\ncode="A"\nx_mm=0\ny_mm=0\ndepth_mm=9\n' * 1_000_000

    def refuse() -> None:
        with pytest.raises(PlanError, match="too large for a plan"):
            parse_plan(million, "p")

    raw = (PLANS / "bin.toml").read_bytes()
    assert cost(refuse) < 100 * cost(lambda: parse_plan(raw, "bin"))
