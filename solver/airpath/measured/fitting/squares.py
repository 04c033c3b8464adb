"""The least squares behind a fit: residuals of ln Z over all sweeps, their slopes, and the search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from airpath.case.schema import Case
from airpath.errors import AirpathError
from airpath.measured.fitting.derivatives import Turn, log_impedance, slopes
from airpath.measured.fitting.freedom import Free
from airpath.network.reuse import Seen

_OUTLIER = 3.0  # standard deviations, from where a point counts less
_REFUSED = 1e6  # residual of a case that can't be solved
_Real = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Target:
    """One sweep to be met: ``omega`` (n,) [rad/s], ``log_impedance`` ln Z (n,), real if only the magnitude is known,
    with the ends of the ports named in ``covered`` capped."""

    omega: _Real
    log_impedance: NDArray[np.complex128] | _Real
    covered: tuple[str, ...] = ()

    @property
    def channels(self) -> int:
        """2 with phase, 1 without."""
        return 2 if np.iscomplexobj(self.log_impedance) else 1


def covered(case: Case, names: Sequence[str]) -> Case:
    """Return a case with a cap on the far end of some ports."""
    if not names:
        return case
    ports = {n: p.model_copy(update={"covered": True}) if n in names else p for n, p in case.ports.items()}
    return case.model_copy(update={"ports": ports})


@dataclass(frozen=True, kw_only=True)
class Squares:
    """A fit of ``free`` values of ``case`` to ``targets`` in one fidelity; all residuals are relative (or radians).

    ``seen``: what elements do, from solves before.
    """

    case: Case
    model: str
    free: list[Free]
    targets: list[Target]
    seen: Seen = field(default_factory=Seen, compare=False, repr=False)

    def at(self, u: _Real) -> Case:
        """Return the case for free values ``u`` (p,) in prior widths."""
        case = self.case
        for one, move in zip(self.free, u.tolist(), strict=True):
            case = one.put(case, one.value(move))
        return case

    @property
    def channels(self) -> list[slice]:
        """The rows of each sweep's magnitude and phase."""
        sizes = [len(t.omega) for t in self.targets for _ in range(t.channels)]
        ends = np.cumsum([0, *sizes]).tolist()
        return [slice(a, b) for a, b in pairwise(ends)]

    def curve(self, u: _Real, i: int) -> NDArray[np.complex128]:
        """Return ln Z of the model for one of the targets (n,)."""
        one = self.targets[i]
        return log_impedance(covered(self.at(u), one.covered), self.model, one.omega, self.seen)

    def residual(self, u: _Real) -> _Real:
        """Return ln Z measured less ln Z of the model (rows,)."""
        return np.concatenate([_rows(t, t.log_impedance - self.curve(u, i)) for i, t in enumerate(self.targets)])

    def linear(self, u: _Real, held: list[Free] | None = None) -> tuple[_Real, _Real]:
        """Return residual (rows,) and slopes of the model (rows, p) per prior width: of ``free``, or of held values."""
        case = self.at(u)
        turned = list(zip(self.free, u.tolist(), strict=True)) if held is None else [(one, 0.0) for one in held]
        parts = [self._one(case, target, turned) for target in self.targets]
        return np.concatenate([left for left, _ in parts]), np.concatenate([right for _, right in parts])

    def _one(self, case: Case, target: Target, turned: list[tuple[Free, float]]) -> tuple[_Real, _Real]:
        def side(one: Free, move: float) -> Case:
            return covered(one.put(case, one.value(move)), target.covered)

        turns = [
            Turn(case=side(one, move + one.step()), span=one.step(), back=side(one, move - one.step()))
            for one, move in turned
        ]
        value, slope = slopes(covered(case, target.covered), self.model, target.omega, turns, self.seen)
        return _rows(target, target.log_impedance - value), _rows(target, slope)

    def search(self, start: _Real, deviation: _Real, robust: bool, most: int = 40, close: float = 1e-8) -> _Real:
        """Return the best u (p,) near a start; ``deviation`` (rows,): noise of each point.

        ``close``: relative change of the cost at which to stop.
        """
        from scipy.optimize import least_squares

        def fun(u: _Real) -> _Real:
            try:
                return np.concatenate([self.residual(u) / deviation, u])
            except AirpathError:
                return np.full(len(deviation) + len(u), _REFUSED)

        def jac(u: _Real) -> _Real:
            return np.concatenate([-self.linear(u)[1] / deviation[:, None], np.eye(len(u))])

        if not self.free:
            return start
        limits = np.array([one.limits() for one in self.free]).T
        inside = np.clip(start, limits[0] + 1e-9, limits[1] - 1e-9)
        loss = (lambda z: huber(z, len(deviation))) if robust else "linear"
        found = least_squares(fun, inside, jac, bounds=tuple(limits), loss=loss, ftol=close, xtol=1e-6, max_nfev=most)
        return np.asarray(found.x)


def _rows(target: Target, values: NDArray[np.complex128] | _Real) -> _Real:
    """Return magnitude rows, then phase rows; a phase is wrapped to within half a turn."""
    if target.channels == 1:
        return np.asarray(values.real)
    imaginary = values.imag if values.ndim > 1 else (values.imag + np.pi) % (2 * np.pi) - np.pi
    return np.concatenate([values.real, imaginary])


def huber(z: _Real, points: int) -> _Real:
    """Return Huber's loss and its two derivatives over z = r^2, (3, rows): for the points, not for the priors.

    Source: Huber 1964, Ann. Math. Stat. 35, 73, from memory. Checked by: unit/test_fit_parts.
    """
    out = np.stack([z, np.ones_like(z), np.zeros_like(z)])
    far = np.flatnonzero(z[:points] > _OUTLIER**2)
    root = np.sqrt(z[far])
    out[:, far] = 2 * _OUTLIER * root - _OUTLIER**2, _OUTLIER / root, -_OUTLIER / (2 * root**3)
    return out
