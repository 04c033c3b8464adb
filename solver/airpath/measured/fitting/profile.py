"""The interval of a leak, whose effect on the curve is far from linear: by trying its widths one after the other.

A narrow hole lets air through against friction, a wide one against the air's mass; so a wide leak may look like another
volume, and none at all like a very narrow one. For each width tried, all else is fitted anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airpath.measured.fitting.squares import huber

_RAISE = 3.841  # of the cost, that no leak must bring to be ruled out: chi-squared at 95 %, one degree of freedom
_OUTSIDE = 0.025  # of the chance, on either side of an interval
_FINE = 4001  # places between the first and the last width tried
_Real = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Profile:
    """Least cost (n,) for each tried width ``u`` (n,) in prior widths, all else fitted: ``start`` (n, p) of all u.

    ``slope`` (n,): of the cost over u; ``room`` (n,): -ln det/2 of the rest's curvature, how much else does as well.
    """

    u: _Real
    cost: _Real
    slope: _Real
    room: _Real
    start: _Real

    def interval(self) -> tuple[float, float]:
        """Return the 95 % interval of u: 2.5 % of its chance lie on either side, whatever the rest is.

        Its density is exp(-cost/2 + room), the rest integrated by Laplace's method; the cost between the widths tried
        is a cubic of their values and slopes. Source: Tierney & Kadane 1986, J. Am. Stat. Assoc. 81, 82 (marginal
        densities), from memory. Checked by: unit/test_fit_parts against the integral itself.
        """
        kept = np.isfinite(self.cost)
        fine = np.linspace(self.u[kept][0], self.u[kept][-1], _FINE)
        height = _between(fine, self.u[kept], self.cost[kept], self.slope[kept]) / 2
        height -= np.interp(fine, self.u[kept], self.room[kept])
        chance = np.cumsum(np.exp(height.min() - height))
        low, high = np.interp([_OUTSIDE, 1 - _OUTSIDE], chance / chance[-1], fine).tolist()
        return low, high

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


def _between(at: _Real, u: _Real, value: _Real, slope: _Real) -> _Real:
    """Return the cubics with values and slopes at ``u`` (n,), no slope more than three times that of the chord, from
    where they would swing below both ends. Source: Fritsch & Carlson 1980, SIAM J. Numer. Anal. 17, 238, from memory.
    """
    k = np.clip(np.searchsorted(u, at, side="right") - 1, 0, len(u) - 2)
    wide = u[k + 1] - u[k]
    t, rise = (at - u[k]) / wide, value[k + 1] - value[k]
    first, last = (np.where(s * rise > 0, np.sign(rise) * np.minimum(np.abs(s), 3 * np.abs(rise)), s)
                   for s in (slope[k] * wide, slope[k + 1] * wide))  # fmt: skip
    return np.asarray(value[k] + t * (first + t * (3 * rise - 2 * first - last + t * (first + last - 2 * rise))))


def cost(u: _Real, weighted: _Real) -> float:
    """Return what a search makes small: Huber's loss of the weighted residual (rows,) and the squares of u."""
    return float(np.sum(huber(weighted**2, len(weighted))[0]) + np.sum(u**2))
