"""Speed of the explanation of a ten-element line case, in solves of its own sweep.

Run with ``pytest tests/benchmarks --benchmark-enable``; the benchmark's ``extra_info`` and a printed line hold it.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
from threadpoolctl import threadpool_limits

from airpath.findings.explaining.explain import explain
from airpath.network.build import build
from airpath.network.solve import solve_network
from airpath.network.sweep import sweep_frequencies
from known_boxes import BOXES, case, chamber, port

MOST_SOLVES = 60
TEN = case(
    chamber("main", "12 L", 'leak = { diameter = "2 mm" }') + chamber("tail", "8 L")
    + port("nose", "main", "outside", "300 mm") + port("throat", "main", "tail", "50 mm")
    + port("rear", "tail", "outside", "120 mm"),
    rear="main", stop="2 kHz",
).model_copy(update={"tones": (40.0, 95.0, 490.0)})  # fmt: skip
# The last tone lies on the pipe resonance of "nose": there is advice to find.


@pytest.mark.benchmark(timer=time.process_time)  # other work on the machine doesn't count
def test_explaining_costs_less_than_sixty_solves(benchmark, capsys) -> None:
    network, omega = build(TEN, "line"), 2 * np.pi * sweep_frequencies(TEN)
    assert len(network.branches) == 10
    with threadpool_limits(1):
        explain(BOXES["vented"])  # loads what is loaded once
        assert any(feature.advice for feature in explain(TEN))
        solves = []
        for _ in range(30):
            start = time.process_time()
            solve_network(network, omega)
            solves.append(time.process_time() - start)
        benchmark.pedantic(explain, args=(TEN,), rounds=5)
    ratio = benchmark.stats.stats.min / min(solves)
    benchmark.extra_info["solves"] = round(ratio, 1)
    with capsys.disabled():
        print(f"\nexplain over one sweep solve {ratio:.1f} ({benchmark.stats.stats.min * 1e3:.0f} ms)")
    assert ratio < MOST_SOLVES
