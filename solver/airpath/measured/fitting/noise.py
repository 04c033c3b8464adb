"""What is left of a sweep when the model is taken off: how much of it is noise, and whether it is noise at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airpath.measured.reading.checks import roughness

FINEST = 1e-4  # no bench reads an impedance better than 0.01 %
_FEW = 8  # points: fewer tell nothing of their scatter
_SURE = 5.0  # standard deviations
_MATTERS = 1.05  # rms over noise
_WORST = 0.1  # no bench is as noisy as this: the curve is another one
_SPIKE = 6.0  # times the noise
_Real = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Residual:
    """The residual of one sweep's magnitude or phase, relative (or in radians).

    ``rms`` of it, outliers apart; ``noise``: its scatter from point to point; ``run``: over how many neighbouring
    points it holds on, 1 for noise; ``doubt``: by how many standard deviations it is smoother than noise.
    """

    rms: float
    noise: float
    run: float
    doubt: float

    @property
    def structural(self) -> bool:
        """Whether the model misses something that is no noise."""
        return (self.doubt > _SURE and self.rms > _MATTERS * self.noise) or self.rms > _WORST

    @property
    def weight(self) -> float:
        """Return the standard deviation with which each point counts: a misfit counts once a run, not once a point."""
        return max(self.rms * float(np.sqrt(self.run)), self.noise) if self.structural else max(self.rms, FINEST)


def residual(values: _Real, freedom: float = 0.0) -> Residual:
    """Return what a residual (n,) says of itself; ``freedom``: how many fitted values these points have paid for.

    The mean square of successive differences over twice the mean square is 1 for noise and less for what is smooth.
    Source: von Neumann 1941, Ann. Math. Stat. 12, 367, from memory. Checked by: unit/test_fit_parts.
    """
    n = len(values)
    core = despiked(values) if n >= _FEW else values
    rms = float(np.sqrt(np.sum(core**2) / max(n - freedom, 1.0)))
    if n < _FEW:
        return Residual(rms=rms, noise=max(rms, FINEST), run=1.0, doubt=0.0)
    power = float(np.mean(core**2))
    ratio = float(np.mean(np.diff(core) ** 2)) / (2 * power) if power > 0 else 1.0
    doubt = float((1 - ratio) * np.sqrt(n))
    return Residual(rms=rms, noise=max(scatter(values), FINEST), run=run_length(core), doubt=doubt)


def scatter(values: _Real) -> float:
    """Return the standard deviation of the noise on a smooth curve (n,); of few points, that of all they differ by."""
    return roughness(values) if len(values) >= _FEW else float(np.std(values))


def run_length(values: _Real) -> float:
    """Return over how many neighbouring points a residual (n,) holds on: 1 + 2 x its autocorrelation, up to its end."""
    n = len(values)
    power = float(np.sum(values**2))
    if power == 0.0:
        return 1.0
    total = 1.0
    for lag in range(1, n // 2):
        alike = float(np.sum(values[lag:] * values[:-lag])) / power
        if alike < 2 / np.sqrt(n):
            break
        total += 2 * alike
    return total


def despiked(values: _Real) -> _Real:
    """Return values (n,) with single far ones, outliers of the bench, brought back to the median about them."""
    padded = np.pad(values, 2, mode="reflect")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    far = np.abs(values - middle) > _SPIKE * max(scatter(values), FINEST)
    return np.where(far, middle, values)
