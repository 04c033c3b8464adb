"""Flat openings of a cuboid: where they are, their shape, and the mean of a mode over them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import j1

from airpath.acoustics.viscothermal import Section

FloatArray = NDArray[np.float64]
Size = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class Patch:
    """A flat opening that moves as one piston, in a plane x, y or z = const of a cuboid.

    ``centre`` (x, y, z) [m]; ``normal`` 0, 1 or 2 for x, y, z; a disc of ``radius`` [m], or a rectangle
    with its two ``sides`` [m] along the in-plane axes in the order x, y, z. On a wall it breathes into the
    chamber; inside it is a source that breathes to both sides (the body of the tube behind it is not
    seen).
    Raises ValueError when not exactly one shape is given or a length is not positive.
    """

    centre: tuple[float, float, float]
    normal: int
    radius: float | None = None
    sides: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        if self.normal not in (0, 1, 2):
            raise ValueError(f"patch normal is {self.normal!r}, expected 0, 1 or 2 for x, y or z")
        if (self.radius is None) == (self.sides is None):
            raise ValueError("a patch is either a disc (radius) or a rectangle (sides), exactly one of them")
        if not min(self.halves) > 0.0:
            raise ValueError(f"patch dimensions must be positive, found {self.radius or self.sides} m")

    @property
    def plane(self) -> tuple[int, int]:
        """The two in-plane axes."""
        first, second = (axis for axis in range(3) if axis != self.normal)
        return first, second

    @property
    def halves(self) -> tuple[float, float]:
        """Half extents [m] along the in-plane axes."""
        if self.sides is not None:
            return self.sides[0] / 2, self.sides[1] / 2
        radius = float(self.radius or 0.0)
        return radius, radius

    @property
    def section(self) -> Section:
        """Its shape alone."""
        if self.sides is not None:
            return Section(width=self.sides[0], height=self.sides[1])
        return Section(height=2 * self.halves[0])

    @property
    def area(self) -> float:
        """Area [m^2]."""
        return self.section.area

    def check_inside(self, size: Size) -> None:
        """Raise ValueError when the patch leaves the cuboid of ``size`` [m]."""
        slack = 1e-9 * max(size)
        for axis, name in enumerate("xyz"):
            half = 0.0 if axis == self.normal else self.halves[self.plane.index(axis)]
            low, high = self.centre[axis] - half, self.centre[axis] + half
            if low < -slack or high > size[axis] + slack:
                raise ValueError(
                    f"a patch spans {name} = {low:.6g} to {high:.6g} m, "
                    f"outside the chamber's 0 to {size[axis]:.6g} m"
                )


def means(patch: Patch, size: Size, orders: NDArray[np.int64]) -> FloatArray:
    """Return the mean of each mode's shape (unit maximum) over the patch, shape (n,), no unit.

    A product of two cosines is a sum of four plane waves of the same |k_t|, and each has the same mean
    over a disc up to its value in the centre: 2 J1(k_t a)/(k_t a). Over a rectangle the mean is a product
    of sinc functions.
    """
    a, b = patch.plane
    wave = math.pi / np.asarray(size)
    point = [np.cos(wave[i] * patch.centre[i] * np.arange(orders[:, i].max() + 1)) for i in range(3)]
    ka = wave[a] * np.arange(len(point[a]))
    kb = wave[b] * np.arange(len(point[b]))
    if patch.sides is not None:
        spread = np.outer(np.sinc(ka * patch.halves[0] / np.pi), np.sinc(kb * patch.halves[1] / np.pi))
    else:
        x = np.sqrt(ka[:, None] ** 2 + kb[None, :] ** 2) * patch.halves[0]
        spread = 2.0 * j1(x) / np.where(x == 0.0, 1.0, x)
        spread[0, 0] = 1.0
    grid = point[a][:, None] * point[b][None, :] * spread
    return np.asarray(grid[orders[:, a], orders[:, b]] * point[patch.normal][orders[:, patch.normal]])


def shapes_at(points: FloatArray, size: Size, orders: NDArray[np.int64]) -> FloatArray:
    """Return each mode's shape at ``points`` (m, 3) [m], shape (n, m), no unit."""
    shape = np.ones((len(orders), len(points)))
    for axis in range(3):
        index = np.arange(orders[:, axis].max() + 1)
        shape *= np.cos(np.outer(index * math.pi / size[axis], points[:, axis]))[orders[:, axis]]
    return shape
