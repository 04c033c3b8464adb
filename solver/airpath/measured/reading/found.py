"""The features of a measured impedance: peaks, dips and ripples that stand out of its noise."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.findings.explaining.features import Kind
from airpath.measured.reading.rational import Rational, rational_fit
from airpath.measured.reading.sweep import MeasuredSweep

FloatArray = NDArray[np.float64]
_GRID = 200  # points per octave
_STANDS_OUT = 4.0  # standard deviations
_LEAST = 0.002  # of the impedance
_EDGE = 0.02  # of the frequency: nothing is said that close to the ends of the sweep
_RINGS = 1.5  # least Q of a resonance
_OWN = 1.5  # half-widths between a peak and its resonance, at most


@dataclass(frozen=True, kw_only=True)
class Found:
    """A feature of a sweep: ``impedance_ohm`` and the ``q`` of the resonance (None at dips); ``height``: how far it
    stands out of its surroundings, as a share of the impedance."""

    kind: Kind
    frequency_hz: float
    impedance_ohm: float
    q: float | None
    height: float

    def to_dict(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {"kind": self.kind, "frequency_hz": self.frequency_hz, "impedance_ohm": self.impedance_ohm, "q": self.q}


def found_features(sweep: MeasuredSweep, noise: float | None = None) -> list[Found]:
    """Return the features of a sweep in rising order; ``noise``: relative, where it is known better than from the fit.

    A smooth rational curve goes through the noise first; what it shows counts if it stands out of the noise of as many
    points as it is wide. Checked by: unit/test_found_features.
    """
    return features_in(rational_fit(sweep), noise)


def features_in(curve: Rational, noise: float | None = None) -> list[Found]:
    """Return the features of a rational curve."""
    low, high = curve.frequency[0] * (1 + _EDGE), curve.frequency[-1] * (1 - _EDGE)
    grid = _grid(curve, low, high)
    size = np.log(np.abs(curve.at(grid)))
    turns = _standing(grid, size, curve, noise)
    rings = [
        (p, r) for p, r in curve.rings
        if low < (p.imag + p.real) / (2 * np.pi) and (p.imag - p.real) / (2 * np.pi) < high
        and abs(p) > -2 * _RINGS * p.real
    ]  # fmt: skip
    out: list[Found] = []
    for i, peak, height in turns:
        hertz, ohm = _top(grid[i - 1 : i + 2], size[i - 1 : i + 2])
        own = [
            (p, r) for p, r in rings
            if abs(p.imag - 2 * np.pi * hertz) < max(-_OWN * p.real, 0.02 * 2 * np.pi * hertz)
        ]  # fmt: skip
        q = None
        if peak and own:
            behind = max(own, key=lambda pair: abs(pair[1] / pair[0].real))
            rings.remove(behind)
            q = abs(behind[0]) / (-2 * behind[0].real)
        kind: Kind = "peak" if peak else "dip"
        out.append(Found(kind=kind, frequency_hz=hertz, impedance_ohm=ohm, q=q, height=height))
    for p, r in rings:
        hertz = p.imag / (2 * np.pi)
        ohm = float(np.abs(curve.at(np.array([hertz])))[0])
        height = abs(r / p.real) / ohm
        if height > _threshold(hertz, -p.real / np.pi, curve, noise):
            q = abs(p) / (-2 * p.real)
            out.append(Found(kind="ripple", frequency_hz=hertz, impedance_ohm=ohm, q=q, height=height))
    return sorted(out, key=lambda one: one.frequency_hz)


def _top(hertz: FloatArray, size: FloatArray) -> tuple[float, float]:
    """Return frequency [Hz] and impedance [ohm] of the turn of a parabola through three points of ln|Z|."""
    bend, slope, level = (float(c) for c in np.polyfit(hertz - hertz[1], size, 2))
    step = min(max(-slope / (2 * bend), float(hertz[0] - hertz[1])), float(hertz[2] - hertz[1])) if bend else 0.0
    return float(hertz[1]) + step, math.exp(level + slope * step + bend * step**2)


def _grid(curve: Rational, low: float, high: float) -> FloatArray:
    """Return frequencies in the band, dense around sharp resonances."""
    even = np.geomspace(low, high, max(int(_GRID * np.log2(high / low)), 50))
    near = [(p.imag + p.real * np.linspace(-4, 4, 41)) / (2 * np.pi) for p, _ in curve.rings]
    every = np.unique(np.concatenate([even, *near]))
    return np.asarray(every[(every >= low) & (every <= high)])


def _threshold(hertz: float, width: float, curve: Rational, noise: float | None) -> float:
    """Return the least height that counts: the noise of the mean of the points within ``width`` [Hz].

    Between points anything can hide: what is narrower than their distance must be as much higher.
    """
    noise = curve.noise if noise is None else noise
    near = int(np.clip(np.searchsorted(curve.frequency, hertz), 1, len(curve.frequency) - 1))
    points = width / (curve.frequency[near] - curve.frequency[near - 1])
    return max(float(_STANDS_OUT * noise / (np.sqrt(points) if points > 1 else points)), _LEAST)


def _standing(
    grid: FloatArray, size: FloatArray, curve: Rational, noise: float | None
) -> list[tuple[int, bool, float]]:
    """Return (index, is a peak, height) of the turns of a curve that stand out, ends left out.

    A turn stands out by the lesser of its steps to the neighbouring turns; the least pair goes until all that stay do.
    """
    step = np.sign(np.diff(size))
    inner = np.flatnonzero(step[1:] * step[:-1] < 0) + 1
    turns = [0, *inner.tolist(), len(grid) - 1]
    while len(turns) > 2:
        steps = np.abs(np.diff(size[turns]))
        k = int(np.argmin(steps - [_limit(grid, turns, i, curve, noise) for i in range(len(steps))]))
        if steps[k] > _limit(grid, turns, k, curve, noise):
            break
        if k == 0:
            turns.pop(1)
        elif k == len(steps) - 1:
            turns.pop(-2)
        else:
            del turns[k : k + 2]
    heights = np.abs(np.diff(size[turns]))
    return [
        (turns[i], bool(size[turns[i]] > size[turns[i - 1]]), float(min(heights[i - 1], heights[i])))
        for i in range(1, len(turns) - 1)
    ]


def _limit(grid: FloatArray, turns: list[int], k: int, curve: Rational, noise: float | None) -> float:
    a, b = grid[turns[k]], grid[turns[k + 1]]
    return _threshold(float(a + b) / 2, float(b - a), curve, noise)
