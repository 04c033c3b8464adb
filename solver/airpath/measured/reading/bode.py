"""Phase from magnitude: an impedance is minimum-phase, so one gives the other, but for what lies outside the band."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
_END = 8  # points that give the slope at the upper end


def phase_of(frequency: FloatArray, magnitude: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the phase [degrees] (n,) that belongs to a magnitude (n,) [ohm], and a bound of its error (n,) [degrees].

    Below the band |Z| is held constant, above it keeps its slope between that of a resistance (0) and of an inductance
    (1). The bound is for an impedance that outside the band stays within the largest and smallest of the band, or rises
    with another such slope. Noise of the magnitude comes on top.

    Symbols: phase(u0) = (1/pi) int dln|Z|/du ln coth(|u - u0|/2) du, u = ln f; ln|Z| straight between points, so that
    the integral is a sum of dilogarithms. Source: Bode 1945, Network Analysis and Feedback Amplifier Design, ch. 14,
    from memory.
    Checked by: unit/test_sweep_checks.
    """
    u, size = np.log(frequency), np.log(magnitude)
    slopes = np.diff(size) / np.diff(u)
    weight = np.diff(_weight(u[:, None] - u[None, :]), axis=0)  # (n - 1, n)
    above = np.pi**2 / 4 - _weight(u[-1] - u)
    end = float(np.clip(np.polyfit(u[-_END:], size[-_END:], 1)[0], 0.0, 1.0)) if len(u) >= _END else 0.0
    angle = (slopes @ weight + end * above) / np.pi
    swing = [max(size.max() - size[k], size[k] - size.min()) for k in (0, -1)]
    bound = sum(swing[k] * _kernel(np.abs(u - u[k])) for k in (0, -1)) + max(end, 1 - end) * above
    return np.rad2deg(angle), np.rad2deg(bound / np.pi)


def _kernel(x: FloatArray) -> FloatArray:
    """Return ln coth(x/2), x >= 0."""
    return np.asarray(-np.log(np.tanh(np.maximum(x, 1e-6) / 2)))


def _weight(x: NDArray[np.float64]) -> FloatArray:
    """Return int_0^x ln coth(|t|/2) dt; pi^2/4 at infinity."""
    from scipy.special import spence

    z = np.exp(-np.abs(x))
    return np.asarray(np.sign(x) * (np.pi**2 / 4 - (spence(1 - z) - spence(1 + z))))
