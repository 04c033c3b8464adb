"""The impedance of a driver in free air or a closed box as a circuit, with its slopes, and its fit to sweeps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.measured.reading.sweep import MeasuredSweep

FloatArray = NDArray[np.float64]
NAMES = ("Re", "Le", "Le2", "Re2", "Res", "f0", "Q")
_FLOOR = 1e-5  # numbers in a file are rounded to about this
_OUTLIER = 6.0  # robust standard deviations
_MOST_OUTLIERS = 0.02  # of the points


@dataclass(frozen=True, kw_only=True)
class Circuit:
    """Where each of ``NAMES`` of one sweep comes from: ln value = ``matrix`` (7, k) x + ``offset`` (7,).

    A coil part that is not there has an offset of -inf.
    """

    matrix: FloatArray
    offset: FloatArray

    def logs(self, x: FloatArray) -> FloatArray:
        """Return the natural logarithms of the seven values."""
        return np.asarray(self.matrix @ x + self.offset)


@dataclass(frozen=True, kw_only=True)
class Fit:
    """A fit of shared unknowns ``x`` (k,) to several sweeps: ``covariance`` (k, k), ``noise``: relative standard
    deviation of a point, ``residuals``: per sweep ln(model) - ln(measured), complex or real (n,), ``criterion``: Bayes
    information criterion (Schwarz 1978, Ann. Statist. 6, 461, from memory), ``dropped``: per sweep the outliers left
    out [Hz]."""

    x: FloatArray
    covariance: FloatArray
    noise: float
    residuals: list[NDArray[Any]]
    criterion: float
    dropped: list[FloatArray]


def impedance(logs: FloatArray, frequency: FloatArray) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    """Return Z (n,) [ohm] of the circuit and its slopes over ``logs`` (n, 7).

    Z = Re + jw Le + (jw Le2 parallel to Re2) + Res/(1 + j Q (f/f0 - f0/f)).
    Source: Small 1972, J. Audio Eng. Soc. 20, 383 (electrical equivalent of a driver).
    Checked by: published/test_driver_sweeps.
    """
    Re, Le, Le2, Re2, Res, f0, Q = np.exp(logs)
    s = 2j * np.pi * frequency
    u = frequency / f0
    below = 1 + 1j * Q * (u - 1 / u)
    motion = Res / below
    slopes = np.zeros((len(frequency), len(NAMES)), dtype=np.complex128)
    slopes[:, 0] = Re
    slopes[:, 1] = s * Le
    pair = np.zeros_like(s)
    if Le2 > 0:
        both = s * Le2 + Re2
        pair = s * Le2 * Re2 / both
        slopes[:, 2], slopes[:, 3] = pair * Re2 / both, pair * s * Le2 / both
    slopes[:, 4] = motion
    slopes[:, 5] = motion / below * 1j * Q * (u + 1 / u)
    slopes[:, 6] = -motion / below * 1j * Q * (u - 1 / u)
    return Re + s * Le + pair + motion, slopes


def fit(sweeps: Sequence[MeasuredSweep], circuits: Sequence[Circuit], start: FloatArray) -> Fit:
    """Fit the unknowns that the circuits share to sweeps: least squares of ln Z, of ln|Z| where there is no phase.

    Points further off than six robust standard deviations are left out if they are few (mains hum, a knock).
    """
    keep = [np.ones(len(sweep.frequency), dtype=bool) for sweep in sweeps]
    x = _solve(sweeps, circuits, keep, start)
    found = _residuals(sweeps, circuits, x)[0]
    size = np.concatenate([np.abs(r) for r in found])
    limit = _OUTLIER * max(float(np.median(size)) / 0.6745, _FLOOR)
    bad = [np.abs(r) > limit for r in found]
    if 0 < sum(b.sum() for b in bad) <= _MOST_OUTLIERS * len(size):
        keep = [~b for b in bad]
        x = _solve(sweeps, circuits, keep, x)
    return _judged(sweeps, circuits, keep, x)


def _solve(
    sweeps: Sequence[MeasuredSweep], circuits: Sequence[Circuit], keep: list[NDArray[np.bool_]], start: FloatArray
) -> FloatArray:
    from scipy.optimize import least_squares

    def stacked(x: FloatArray) -> FloatArray:
        return _real([r[k] for r, k in zip(_residuals(sweeps, circuits, x)[0], keep, strict=True)])

    def slopes(x: FloatArray) -> FloatArray:
        return _real([s[k] for s, k in zip(_residuals(sweeps, circuits, x)[1], keep, strict=True)])

    low, high = start - 7.0, start + 7.0  # a factor of a thousand
    return np.asarray(least_squares(stacked, start, jac=slopes, bounds=(low, high), x_scale="jac", max_nfev=200).x)


def _residuals(
    sweeps: Sequence[MeasuredSweep], circuits: Sequence[Circuit], x: FloatArray
) -> tuple[list[NDArray[Any]], list[NDArray[Any]]]:
    """Return per sweep ln(model/measured) (n,) and its slopes over x (n, k), real where there is no phase."""
    values: list[NDArray[Any]] = []
    slopes: list[NDArray[Any]] = []
    for sweep, circuit in zip(sweeps, circuits, strict=True):
        z, over = impedance(circuit.logs(x), sweep.frequency)
        relative = (over @ circuit.matrix) / z[:, None]
        measured = sweep.impedance
        if measured is None:
            values.append(np.log(np.abs(z) / sweep.magnitude))
            slopes.append(relative.real)
        else:
            values.append(np.log(z / measured))
            slopes.append(relative)
    return values, slopes


def _real(parts: list[NDArray[Any]]) -> FloatArray:
    """Stack complex arrays as their real and imaginary parts."""
    return np.concatenate([half for p in parts for half in ((p.real, p.imag) if np.iscomplexobj(p) else (p,))])


def _judged(
    sweeps: Sequence[MeasuredSweep], circuits: Sequence[Circuit], keep: list[NDArray[np.bool_]], x: FloatArray
) -> Fit:
    """Say how well a fit holds. Residuals that hang together from point to point carry less than their number says:
    the covariance grows by (1 + r)/(1 - r) with their correlation r from one point to the next."""
    values, slopes = _residuals(sweeps, circuits, x)
    kept = [v[k] for v, k in zip(values, keep, strict=True)]
    matrix = _real([s[k] for s, k in zip(slopes, keep, strict=True)])
    flat = _real(kept)
    squares = float(flat @ flat)
    freedom = max(len(flat) - len(x), 1)
    noise = max(np.sqrt(squares / freedom), 1e-9)
    along = sum(float((v[1:] * v[:-1].conj()).real.sum()) for v in kept) / max(squares, 1e-300)
    hang = float(np.clip(along, 0.0, 0.95))
    scale = 1 / np.maximum(np.linalg.norm(matrix, axis=0), 1e-300)
    inverse = np.linalg.pinv((matrix * scale).T @ (matrix * scale), rcond=1e-13, hermitian=True)
    covariance = noise**2 * (1 + hang) / (1 - hang) * inverse * np.outer(scale, scale)
    criterion = len(flat) * np.log(max(squares / len(flat), _FLOOR**2)) + len(x) * np.log(len(flat))
    return Fit(
        x=x, covariance=covariance, noise=float(noise), residuals=values, criterion=float(criterion),
        dropped=[s.frequency[~k] for s, k in zip(sweeps, keep, strict=True)],
    )  # fmt: skip
