"""What holds for every test."""

import os
from collections.abc import Generator, Iterator

import pytest
from hypothesis import HealthCheck, settings

from assistant.plan import insertion_geometry

settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")
"""A busy machine fails no test; speed is measured in the benchmarks only."""

os.environ["SAMPLING_ASSISTANT_CONFIG"] = os.devnull
"""Whoever runs the tests may have set up devices of his own."""

REQUIRED = {
    mark: os.environ.get(f"SAMPLING_ASSISTANT_{name}") == "required"
    for mark, name in (("model", "MODELS"), ("site", "SITE"))
}


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Where models, browser and database must be there, skipping their test is a failure."""
    report = yield
    if report.skipped and any(
        REQUIRED[mark] and item.get_closest_marker(mark) for mark in REQUIRED
    ):
        report.outcome = "failed"
        report.longrepr = f"may not be skipped here: {report.longrepr}"
    return report


@pytest.fixture
def coarse_geometry(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Let depths be rounded to whole centimetres, as another version might."""
    exact = insertion_geometry._whole  # noqa: SLF001 - the constant of another version
    monkeypatch.setattr(insertion_geometry, "_whole", lambda value, _step: exact(value, 10))
    insertion_geometry.insertion_mm.cache_clear()
    yield
    insertion_geometry.insertion_mm.cache_clear()
