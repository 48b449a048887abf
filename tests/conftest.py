"""What holds for every test."""

import os
from collections.abc import Generator

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile("untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("untimed")
"""A busy machine fails no test; speed is measured in the benchmarks only."""

os.environ["SAMPLING_ASSISTANT_CONFIG"] = os.devnull
"""Whoever runs the tests may have set up devices of his own."""

MODELS_REQUIRED = os.environ.get("SAMPLING_ASSISTANT_MODELS") == "required"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Where the models must be there, a test of theirs that is skipped has failed."""
    report = yield
    if MODELS_REQUIRED and report.skipped and item.get_closest_marker("model"):
        report.outcome = "failed"
        report.longrepr = f"may not be skipped here: {report.longrepr}"
    return report
