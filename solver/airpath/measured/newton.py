"""Gauss-Newton over the logarithms of a few values of a case, towards a curve of ln Z."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.case.parameters import Parameter, parameters
from airpath.case.schema import Case
from airpath.errors import AirpathError
from airpath.measured.fitting.derivatives import Turn, slopes
from airpath.network.reuse import Seen

FloatArray = NDArray[np.float64]
_STEP = 1e-6  # relative
_LONGEST = 0.3  # of a logarithm, in one round
_SHORTER = (0.0, 0.5, 0.8, 1.0)  # of a step that leads to no box: what is taken back
_CLOSE = 1e-5  # of a logarithm: no round changes more


@dataclass(frozen=True, kw_only=True)
class Solved:
    """Values ``names`` changed by ``x`` (logarithms) with standard errors; ``case`` has them; ``squares``: what is
    left, in squares of the noise."""

    names: tuple[str, ...]
    x: FloatArray
    std: FloatArray
    squares: float
    case: Case


@dataclass(frozen=True, kw_only=True)
class Aim:
    """A curve to be met: ``log_impedance`` (n,), real where only the magnitude counts, at ``frequency`` (n,) [Hz], with
    a relative ``noise``; ``prior``: width of the logarithms of what is free, None for none; ``seen``: what elements do,
    from solves before."""

    model: str
    frequency: FloatArray
    log_impedance: NDArray[Any]
    noise: float
    prior: float | None = None
    seen: Seen = field(default_factory=Seen, compare=False, repr=False)

    @property
    def rows(self) -> int:
        """How many numbers the curve has."""
        return len(self.frequency) * (1 + int(np.iscomplexobj(self.log_impedance)))

    def at(self, case: Case, asked: Sequence[str]) -> tuple[FloatArray, FloatArray]:
        """Return what a case leaves of the curve (rows,), and its slopes over the ``asked`` logarithms (rows, k)."""
        known = parameters(case)
        turns = [_turn(known[name]) for name in asked]
        logs, over = slopes(case, self.model, 2 * np.pi * self.frequency, turns, self.seen)
        left = self.log_impedance - (logs if np.iscomplexobj(self.log_impedance) else logs.real)
        if np.iscomplexobj(left):  # the phase of a measurement is known up to whole turns
            left = left.real + 1j * ((left.imag + np.pi) % (2 * np.pi) - np.pi)
        return self._rows(left), self._rows(over)

    def solved(self, base: Case, names: Sequence[str], x: FloatArray, rounds: int) -> Solved:
        """Change the values ``names`` of a case so that it meets the curve; ``x`` (k,): where to start."""
        hold = self._hold(len(names))
        x, left, over = self._reached(base, names, x, np.zeros(len(names)))
        for _ in range(rounds):
            step = np.clip(_step(left, over, hold, x), -_LONGEST, _LONGEST)
            x, left, over = self._reached(base, names, x + step, step)
            if np.abs(step).max(initial=0.0) < _CLOSE:
                break
        case = changed(base, names, x)
        std = self.noise * np.sqrt(np.diag(np.linalg.pinv(over.T @ over + hold @ hold)))
        squares = (float(left @ left) + float(np.sum((hold @ x) ** 2))) / self.noise**2
        return Solved(names=tuple(names), x=x, std=std, squares=squares, case=case)

    def _reached(
        self, base: Case, names: Sequence[str], x: FloatArray, step: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return ``x``, or as far on the ``step`` to it as a box can be built, what is left there, and the slopes."""
        for short in _SHORTER:
            there = x - short * step
            try:
                return there, *self.at(changed(base, names, there), names)
            except AirpathError:
                if short == 1.0 or not step.any():
                    raise
        raise AssertionError("the last try returns or raises")

    def promised(self, case: Case, names: Sequence[str]) -> float:
        """Return what one step of the values ``names`` would leave, to first order, in squares of the noise."""
        left, over = self.at(case, names)
        hold = self._hold(len(names))
        step = _step(left, over, hold, np.zeros(len(names)))
        rest, pull = left - over @ step, hold @ step
        return float(rest @ rest + pull @ pull) / self.noise**2

    def _hold(self, count: int) -> FloatArray:
        """Return what the prior adds to the slopes, (count, count)."""
        return np.eye(count) * (0.0 if self.prior is None else self.noise / self.prior)

    def _rows(self, values: NDArray[Any]) -> FloatArray:
        both = np.iscomplexobj(self.log_impedance)
        return np.asarray(np.concatenate([values.real, values.imag]) if both else values.real)


def changed(case: Case, names: Sequence[str], x: FloatArray) -> Case:
    """Return a case with values changed by factors e^x."""
    for name, log in zip(names, x.tolist(), strict=True):
        known = parameters(case)[name]
        case = known.changed(known.value * float(np.exp(log)))
    return case


def _step(left: FloatArray, over: FloatArray, hold: FloatArray, x: FloatArray) -> FloatArray:
    """Return the step (k,) from ``x`` that leaves the least, to first order, with the pull of the prior."""
    found = np.linalg.lstsq(np.concatenate([over, hold]), np.concatenate([left, -hold @ x]), rcond=None)[0]
    return np.asarray(found)


def _turn(parameter: Parameter) -> Turn:
    span = float(np.log1p(_STEP))
    up, down = (parameter.changed(parameter.value * float(np.exp(turn))) for turn in (span, -span))
    return Turn(case=up, span=span, back=down)
