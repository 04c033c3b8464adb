"""The search itself: far first and rough, then close and exact, then with the weight that the residual deserves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airpath.measured.fitting.covariance import Errors, errors
from airpath.measured.fitting.noise import Residual, residual
from airpath.measured.fitting.profile import Profile, cost
from airpath.measured.fitting.squares import Squares
from airpath.measured.fitting.tracing import profile

_ROUGH = 0.15  # of the first residual: what the first search takes for noise
_CHANGED = 0.1  # a weight that changes by more is worth another search
_ROUNDS = 2
_VALLEYS = 2  # of a leak's profile that are looked into
_Real = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Solution:
    """``u`` (p,) in prior widths, ``slopes`` (rows, p) per prior width, ``left`` (rows,) of the residual before and
    after, what each channel's residual says, the ``weights`` (rows,) in use, and
    the first profile of each leak."""

    u: _Real
    slopes: _Real
    before: _Real
    left: _Real
    channels: list[Residual]
    weights: _Real
    profiles: dict[int, Profile]

    @property
    def structural(self) -> bool:
        """Whether any sweep's residual is more than noise."""
        return any(channel.structural for channel in self.channels)

    def errors(self, held: _Real) -> Errors:
        """Return the errors of u; ``held`` (rows, q): slopes of the values that weren't free."""
        return errors(self.slopes / self.weights[:, None], held / self.weights[:, None])


def solve(squares: Squares, most: int = 40) -> Solution:
    """Fit the free values. Raises AccuracyError if the box can't be solved at the best of them."""
    zero = np.zeros(len(squares.free))
    before = squares.residual(zero)
    first = [residual(before[rows]) for rows in squares.channels]
    rough = _weights(squares, [max(r.noise, _ROUGH * r.rms) for r in first])
    u = squares.search(zero, rough, robust=False, most=most)
    weights = _weights(squares, [r.noise for r in _said(squares, squares.residual(u))])
    u = squares.search(u, weights, robust=True, most=most)
    profiles: dict[int, Profile] = {}
    for i, one in enumerate(squares.free):
        if one.is_leak:  # it may hide in other values
            profiles[i] = profile(squares, i, weights, u)
            starts = [u, *profiles[i].valleys()[:_VALLEYS]]
            ends = [squares.search(start, weights, robust=True, most=most) for start in starts]
            u = min(ends, key=lambda end: cost(end, squares.residual(end) / weights))
    for _ in range(_ROUNDS):
        said = _said(squares, squares.residual(u))
        better = _weights(squares, [r.weight for r in said])
        change = float(np.max(np.abs(better / weights - 1)))
        weights = better
        if change < _CHANGED:
            break
        u = squares.search(u, weights, robust=not any(r.structural for r in said), most=most)
    left, slopes = squares.linear(u)
    return Solution(
        u=u, slopes=slopes, before=before, left=left, channels=_said(squares, left), weights=weights, profiles=profiles
    )


def _said(squares: Squares, left: _Real) -> list[Residual]:
    return [residual(left[rows], len(squares.free) * len(left[rows]) / len(left)) for rows in squares.channels]


def _weights(squares: Squares, sizes: list[float]) -> _Real:
    return np.concatenate(
        [np.full(rows.stop - rows.start, size) for rows, size in zip(squares.channels, sizes, strict=True)]
    )
