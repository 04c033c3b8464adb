"""Which values a sweep can tell apart, and why the others are left alone."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

TELLING = 3.0  # a direction that the data know this many times better than the prior is worth fitting
_SEEN = 1.0
_ALIKE = 0.98
_Real = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Choice:
    """One value and whether the data can tell it from the others; ``strength``: how many times its prior width moves
    the curve by more than the noise does, all points together; ``why`` in words; ``like``: the
    value taken that acts alike, or "".
    """

    name: str
    taken: bool
    strength: float
    why: str
    like: str = ""


def choose(names: list[str], weighted: _Real) -> list[Choice]:
    """Choose the values to fit from the slopes of the curve, (n, len(names)), per prior width and over the noise.

    As many as there are singular values above 3; which ones, by pivoted QR of their singular vectors.
    Source: Golub, Klema & Stewart 1976, Rank degeneracy and least squares problems (subset selection), from memory.
    Checked by: unit/test_fit_parts.
    """
    from scipy.linalg import qr

    strength = np.linalg.norm(weighted, axis=0)
    _, singular, across = np.linalg.svd(weighted, full_matrices=False)
    rank = int(np.sum(singular > TELLING))
    order = qr(across[:rank], pivoting=True, mode="r")[1] if rank else np.arange(0)
    taken = [int(i) for i in order[:rank]]
    return [
        Choice(
            name=name, taken=i in taken, strength=float(strength[i]), like=(like := _like(i, names, weighted, taken)),
            why=_why(i, weighted, strength, taken, like),
        )
        for i, name in enumerate(names)
    ]  # fmt: skip


def _like(i: int, names: list[str], weighted: _Real, taken: list[int]) -> str:
    """Return the value taken that changes the curve just as another does, or ""."""
    own, others = weighted[:, i], weighted[:, taken]
    if i in taken or not taken or not own.any():
        return ""
    cosine = np.abs(own @ others) / (np.linalg.norm(own) * np.linalg.norm(others, axis=0))
    best = int(np.argmax(cosine))
    return names[taken[best]] if cosine[best] > _ALIKE else ""


def _why(i: int, weighted: _Real, strength: _Real, taken: list[int], like: str) -> str:
    if strength[i] <= _SEEN:
        return "the sweep does not see it: what it may be off by changes the curve by less than the noise"
    rest = [j for j in taken if j != i]
    own = strength[i]
    if rest:
        base, _ = np.linalg.qr(weighted[:, rest])
        own = float(np.linalg.norm(weighted[:, i] - base @ (base.T @ weighted[:, i])))
    if i in taken:
        return f"its own effect is {own:.3g} times the noise"
    if like:
        return f"it changes the curve just as {like} does"
    if own <= TELLING:
        return "what it does to the curve, the values taken can do together"
    return "the sweep tells it from the others no better than its tolerance does"
