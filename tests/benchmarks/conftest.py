"""Benchmarks run only when asked for."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def _only_when_asked(request: pytest.FixtureRequest) -> None:
    if not request.config.getoption("benchmark_enable"):
        pytest.skip("a benchmark: run with --benchmark-enable")
