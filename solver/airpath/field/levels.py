"""Volume on the low side of a level of a function that is linear in every small cell: exact, by clipping.

A level t cuts an edge whose ends have the values a < t < b at the share s = (t - a)/(b - a). The cut splits the
simplex into one of the share s without b and one of the share 1 - s without a, and so on until all corners lie on one
side. That is the recurrence of B-splines (de Boor 1972, J. Approx. Theory 6, 50), in any number of dimensions; a
weight that is linear in the cell counts its corner twice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class CellValues:
    """A scalar on small simplices: ``value`` (cells, d + 1) at their corners, ``volume`` (cells, d + 1) [m^3].

    ``volume`` is the integral of each corner's hat function over the true volume: its sum is the volume of the cell.
    """

    value: Floats
    volume: Floats

    def below(self, levels: Floats) -> Floats:
        """Return the volume [m^3] where the scalar lies below each of the rising ``levels`` (n,)."""
        low, high = self.value.min(axis=1), self.value.max(axis=1)
        first, last = np.searchsorted(levels, low, side="left"), np.searchsorted(levels, high, side="left")
        whole = np.bincount(last, weights=self.volume.sum(axis=1), minlength=len(levels) + 1)[:-1]
        count = last - first
        cell = np.repeat(np.arange(len(count)), count)
        level = np.arange(len(cell)) - np.repeat(np.cumsum(count) - count, count) + first[cell]
        cut = _cut_volume(self.value[cell], self.volume[cell], levels[level])
        return np.asarray(np.cumsum(whole) + np.bincount(level, weights=cut, minlength=len(levels)))


def _cut_volume(value: Floats, volume: Floats, level: Floats) -> Floats:
    """Return the volume (n,) below ``level`` (n,) of simplices with corners (n, d + 1)."""
    if np.ptp(volume, axis=1).max(initial=0.0) <= 1e-12 * volume.max(initial=0.0):
        return np.asarray(volume.sum(axis=1) * share_below(value, level))
    total = np.zeros(len(level))
    for corner in range(value.shape[1]):
        total += volume[:, corner] * share_below(np.column_stack([value, value[:, corner]]), level)
    return total


def share_below(value: Floats, level: Floats) -> Floats:
    """Return the share of each simplex, corner values (n, k), where its linear function is below ``level`` (n,)."""
    knots = np.sort(value, axis=1).T
    under = knots <= level
    share = [under[i].astype(float) for i in range(len(knots))]
    for span in range(1, len(knots)):
        for i in range(len(knots) - span):
            low, high = knots[i], knots[i + span]
            part = np.clip((level - low) / np.where(high > low, high - low, 1.0), 0.0, 1.0)
            mixed = part * share[i] + (1.0 - part) * share[i + 1]
            share[i] = np.where(under[i + span], 1.0, np.where(under[i], mixed, 0.0))
    return np.asarray(share[0])
