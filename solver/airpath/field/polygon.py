"""Plane polygons: area, edges, crossings, narrow gaps; all lengths in metres, every function pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
_BLOCK = 256  # edges compared with all others at a time, which bounds the memory


@dataclass(frozen=True, kw_only=True)
class Meeting:
    """Two edges that cross, touch or come near: ``place`` (2,) [m], ``distance`` [m], 0 where they meet."""

    place: FloatArray
    distance: float


def signed_area(points: FloatArray) -> float:
    """Return the area [m^2] of the polygon ``points`` (n, 2) [m], positive when it runs counter-clockwise."""
    x, y = (points - points.mean(axis=0)).T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def turned_volume(points: FloatArray) -> float:
    """Return the volume [m^3] swept by the polygon (n, 2) [m] turned about y = 0, signed (Pappus)."""
    x, y = points.T
    x1, y1 = np.roll(x, -1), np.roll(y, -1)
    return float(np.pi / 3.0 * np.sum((y + y1) * (x * y1 - x1 * y)))


def edges_of(loops: list[FloatArray]) -> FloatArray:
    """Return every edge of closed loops, shape (n, 2, 2): edge, end, coordinate [m]."""
    return np.concatenate([np.stack([loop, np.roll(loop, -1, axis=0)], axis=1) for loop in loops])


def interior_angles(loop: FloatArray) -> FloatArray:
    """Return the angle [rad, 0 to 2 pi] on the left of the closed path at each corner of ``loop`` (n, 2)."""
    back, ahead = np.roll(loop, 1, axis=0) - loop, np.roll(loop, -1, axis=0) - loop
    turn = np.arctan2(back[:, 1], back[:, 0]) - np.arctan2(ahead[:, 1], ahead[:, 0])
    return np.asarray(np.mod(turn, 2.0 * np.pi))


def contains(loop: FloatArray, point: FloatArray) -> bool:
    """Say whether ``point`` (2,) lies within the closed ``loop`` (n, 2), by counting crossings of a ray."""
    (x, y), ahead = loop.T, np.roll(loop, -1, axis=0)
    straddles = (y > point[1]) != (ahead[:, 1] > point[1])
    rise = np.where(straddles, ahead[:, 1] - y, 1.0)
    crossing = x + (point[1] - y) / rise * (ahead[:, 0] - x)
    return bool(np.count_nonzero(straddles & (crossing > point[0])) % 2)


def project(point: FloatArray, edges: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the distance [m] from points to edges and the nearest place as a fraction of the edge (0 to 1).

    ``point`` (..., 2) and ``edges`` (..., 2, 2) broadcast against each other.
    """
    start, along = edges[..., 0, :], edges[..., 1, :] - edges[..., 0, :]
    length2 = np.maximum(np.sum(along * along, axis=-1), 1e-300)
    fraction = np.clip(np.sum((point - start) * along, axis=-1) / length2, 0.0, 1.0)
    nearest = start + fraction[..., None] * along
    return np.linalg.norm(point - nearest, axis=-1), fraction


def meetings(loops: list[FloatArray], narrow: float) -> Iterator[Meeting]:
    """Yield where edges that are not neighbours cross, touch, or come nearer than ``narrow`` [m].

    Neighbours that fold back on themselves count as touching. A corner rounded or bevelled by edges shorter
    than ``narrow`` is not a gap; a slot whose two long sides lie nearer than that is.
    """
    edges = edges_of(loops)
    loop_of = np.concatenate([np.full(len(loop), i) for i, loop in enumerate(loops)])
    yield from _folds(loops)
    low, high = edges.min(axis=1) - narrow, edges.max(axis=1)
    for first in range(0, len(edges), _BLOCK):
        block = slice(first, first + _BLOCK)
        apart = (low[block, None] > high[None]).any(-1) | (low[None] > high[block, None]).any(-1)
        rows, columns = np.nonzero(~apart)
        rows += first
        later = columns > rows
        yield from _pairs(edges, loop_of, rows[later], columns[later], narrow)


def _folds(loops: list[FloatArray]) -> Iterator[Meeting]:
    for loop in loops:
        angle = interior_angles(loop)
        for corner in loop[np.minimum(angle, 2.0 * np.pi - angle) < 1e-6]:
            yield Meeting(place=corner, distance=0.0)


def _pairs(
    edges: FloatArray, loop_of: NDArray[np.int64], i: NDArray[np.int64], j: NDArray[np.int64], narrow: float
) -> Iterator[Meeting]:
    a, b = edges[i], edges[j]
    ends = [(a[:, 0], b), (a[:, 1], b), (b[:, 0], a), (b[:, 1], a)]
    found = [project(point, edge) for point, edge in ends]
    distance = np.stack([d for d, _ in found])
    nearest = distance.argmin(axis=0)
    smallest = distance.min(axis=0)
    crossed = _cross(a, b)
    shares_corner = (a[:, 0] == b[:, 1]).all(-1) | (a[:, 1] == b[:, 0]).all(-1)
    suspect = (crossed | (smallest < narrow)) & ~(shares_corner & (loop_of[i] == loop_of[j]))
    for k in np.nonzero(suspect)[0]:
        if crossed[k]:
            yield Meeting(place=_crossing(a[k], b[k]), distance=0.0)
        elif smallest[k] == 0.0 or not _is_bevel(edges, loop_of, int(i[k]), int(j[k]), narrow):
            yield Meeting(place=ends[nearest[k]][0][k], distance=float(smallest[k]))


def _cross(a: FloatArray, b: FloatArray) -> NDArray[np.bool_]:
    def side(edge: FloatArray, point: FloatArray) -> FloatArray:
        u, v = edge[:, 1] - edge[:, 0], point - edge[:, 0]
        return np.asarray(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0])

    apart_a = np.sign(side(a, b[:, 0])) * np.sign(side(a, b[:, 1])) < 0
    apart_b = np.sign(side(b, a[:, 0])) * np.sign(side(b, a[:, 1])) < 0
    return np.asarray(apart_a & apart_b)


def _crossing(a: FloatArray, b: FloatArray) -> FloatArray:
    u, v, w = a[1] - a[0], b[1] - b[0], b[0] - a[0]
    return np.asarray(a[0] + u * ((w[0] * v[1] - w[1] * v[0]) / (u[0] * v[1] - u[1] * v[0])))


def _is_bevel(edges: FloatArray, loop_of: NDArray[np.int64], i: int, j: int, narrow: float) -> bool:
    """Say whether edges i < j of one loop are near only because a short path between them turns."""
    if loop_of[i] != loop_of[j]:
        return False
    own = np.nonzero(loop_of == loop_of[i])[0]
    length = np.linalg.norm(edges[own, 1] - edges[own, 0], axis=1)
    i, j = i - own[0], j - own[0]
    between = length[i + 1 : j].sum()
    between = min(between, length.sum() - between - length[i] - length[j])
    a, b = edges[own[i]], edges[own[j]]
    doubles_back = float((a[1] - a[0]) @ (b[1] - b[0])) < -0.5 * length[i] * length[j]
    return bool(between <= 3.0 * narrow and not (doubles_back and min(length[i], length[j]) > narrow))
