"""The classical reading of a driver's impedance peak: by ruler, without a fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airpath.errors import SweepError
from airpath.measured.reading.sweep import MeasuredSweep

_CAP = 0.1  # of ln|Z|
_LEAST = 0.05  # of ln|Z|: how far a peak stands out
_EXPECTED = "the sweep of a driver must hold its resonance with both flanks, half to twice its frequency"


@dataclass(frozen=True, kw_only=True)
class Peak:
    """A resonance read from the curve: ``f0`` [Hz], ``top`` [ohm], ``f1`` and ``f2`` [Hz] where |Z| = sqrt(top Re)."""

    f0: float
    top: float
    f1: float
    f2: float
    Re: float

    @property
    def Qms(self) -> float:
        """f0 sqrt(r0)/(f2 - f1) with r0 = top/Re."""
        return self.f0 * float(np.sqrt(self.top / self.Re)) / (self.f2 - self.f1)

    @property
    def Qes(self) -> float:
        """Qms/(r0 - 1)."""
        return self.Qms / (self.top / self.Re - 1)

    @property
    def Qts(self) -> float:
        """Qms/r0."""
        return self.Qms * self.Re / self.top


def main_peak(sweep: MeasuredSweep) -> int:
    """Return the index of the peak that stands out most. Raises SweepError if there is none."""
    from scipy.signal import find_peaks

    found, how = find_peaks(np.log(sweep.magnitude), prominence=_LEAST)
    if not len(found):
        raise SweepError(f"{sweep.source.name}: no peak stands out in the impedance: {_EXPECTED}")
    return int(found[int(np.argmax(how["prominences"]))])


def _cap(size: NDArray[np.float64], at: int) -> slice:
    """Return the points around a top within a tenth of it, three at least."""
    low = np.flatnonzero(size[:at] < size[at] - _CAP)
    high = np.flatnonzero(size[at:] < size[at] - _CAP)
    first = low[-1] + 1 if len(low) else 0
    last = at + high[0] if len(high) else len(size)
    return slice(int(min(first, max(at - 1, 0))), int(max(last, at + 2)))


def read_peak(sweep: MeasuredSweep, Re: float) -> Peak:
    """Read the resonance of a driver from its curve; ``Re`` [ohm] is its resistance at DC.

    The top is that of a parabola through the highest points, f1 and f2 are found on the straight line (in logarithms)
    between points. Raises SweepError when a flank is missing.
    Source: IEC 60268-5 (from memory) and Small 1972, J. Audio Eng. Soc. 20, 383: f1 and f2 at |Z| = Re sqrt(r0).
    Checked by: published/test_driver_sweeps.
    """
    at = main_peak(sweep)
    logs, size = np.log(sweep.frequency), np.log(sweep.magnitude)
    near = _cap(size, at)
    bend, slope, level = np.polyfit(logs[near] - logs[at], size[near] - size[at], 2)
    top = -slope / (2 * bend) if bend < 0 else 0.0
    height = float(np.exp(size[at] + level + slope * top + bend * top**2))
    level = 0.5 * (np.log(height) + np.log(Re))
    low = np.flatnonzero(size[:at] < level)
    high = np.flatnonzero(size[at:] < level)
    if height <= Re or not len(low) or not len(high):
        side = "below" if not len(low) else "above"
        raise SweepError(f"{sweep.source.name}: the flank {side} the peak at {sweep.frequency[at]:.4g} Hz does not "
                         f"come down to {np.exp(level):.3g} ohm: {_EXPECTED}")  # fmt: skip
    ends = []
    for a, b in ((low[-1], low[-1] + 1), (at + high[0], at + high[0] - 1)):
        share = (level - size[a]) / (size[b] - size[a])
        ends.append(float(np.exp(logs[a] + share * (logs[b] - logs[a]))))
    return Peak(f0=float(np.exp(logs[at] + top)), top=height, f1=ends[0], f2=ends[1], Re=Re)
