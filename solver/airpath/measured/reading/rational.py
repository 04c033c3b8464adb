"""A rational function through a measured impedance: poles, residues, and the noise left over."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.measured.reading.bode import phase_of
from airpath.measured.reading.sweep import MeasuredSweep

ComplexArray = NDArray[Any]  # complex
FloatArray = NDArray[np.float64]
_NARROWEST = 0.01  # width of a resonance over the distance of the points, at least
_MOST_POINTS = 800
_MOST_PAIRS = 16
_ROUNDS = 10
_PATIENCE = 3
_FLOOR = 2e-5
_BETTER = 6.0  # of the information criterion: strong evidence (Kass & Raftery 1995, from memory)
_SMOOTH = 3  # points over which what is left is averaged
_NEW = 0.02  # damping of a new pole, of its frequency


@dataclass(frozen=True, kw_only=True)
class Rational:
    """Z(s) = ``constant`` + s ``slope`` + sum residue/(s - pole) over ``frequency`` (n,) [Hz] with ``impedance`` (n,).

    ``poles`` and ``residues`` (k,): real ones and, of conjugate pairs, both; ``left`` (n,): relative size of
    what is left over, ``noise`` its rms for the freedom that the fit leaves.
    """

    frequency: FloatArray
    impedance: ComplexArray
    poles: ComplexArray
    residues: ComplexArray
    constant: float
    slope: float
    left: FloatArray
    noise: float

    def at(self, frequency: FloatArray) -> ComplexArray:
        """Return the impedance [ohm] at frequencies (m,) [Hz]."""
        s = 2j * np.pi * frequency
        return np.asarray(self.constant + s * self.slope + (1 / (s[:, None] - self.poles)) @ self.residues)

    @cached_property
    def rings(self) -> list[tuple[complex, complex]]:
        """(pole, residue) of the pairs that swing within the band, rising: the one with the positive frequency.

        A pole whose width is a small part of the distance of the points belongs to no point: it is left out.
        """
        low, high = 2 * np.pi * self.frequency[[0, -1]]
        step = float(np.median(np.diff(np.log(self.frequency))))
        found = [
            (p, r)
            for p, r in zip(self.poles.tolist(), self.residues.tolist(), strict=True)
            if low < p.imag < high and -2 * p.real > _NARROWEST * step * p.imag
        ]
        return sorted(found, key=lambda pair: pair[0].imag)


def rational_fit(sweep: MeasuredSweep) -> Rational:
    """Fit a sweep with as many poles as its noise allows; without phase, with the phase that belongs to its magnitude.

    Vector fitting (Gustavsen & Semlyen 1999, IEEE Trans. Power Delivery 14, 1052, from memory), points weighted by
    1/|Z|; one pair of poles after the other where the most is left over, their number by the Bayes information
    criterion. A missing phase starts as the one that Bode's relation gives and is then that of the fit, round by round.
    Checked by: unit/test_found_features.
    """
    frequency, impedance = _points(sweep)
    with_phase = sweep.phase_deg is not None
    best, score, worse = None, np.inf, 0
    rows = len(frequency) * (2 if with_phase else 1)
    middle = 2 * np.pi * float(np.sqrt(frequency[0] * frequency[-1]))
    s = 2j * np.pi * frequency / middle
    poles = np.array([-2 * abs(s[-1]) + 0j])
    left = np.abs(impedance)
    for pairs in range(1, _MOST_PAIRS + 1):
        if 4 * pairs + 3 >= len(frequency):
            break
        worst = s[int(np.argmax(np.convolve(left, np.ones(_SMOOTH), "same")))]
        poles = np.concatenate([poles, [worst - _NEW * abs(worst)]])
        found, poles = _vector_fit(frequency, impedance, poles, middle, with_phase)
        left = found.left
        criterion = rows * np.log(max(found.noise, _FLOOR) ** 2) + (4 * pairs + 4) * np.log(rows)
        if criterion < score - _BETTER:
            best, score, worse = found, criterion, 0
        else:
            worse += 1
        if worse > _PATIENCE or found.noise < _FLOOR:
            break
    assert best is not None
    return best


def _left(fitted: ComplexArray, impedance: ComplexArray, with_phase: bool) -> NDArray[Any]:
    """Return what a fit leaves over, relative: of the magnitude alone if the phase was not measured."""
    return fitted / impedance - 1 if with_phase else np.log(np.abs(fitted / impedance))


def _points(sweep: MeasuredSweep) -> tuple[FloatArray, ComplexArray]:
    """Return frequencies and complex impedances; of very many points ``_MOST_POINTS``, evenly spread over log f."""
    pick = np.arange(len(sweep.frequency))
    if len(pick) > _MOST_POINTS:
        even = np.geomspace(sweep.frequency[0], sweep.frequency[-1], _MOST_POINTS)
        pick = np.unique(np.searchsorted(sweep.frequency, even * (1 - 1e-12)))
    frequency, magnitude = sweep.frequency[pick], sweep.magnitude[pick]
    if sweep.phase_deg is not None:
        return frequency, magnitude * np.exp(1j * np.deg2rad(sweep.phase_deg[pick]))
    return frequency, magnitude * np.exp(1j * np.deg2rad(phase_of(frequency, magnitude)[0]))


def _vector_fit(
    frequency: FloatArray, impedance: ComplexArray, poles: ComplexArray, middle: float, with_phase: bool
) -> tuple[Rational, ComplexArray]:
    """Move poles by the zeros of the weight function until they stay, then solve for the residues.

    ``poles`` (k,) in units of ``middle`` [rad/s], one of each pair and the real ones, are returned as they ended.
    """
    s, size = 2j * np.pi * frequency / middle, np.abs(impedance)
    target = impedance
    for _ in range(_ROUNDS):
        own = _basis(s, poles)
        sides = _sides(s, own)
        matrix = np.concatenate([sides, -target[:, None] * own], axis=1) / size[:, None]
        poles = _moved(poles, _least(matrix, target / size)[-own.shape[1] :])
        if not with_phase:
            sides = _sides(s, _basis(s, poles))
            fitted = sides @ _least(sides / size[:, None], target / size)
            target = size * np.exp(1j * np.angle(fitted))
    sides = _sides(s, _basis(s, poles))
    solved = _least(sides / size[:, None], target / size)
    left = _left(sides @ solved, impedance, with_phase)
    rows = len(s) * (2 if with_phase else 1)
    every, residues = _spelled_out(poles, solved)
    fit = Rational(
        frequency=frequency, impedance=impedance, poles=every * middle, residues=residues * middle,
        constant=float(solved[-2]), slope=float(solved[-1]) / middle, left=np.abs(left),
        noise=float(np.sqrt(np.sum(np.abs(left) ** 2) / max(rows - 2 * len(solved), 1))),
    )  # fmt: skip
    return fit, poles


def _sides(s: ComplexArray, own: ComplexArray) -> ComplexArray:
    """Return partial fractions with a constant and a slope, (n, terms + 2)."""
    return np.concatenate([own, np.ones((len(s), 1)), s[:, None]], axis=1)


def _basis(s: ComplexArray, poles: ComplexArray) -> ComplexArray:
    """Return the real-coefficient partial fractions (n, terms): two for a pair (Im > 0), one for a real pole."""
    columns = []
    for p in poles:
        if p.imag > 0:
            columns += [1 / (s - p) + 1 / (s - p.conjugate()), 1j / (s - p) - 1j / (s - p.conjugate())]
        else:
            columns.append(1 / (s - p))
    return np.stack(columns, axis=1)


def _least(matrix: ComplexArray, right: ComplexArray) -> FloatArray:
    """Return the real least-squares solution, columns scaled to the same length."""
    stacked: FloatArray = np.concatenate([matrix.real, matrix.imag])
    scale = 1 / np.maximum(np.linalg.norm(stacked, axis=0), 1e-300)
    solved = np.linalg.lstsq(stacked * scale, np.concatenate([right.real, right.imag]), rcond=1e-12)[0]
    return np.asarray(solved * scale)


def _moved(poles: ComplexArray, weight: FloatArray) -> ComplexArray:
    """Return the zeros of 1 + sum weight/(s - pole), mirrored to decay: one of each pair, and the real."""
    size = len(weight)
    matrix, drive = np.zeros((size, size)), np.zeros(size)
    k = 0
    for p in poles:
        if p.imag > 0:
            matrix[k : k + 2, k : k + 2] = [[p.real, p.imag], [-p.imag, p.real]]
            drive[k] = 2.0
            k += 2
        else:
            matrix[k, k], drive[k] = p.real, 1.0
            k += 1
    found = np.linalg.eigvals(matrix - np.outer(drive, weight))
    found = np.where(found.real > 0, -found.conj(), found)
    real = np.abs(found.imag) < 1e-9 * np.abs(found)
    return np.concatenate([found[(found.imag > 0) & ~real], found[real].real + 0j])


def _spelled_out(poles: ComplexArray, solved: NDArray[Any]) -> tuple[ComplexArray, ComplexArray]:
    every: list[complex] = []
    residues: list[complex] = []
    k = 0
    for p in poles.tolist():
        if p.imag > 0:
            r = complex(solved[k], solved[k + 1])
            every += [p, p.conjugate()]
            residues += [r, r.conjugate()]
            k += 2
        else:
            every.append(p)
            residues.append(complex(solved[k]))
            k += 1
    return np.array(every), np.array(residues)
