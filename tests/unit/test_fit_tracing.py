"""The way to the profile of a leak: each place is the best there, and says rightly how the cost goes on from it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from airpath.measured.fitting.fit import CoveredSweep, target
from airpath.measured.fitting.freedom import Free, possible
from airpath.measured.fitting.profile import cost
from airpath.measured.fitting.setting import Widths, setting
from airpath.measured.fitting.solution import solve
from airpath.measured.fitting.squares import Squares
from airpath.measured.fitting.tracing import refined
from measured_boxes import changed, measured, random_box, spread

LEAK = "chambers.main.leak.diameter"


@lru_cache
def traced(seed: int, leak: float):
    """Return the squares, the solution, the leak's place among the values, and its profile, of a random box."""
    case = random_box(np.random.default_rng(seed))
    widths = spread(case, leak=True)
    truth = {LEAK: Free(parameter=possible(case)[LEAK], width=widths[LEAK]).value(leak)}
    sweep = target(case, CoveredSweep(measured=measured(changed(case, truth), 60, 0.005, seed)))
    asked = setting(case, list(widths), Widths(tolerance=0, driver=0, own=widths), [sweep], "line")
    squares = Squares(case=asked.case, model="line", free=asked.free, targets=[sweep])
    found = solve(squares)
    i = next(k for k, one in enumerate(asked.free) if one.is_leak)
    deviation = float(np.sqrt(found.errors(np.zeros((len(found.left), 0))).noise[i, i]))
    return squares, found, i, refined(squares, i, found.weights, found.u, deviation, found.profiles[i])


@pytest.mark.parametrize(("seed", "leak"), [(0, 1.0), (3, 0.0), (6, 2.0)])
def test_the_slopes_are_those_of_the_costs(seed: int, leak: float) -> None:
    """Between places close together, the trapezoid of the slopes is the step of the cost."""
    _, _, _, profile = traced(seed, leak)
    low = profile.cost - profile.cost.min() < 20
    u, height, slope = profile.u[low], profile.cost[low], profile.slope[low]
    close = np.diff(u) < 0.3
    assert close.sum() >= 3
    step = (slope[1:] + slope[:-1]) / 2 * np.diff(u)
    np.testing.assert_allclose(np.diff(height)[close], step[close], atol=0.3)


@pytest.mark.parametrize(("seed", "leak"), [(0, 1.0), (3, 0.0), (6, 2.0)])
def test_no_place_can_be_bettered(seed: int, leak: float) -> None:
    """A step of Newton's in the values that are not held gains nothing."""
    squares, found, i, profile = traced(seed, leak)
    for u, height in zip(profile.start, profile.cost, strict=True):
        if height - profile.cost.min() > 20:
            continue
        left, slopes = squares.linear(u)
        weighted, rest = left / found.weights, np.delete(slopes / found.weights[:, None], i, axis=1)
        inside = np.delete(u, i)
        matrix = np.concatenate([rest, np.eye(len(inside))])
        step = np.linalg.lstsq(matrix, np.concatenate([weighted, -inside]), rcond=None)[0]
        better = np.insert(inside + step, i, u[i])
        assert cost(better, squares.residual(better) / found.weights) > height - 0.05


def test_the_interval_holds_the_leak() -> None:
    _, _, _, profile = traced(6, 2.0)
    low, high = profile.interval()
    assert low < 2.0 < high and high - low < 1.5
