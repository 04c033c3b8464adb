"""Speed of covered openings: 64 states of a box with six openings, in solves of one state in the same run.

Time of the processor, not of the clock: a long run is interrupted more often than a short one.
Run with ``pytest tests/benchmarks --benchmark-enable``; the benchmark's ``extra_info`` and a printed line hold it.
"""

from __future__ import annotations

import time
from itertools import combinations

import numpy as np
from threadpoolctl import threadpool_limits

from airpath.findings.designs.cover import solved
from airpath.network.covered import outlets
from airpath.network.respond import solve
from known_boxes import case, chamber, port

MOST_SOLVES = 8.0
FREQUENCY = np.geomspace(20.0, 2000.0, 1000)
SIX = case(
    chamber("main", "12 L") + chamber("tail", "8 L") + port("throat", "main", "tail", "50 mm")
    + "".join(port(f"{c}{i}", c, "outside", f"{50 + 30 * i} mm") for c in ("main", "tail") for i in range(3)),
    rear="main", stop="2 kHz",
)  # fmt: skip
STATES = [some for count in range(7) for some in combinations(outlets(SIX), count)]


def test_64_states_cost_less_than_eight_solves(benchmark, capsys) -> None:
    assert len(STATES) == 64
    ones, alls = [], []

    def one_and_all() -> None:
        start = time.thread_time()
        solve(SIX, "line", FREQUENCY)
        middle = time.thread_time()
        solved(SIX, "line", "outer", STATES, FREQUENCY)
        ones.append(middle - start)
        alls.append(time.thread_time() - middle)

    with threadpool_limits(1):
        benchmark.pedantic(one_and_all, rounds=15, warmup_rounds=2)
    ratio = min(alls) / min(ones)
    benchmark.extra_info["solves"] = round(ratio, 2)
    with capsys.disabled():
        print(f"\n64 covered states over one solve {ratio:.2f} ({min(alls) * 1e3:.0f} ms)")
    assert ratio < MOST_SOLVES
