"""Cost of a fit of six values to 500 points of the line model, in solves of the same sweep.

Run with ``pytest tests/benchmarks --benchmark-enable``; the benchmark's ``extra_info`` and a printed line hold it.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

from airpath.case import load
from airpath.measured.fitting.fit import fit
from airpath.network.build import build
from airpath.network.solve import solve_network
from measured_boxes import measured, scaled

MOST_SOLVES = 300
CASES = Path(__file__).parents[2] / "cases"
FREE = ["nose.length=5 %", "throat.length=5 %", "rear.length=5 %", "driver.fs", "driver.Qes", "driver.Vas"]
BUILT = {"ports.nose.length": 1.04, "ports.rear.length": 0.97, "driver.fs": 1.05, "driver.Vas": 0.94}


def test_six_values_to_500_points_cost_less_than_300_solves(benchmark, capsys) -> None:
    case = load(CASES / "rumble-bench.toml")
    sweep = measured(scaled(case, BUILT), 500)
    network, omega = build(case, "line"), 2 * np.pi * sweep.frequency
    with threadpool_limits(1):
        fit(case, sweep, FREE)  # loads what is loaded once
        solves = []
        for _ in range(7):
            start = time.perf_counter()
            solve_network(network, omega)
            solves.append(time.perf_counter() - start)
        result = benchmark.pedantic(fit, args=(case, sweep, FREE), rounds=3)
    assert not result.structural and result.misfit is None
    ratio = benchmark.stats.stats.min / min(solves)
    benchmark.extra_info["solves"] = round(ratio, 1)
    with capsys.disabled():
        print(f"\nfit of six values over one solve {ratio:.0f} ({benchmark.stats.stats.min * 1e3:.0f} ms)")
    assert ratio < MOST_SOLVES
