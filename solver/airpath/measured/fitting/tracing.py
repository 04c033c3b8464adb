"""The way to a profile: one value is held at place after place, all else fitted anew from where it was before."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airpath.errors import AirpathError
from airpath.measured.fitting.profile import Profile, cost
from airpath.measured.fitting.squares import Squares, huber

_TRIED = np.array([-4.0, -1.5, -0.75, 0.0, 0.75, 1.5, 2.25, 3.0])  # prior widths
_AROUND = np.array([-4.0, -2.0, -1.0, 1.0, 2.0, 4.0])  # standard deviations about the best
_LOW = 12.0  # of the cost over its least: beyond that a width is out of the question
_STEPS = 12
_ROUGHLY = 1e-4  # of the cost
_Real = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class _Place:
    """One place of a profile, as there; ``way`` (p,): how all u move with the one that is held, itself by 1."""

    u: _Real
    cost: float
    slope: float
    room: float
    way: _Real


def profile(squares: Squares, i: int, weights: _Real, best: _Real) -> Profile:
    """Return the profile of free value ``i``; ``weights`` (rows,): noise of each point; ``best`` (p,): the start."""
    return _along(squares, i, weights, best, _TRIED)


def refined(squares: Squares, i: int, weights: _Real, best: _Real, deviation: float, first: Profile) -> Profile:
    """Return the profile about the best u, which has a standard ``deviation``, and where the ``first`` one was low."""
    low = first.u[(first.cost - first.cost.min() < _LOW) | (first.u == first.u[0])]
    return _along(squares, i, weights, best, np.concatenate([low, best[i] + _AROUND * deviation]))


def _along(squares: Squares, i: int, weights: _Real, best: _Real, places: _Real) -> Profile:
    low, high = squares.free[i].limits()
    tried = np.unique(np.clip(np.append(places, best[i]), low, high))
    middle, alone = int(np.searchsorted(tried, best[i])), np.eye(len(best))[i]
    found = {middle: _fitted(squares, i, weights, best)}
    for outward, back in ((range(middle + 1, len(tried)), -1), (range(middle - 1, -1, -1), 1)):
        for j in outward:  # each from its neighbour, along the way that all else goes there if that is nearer
            near = found[j + back]
            starts = [near.u + (tried[j] - near.u[i]) * way for way in (alone, near.way)]
            found[j] = _fitted(squares, i, weights, min(starts, key=lambda u: _cost(squares, weights, u)))
    there = [found[j] for j in range(len(tried))]
    return Profile(
        u=tried, cost=np.array([p.cost for p in there]), slope=np.array([p.slope for p in there]),
        room=np.array([p.room for p in there]), start=np.array([p.u for p in there]),
    )  # fmt: skip


def _cost(squares: Squares, weights: _Real, u: _Real) -> float:
    try:
        return cost(u, squares.residual(u) / weights)
    except AirpathError:
        return np.inf


def _fitted(squares: Squares, i: int, weights: _Real, start: _Real) -> _Place:
    """Return the place where one value is held as it starts and the others are fitted."""
    one = squares.free[i]
    others = [free for k, free in enumerate(squares.free) if k != i]
    held = replace(squares, case=one.put(squares.case, one.value(float(start[i]))), free=others)
    u = np.insert(held.search(np.delete(start, i), weights, robust=True, most=_STEPS, close=_ROUGHLY), i, start[i])
    way = np.eye(len(u))[i]
    try:
        left, slopes = squares.linear(u)
    except AirpathError:
        return _Place(u=u, cost=np.inf, slope=0.0, room=0.0, way=way)
    weighted, over = left / weights, slopes / weights[:, None]
    counts = huber(weighted**2, len(weighted))[1]
    rest = np.delete(over, i, axis=1)
    curvature = rest.T @ (counts[:, None] * rest) + np.eye(rest.shape[1])
    way[np.arange(len(u)) != i] = -np.linalg.solve(curvature, rest.T @ (counts * over[:, i]))
    return _Place(
        u=u, cost=cost(u, weighted), slope=2 * (float(u[i]) - float((counts * weighted) @ over[:, i])),
        room=-0.5 * float(np.linalg.slogdet(curvature)[1]), way=way,
    )  # fmt: skip
