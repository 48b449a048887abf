"""The page "How it was computed", followed with nothing but what the PDF itself says."""

import re
import shutil
import subprocess
from collections.abc import Callable, Mapping
from itertools import pairwise
from math import sqrt
from pathlib import Path
from statistics import fmean, stdev, variance

import pytest
from scipy import integrate, stats

from assistant.evaluation.simulated_assays import Truth
from assistant.report.evaluation_run import Case
from assistant.report.pdf import pdf
from assistant.report.sections import document

MakeCase = Callable[..., Case]
SECTIONS = ("Results used", "Acceptance value", "Components", "Acceptance limit, plan 1", "plan 2")


def text_of(case: Case, folder: Path) -> str:
    """What another program reads from the report."""
    reader = shutil.which("pdftotext")
    if reader is None:
        pytest.skip("pdftotext (poppler-utils) is not installed")
    (folder / "r.pdf").write_bytes(pdf(document(case)))
    told = subprocess.run(
        [reader, "-raw", str(folder / "r.pdf"), "-"], capture_output=True, check=True
    )
    return told.stdout.decode()


def figures(text: str) -> dict[str, str]:
    """The text of each part of the page."""
    page = text.split("How it was computed", 1)[1].split("Deviations of the session", 1)[0]
    found, rest = {}, page
    for name, following in zip(SECTIONS, [*SECTIONS[1:], None], strict=True):
        rest = rest.split(name, 1)[1]
        found[name] = rest.split(following, 1)[0] if following else rest
    return found


def value(part: str, name: str) -> float:
    """The figure at the end of a row, which may go over several lines."""
    found = re.search(rf"^{re.escape(name)} .*?(-?\d+\.\d{{4}})$", part, re.MULTILINE | re.DOTALL)
    assert found, name
    return float(found[1])


def assays(text: str) -> dict[str, list[float]]:
    """Assays of each location, lowest position first, from the table of every vial."""
    groups: dict[str, list[float]] = {}
    rows = re.findall(r"^\d+ (\w+) (?:bottom|middle|top) 1 .* full (\d+\.\d)$", text, re.MULTILINE)
    for location, assay in rows:
        groups.setdefault(location, []).append(float(assay))
    return groups


def passes(n: int, k: float, mu: float, sigma: float) -> float:
    """P(AV of n at most 15), integrated over the mean."""

    def density(x: float) -> float:
        room = 15.0 - abs(min(max(x, 98.5), 101.5) - x)
        return float(
            stats.norm.pdf(x, mu, sigma / sqrt(n))
            * stats.chi2.cdf((n - 1) * (room / (k * sigma)) ** 2, n - 1)
        )

    edges = [83.5, 98.5, 101.5, 116.5]
    inner = sorted({*edges, *(mu + d * sigma / sqrt(n) for d in (-6, 0, 6))})
    inside = [edge for edge in inner if edges[0] <= edge <= edges[-1]]
    return sum(float(integrate.quad(density, a, b, epsabs=1e-10)[0]) for a, b in pairwise(inside))


def check_corners(part: str, mu: tuple[float, float], sigma: float) -> None:
    """Both corners, and the smaller of their bounds."""
    bounds = []
    for name, mean in zip(("low", "high"), mu, strict=True):
        assert value(part, f"mean {name}") == pytest.approx(mean, abs=2e-4)
        first, second = passes(10, 2.4, mean, sigma), passes(30, 2.0, mean, sigma)
        normal = stats.norm(mean, sigma)
        units = float(normal.cdf(1.25 * 98.5) - normal.cdf(0.75 * 101.5)) ** 30
        bounds.append(max(first, second + units - 1))
        for what, found in (("S1", first), ("S2", second), ("U", units), ("P", bounds[-1])):
            assert value(part, f"{what} {name}") == pytest.approx(found, abs=2e-4), what
    assert value(part, "P") == pytest.approx(min(bounds), abs=2e-4)


def check(part: str, expected: Mapping[str, float]) -> None:
    """Every named figure, to the decimals printed."""
    for name, figure in expected.items():
        assert value(part, name) == pytest.approx(figure, abs=6e-5), name


def test_a_reader_gets_every_figure_from_the_pages_alone(case: MakeCase, tmp_path: Path) -> None:
    """Thirty assays are read off the report, and everything is worked out anew."""
    text = text_of(case(truth=Truth(mean=97.0, between_sd=3.2, within_sd=2.4)), tmp_path)
    groups, parts = assays(text), figures(text)
    everything = [assay for group in groups.values() for assay in group]
    firsts = [group[0] for group in groups.values()]
    assert (len(everything), len(firsts)) == (30, 10)
    used = parts["Results used"]
    stage_1 = "1, 4, 7, 10, 13, 16, 19, 22, 25, 28"
    assert f"lowest position of every spot: {stage_1} 10" in used
    for name, values in (("stage 1", firsts), ("all", everything)):
        check(
            used,
            {
                f"{name} mean": fmean(values),
                f"{name} Q": variance(values) * (len(values) - 1),
                f"{name} SD": stdev(values),
                f"{name} RSD, %": 100 * stdev(values) / fmean(values),
            },
        )

    expected: dict[str, float] = {}
    for stage, values, k in (("1", firsts, 2.4), ("2", everything, 2.0)):
        m = min(max(fmean(values), 98.5), 101.5)
        expected |= {f"M{stage}": m, f"AV{stage}": abs(m - fmean(values)) + k * stdev(values)}
    check(parts["Acceptance value"], expected)
    assert re.search(r"^k1 for 10 results 2\.4$", parts["Acceptance value"], re.MULTILINE)

    within = fmean(variance(group) for group in groups.values())
    between = 3 * variance([fmean(group) for group in groups.values()])
    check(
        parts["Components"],
        {
            "SSW": 20 * within,
            "SSB": 9 * between,
            "MSW": within,
            "MSB": between,
            "n0": 3.0,
            "variance within": within,
            "variance between": (between - within) / 3,
            "SD within": sqrt(within),
            "SD between": sqrt((between - within) / 3),
        },
    )

    c = sqrt(0.9)
    sigma = stdev(firsts) * sqrt(9 / stats.chi2.ppf(1 - c, 9))
    half = stats.norm.ppf((1 + c) / 2) * sigma / sqrt(10)
    one = parts["Acceptance limit, plan 1"]
    check(one, {"c": c, "chi2": stats.chi2.ppf(1 - c, 9), "sigma U": sigma})
    check_corners(one, (fmean(firsts) - half, fmean(firsts) + half), sigma)

    b, w = between / 3, (1 - 1 / 3) * within
    h1, h2 = (df / stats.chi2.ppf(1 - c, df) - 1 for df in (9, 20))
    sigma = sqrt(b + w + sqrt((h1 * b) ** 2 + (h2 * w) ** 2))
    t = stats.t.ppf((1 + c) / 2, 9)
    two = parts["plan 2"]
    check(two, {"B": b, "W": w, "H1": h1, "H2": h2, "sigma U": sigma, "t": t})
    half = t * sqrt(b / 10)
    check_corners(two, (fmean(everything) - half, fmean(everything) + half), sigma)
