"""The interval of a leak, whose effect on the curve is far from linear: by trying its widths one after the other.

A narrow hole lets air through against friction, a wide one against the air's mass; so a wide leak may look like another
volume, and none at all like a very narrow one. For each width tried, all else is fitted anew.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airpath.errors import AirpathError
from airpath.measured.fitting.squares import Squares, huber

_TRIED = np.array([-4.0, -1.5, -0.75, 0.0, 0.75, 1.5, 2.25, 3.0])  # prior widths
_RAISE = 3.841  # of the cost at the ends of a 95 % interval: chi-squared, one degree of freedom
_AROUND = np.array([-4.0, -2.0, -1.0, 1.0, 2.0, 4.0])  # standard deviations about the best
_STEPS = 12
_ROUGHLY = 1e-4  # of the cost
_LOW = 12.0  # of the cost over its least: beyond that a width is out of the question
_Real = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Profile:
    """Least cost (n,) for each tried width ``u`` (n,) in prior widths, all else fitted: ``start`` (n, p) of all u."""

    u: _Real
    cost: _Real
    start: _Real

    def interval(self) -> tuple[float, float]:
        """Return the 95 % interval of u: the outermost crossings of the least cost plus 3.84.

        Source: Venzon & Moolgavkar 1988, Applied Statistics 37, 87 (profile likelihood).
        """
        height = np.sqrt(np.maximum(self.cost - self.cost.min(), 0.0)) - np.sqrt(_RAISE)  # about linear in u
        inside = np.flatnonzero(height <= 0)
        first, last = int(inside[0]), int(inside[-1])
        return self._crossing(height, first, first - 1), self._crossing(height, last, last + 1)

    def _crossing(self, height: _Real, inner: int, outer: int) -> float:
        if not 0 <= outer < len(height):
            return float(self.u[inner])
        share = height[inner] / (height[inner] - height[outer])
        return float(self.u[inner] + share * (self.u[outer] - self.u[inner]))

    @property
    def seen(self) -> bool:
        """Whether the sweep is met worse without any leak, its prior apart."""
        data = self.cost - self.u**2
        return bool(data[0] - data[int(np.argmin(self.cost))] > _RAISE)

    def valleys(self) -> _Real:
        """Return the starts (k, p) from which to search: the local minima, the deepest first."""
        rim = np.concatenate([[np.inf], self.cost, [np.inf]])
        low = np.flatnonzero((self.cost <= rim[:-2]) & (self.cost < rim[2:]))
        return np.asarray(self.start[low[np.argsort(self.cost[low])]])


def cost(u: _Real, weighted: _Real) -> float:
    """Return what a search makes small: Huber's loss of the weighted residual (rows,) and the squares of u."""
    return float(np.sum(huber(weighted**2, len(weighted))[0]) + np.sum(u**2))


def profile(squares: Squares, i: int, weights: _Real, best: _Real) -> Profile:
    """Return the profile of free value ``i``; ``weights`` (rows,): noise of each point; ``best`` (p,): the start."""
    return _along(squares, i, weights, best, _TRIED)


def refined(squares: Squares, i: int, weights: _Real, best: _Real, deviation: float, first: Profile) -> Profile:
    """Return the profile about the best u, which has a standard ``deviation``, and where the ``first`` one was low."""
    low = first.u[(first.cost - first.cost.min() < _LOW) | (first.u == first.u[0])]
    return _along(squares, i, weights, best, np.concatenate([low, best[i : i + 1], best[i] + _AROUND * deviation]))


def _along(squares: Squares, i: int, weights: _Real, best: _Real, places: _Real) -> Profile:
    low, high = squares.free[i].limits()
    tried = np.unique(np.clip(places, low, high))
    starts, costs = np.empty((len(tried), len(best))), np.empty(len(tried))
    middle = int(np.searchsorted(tried, best[i]))
    for outward in (range(middle, len(tried)), range(middle - 1, -1, -1)):
        start = best
        for j in outward:  # each from its neighbour's
            start, costs[j] = _fixed(squares, i, float(tried[j]), weights, start)
            starts[j] = start
    return Profile(u=tried, cost=costs, start=starts)


def _fixed(squares: Squares, i: int, value: float, weights: _Real, best: _Real) -> tuple[_Real, float]:
    """Return all u and the cost with one of them held at a value and the others fitted."""
    one = squares.free[i]
    others = [free for k, free in enumerate(squares.free) if k != i]
    held = replace(squares, case=one.put(squares.case, one.value(value)), free=others)
    u = held.search(np.delete(best, i), weights, robust=True, most=_STEPS, close=_ROUGHLY)
    whole = np.insert(u, i, value)
    try:
        return whole, cost(whole, squares.residual(whole) / weights)
    except AirpathError:
        return whole, np.inf
