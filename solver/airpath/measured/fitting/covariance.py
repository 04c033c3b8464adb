"""How well fitted values are known, and which of them can't be told apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_TIED = 0.9  # correlation from which two values are not told apart
_Real = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Tie:
    """Two fitted values that the data can't tell apart: ``correlation`` of what is not known of them."""

    first: str
    second: str
    correlation: float


@dataclass(frozen=True, kw_only=True)
class Errors:
    """Errors of the free values in prior widths: ``noise`` (p, p), the covariance that noise and priors leave;
    ``carried`` (p, q): how far each goes wrong when a held value is off by its own prior width."""

    noise: _Real
    carried: _Real

    @property
    def total(self) -> _Real:
        """The covariance with what the held values may be off by (p, p)."""
        return np.asarray(self.noise + self.carried @ self.carried.T)


def errors(weighted: _Real, held: _Real) -> Errors:
    """Return the errors of the free values.

    ``weighted`` (n, p): slopes of the curve per prior width over the noise; ``held`` (n, q): the same for the values
    that were not free.
    Source: Schmidt 1966, Adv. Control Systems 3, 293 (the consider covariance), from memory.
    Checked by: unit/test_fit_parts.
    """
    inner = np.linalg.inv(weighted.T @ weighted + np.eye(weighted.shape[1]))
    inner = (inner + inner.T) / 2
    return Errors(noise=inner, carried=inner @ (weighted.T @ held))


def ties(names: list[str], covariance: _Real) -> list[Tie]:
    """Return the pairs of values that move together, the closest first."""
    deviation = np.sqrt(np.diag(covariance))
    alike = covariance / np.outer(deviation, deviation)
    out = [
        Tie(first=names[i], second=names[j], correlation=float(alike[i, j]))
        for i in range(len(names))
        for j in range(i + 1, len(names))
        if abs(alike[i, j]) > _TIED
    ]
    return sorted(out, key=lambda tie: -abs(tie.correlation))


def groups(pairs: list[Tie]) -> list[list[str]]:
    """Return the values that hang together by pairs, as lists of names."""
    out: list[list[str]] = []
    for pair in pairs:
        touched = [group for group in out if pair.first in group or pair.second in group]
        merged = list(dict.fromkeys([name for group in touched for name in group] + [pair.first, pair.second]))
        out = [group for group in out if group not in touched] + [merged]
    return out
