"""The two walls of a drawn path: what lies between its throat and its mouth on the left and on the right."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airpath.errors import GeometryError
from airpath.field.outline import LENGTH_UNITS, Outline, edges_on
from airpath.field.polygon import edges_of, project

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Sides:
    """Corners of the outer polygon on each side, from throat to mouth, its ends included.

    ``left`` and ``right`` (n,) are indices into the outline's points, as seen by the air that leaves the throat.
    """

    outline: Outline
    left: NDArray[np.int64]
    right: NDArray[np.int64]

    def points(self, side: str) -> Floats:
        """Return the corners [m] of the "left" or "right" wall, (n, 2)."""
        return np.asarray(self.outline.points[self.left if side == "left" else self.right])

    def distance(self, side: str, points: Floats) -> tuple[Floats, Floats]:
        """Return the distance [m] of points (n, 2) to a wall, (n,), and the nearest places on it, (n, 2)."""
        wall = self.points(side)
        edges = np.stack([wall[:-1], wall[1:]], axis=1)
        distance, fraction = project(points[:, None], edges[None])
        k, rows = distance.argmin(axis=1), np.arange(len(points))
        near = edges[k, 0] + fraction[rows, k, None] * (edges[k, 1] - edges[k, 0])
        return distance[rows, k], near

    def gap(self, points: Floats) -> Floats:
        """Return the cross-section [m^2] at points (n, 2) of the path, (n,): from wall to wall past each point."""
        (left, near_left), (right, near_right) = self.distance("left", points), self.distance("right", points)
        if self.outline.depth is not None:
            return np.asarray((left + right) * self.outline.depth)
        return np.asarray(np.pi * (near_left[:, 1] + near_right[:, 1]) * (left + right))


def sides_of(outline: Outline, throat: str = "throat", mouth: str = "mouth") -> Sides:
    """Return the walls of a path. Raises GeometryError where the drawing is no path from one opening to the other."""
    for name in (throat, mouth):
        if name not in outline.openings:
            raise GeometryError(
                f'the drawing has no opening "{name}"; a path runs from its throat to its mouth. It has '
                + ", ".join(f"{own} at {_at(outline, outline.openings[own][0])}" for own in sorted(outline.openings))
            )
    edges, count = edges_of([outline.points]), len(outline.points)
    runs = []
    for name in (throat, mouth):
        on = edges_on(outline.openings[name], edges)
        if not on.any():
            raise GeometryError(f'opening "{name}" lies on a hole, at {_at(outline, outline.openings[name][0])}')
        first = np.flatnonzero(on & ~np.roll(on, 1))[0]
        runs.append((int(first), int(first + on.sum()) % count))
    (start, after), (stop, beyond) = runs
    right = (after + np.arange((stop - after) % count + 1)) % count
    left = (start - np.arange((start - beyond) % count + 1)) % count
    for wall in (left, right):
        if len(wall) < 2:
            raise GeometryError(
                f"throat and mouth touch at {_at(outline, outline.points[wall[0]])}: no wall keeps the air on its way"
            )
    return Sides(outline=outline, left=left, right=right)


def _at(outline: Outline, point: Floats) -> str:
    x, y = (round(float(v) / LENGTH_UNITS.get(outline.unit, 1.0), 6) + 0.0 for v in point)
    return f"({x:g}, {y:g}) {outline.unit}"
