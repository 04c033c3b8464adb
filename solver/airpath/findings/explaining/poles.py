"""Poles and zeros of a mobility by a rational fit, with samples enough that no sharp wave hides between two of them."""

from __future__ import annotations

import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from airpath.elements.base import ComplexArray
from airpath.findings.explaining.resonances import mobility
from airpath.network.graph import Network

if TYPE_CHECKING:
    from scipy.interpolate import AAA

_FIRST = 48  # samples that the fit starts with, at most; every second one of a short sweep
_NEARER = 0.01  # times what it may miss by between its samples, at them
_MISS = 1e-8  # of the largest value: a fit that is wrong by more between its samples has missed a wave
_ROUNDS = 6  # each halves the gaps in which the fit was wrong
_TERMS = 60
_LOCKED = 1e-9  # of what the cone would move in a vacuum: less is rounding, as before a closed plug that has no spring


def searched(
    network: Network, omega: NDArray[np.float64], moving: ComplexArray, miss: float = _MISS
) -> tuple[ComplexArray, ComplexArray]:
    """Return poles and zeros [rad/s] of a network's mobility, known as ``moving`` at ``omega`` (n,): guesses.

    The fit goes through some of the samples and is checked at one or more between any two of them. Where it is wrong,
    what checked it becomes a sample, and new points, solved for, check it there: the grid decides nothing. ``miss``: of
    the largest value, by how much it may be wrong.
    """
    used = np.zeros(len(omega), dtype=bool)
    used[np.linspace(0, len(omega) - 1, min(_FIRST, (len(omega) + 1) // 2)).astype(int)] = True
    known, values, most = omega, moving, float(np.abs(moving).max())
    if most < _LOCKED / np.abs(network.cone.mechanical(omega)).min():
        return np.zeros(0, dtype=np.complex128), np.zeros(0, dtype=np.complex128)
    for _ in range(_ROUNDS):
        at = np.flatnonzero(used)
        fit, scale = _fitted(known[used], values[used], _NEARER * miss)
        empty = at[:-1][np.diff(at) == 1]
        if len(empty):
            middle = (known[empty] + known[empty + 1]) / 2
            # with the end of the sweep: modal sums then end at the same place every time
            new = mobility(network, np.append(middle, omega[-1]))[:-1]
            known, values = np.insert(known, empty + 1, middle), np.insert(values, empty + 1, new)
            used = np.insert(used, empty + 1, False)
        wrong = ~used & (np.abs(fit(known / scale) - values) > miss * most)
        if not wrong.any():
            break
        used |= wrong
    return _between(fit, scale, omega)


def _fitted(omega: NDArray[np.float64], moving: ComplexArray, error: float) -> tuple[AAA, float]:
    """Return the fit over omega/scale, and ``scale``.

    AAA (Nakatsukasa, Sete & Trefethen 2018). Its poles that cancel with a zero come to nothing in `refine_both`.
    """
    from scipy.interpolate import AAA

    scale, most = float(np.sqrt(omega[0] * omega[-1])), max(_TERMS, len(omega) // 4)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a fit that stops early still gives guesses
        return AAA(omega / scale, moving, rtol=error, max_terms=most, clean_up=False), scale


def _between(fit: AAA, scale: float, omega: NDArray[Any]) -> tuple[ComplexArray, ComplexArray]:
    """Return those that decay and oscillate, from a little below to a little above the sweep."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = [fit.poles() * scale, fit.roots() * scale]
    low, high = omega[0] * 0.85, omega[-1] * 1.1
    poles, zeros = (w[(w.imag > 0) & (w.real > low) & (w.real < high) & (w.imag < w.real)] for w in found)
    return poles, zeros
