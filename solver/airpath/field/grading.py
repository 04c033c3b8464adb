"""Where a mesh is fine: towards the ends of openings and re-entrant corners, where the field is singular."""

from __future__ import annotations

import numpy as np

from airpath.field.outline import Outline
from airpath.field.polygon import FloatArray, edges_of, interior_angles

RE_ENTRANT = np.radians(200.0)  # inner angles above this are graded; flatter ones come from drawn arcs

_CELL_RATIO = 70.0  # largest cell over the cell at a re-entrant corner, at least
_GAP_RATIO = 280.0  # clear air in front of a re-entrant corner over the cell there, at least
_END_RATIO = 6.0  # length of an opening over the cell at its ends
_GROWTH = 4.0  # from one boundary edge to the next, away from a re-entrant corner


def graded_loops(outline: Outline, *, cell: float, refine: float) -> tuple[list[FloatArray], FloatArray]:
    """Return the loops (n, 2) [m] with points added towards re-entrant corners, and the cell [m] wanted at each point.

    ``cell`` [m] is the largest cell. How much a corner changes the field depends on its cell against the gap beside it,
    so long waves in narrow folds need corners as fine as short ones. A mesher that is told sizes at points alone keeps
    to them on one edge and no further: the added points make it follow. ``refine`` divides the cells at ends.
    """
    edges, loops, sizes = edges_of(outline.loops), [], []
    for loop in outline.loops:
        sharp = interior_angles(loop) > RE_ENTRANT
        clear = np.array([_clear(loop, i, edges) if sharp[i] else np.inf for i in range(len(loop))])
        size = np.where(sharp, np.minimum(cell / _CELL_RATIO, clear / _GAP_RATIO / refine), cell)
        size = np.minimum(size, _at_ends(outline, loop) / refine)
        points, wanted = _with_steps(loop, sharp, size, cell)
        loops.append(points)
        sizes.append(wanted)
    return loops, np.concatenate(sizes)


def _at_ends(outline: Outline, loop: FloatArray) -> FloatArray:
    """Return the cell [m] that openings want at the points of a loop (n, 2): infinite where none ends."""
    size = np.full(len(loop), np.inf)
    for segment in outline.openings.values():
        at_end = (np.linalg.norm(loop[:, None] - segment, axis=-1) < 1e-9).any(axis=1)
        size[at_end] = np.minimum(size[at_end], np.linalg.norm(segment[1] - segment[0]) / _END_RATIO)
    return size


def _clear(loop: FloatArray, corner: int, edges: FloatArray) -> float:
    """Return how far [m] the air reaches from a re-entrant corner straight away from the solid behind it."""
    at = loop[corner]
    sides = np.stack([loop[corner - 1], loop[(corner + 1) % len(loop)]]) - at
    away = -(sides / np.linalg.norm(sides, axis=1)[:, None]).sum(axis=0)
    away /= np.linalg.norm(away)
    start, along = edges[:, 0] - at, edges[:, 1] - edges[:, 0]
    across = away[0] * along[:, 1] - away[1] * along[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):  # edges along the ray are never met
        reach = (start[:, 0] * along[:, 1] - start[:, 1] * along[:, 0]) / across
        part = (start[:, 0] * away[1] - start[:, 1] * away[0]) / across
    own = np.linalg.norm(sides, axis=1).min() * 1e-6
    met = reach[(part >= 0.0) & (part <= 1.0) & (reach > own)]
    return float(met.min()) if len(met) else np.inf


def _with_steps(
    loop: FloatArray, sharp: FloatArray, size: FloatArray, cell: float
) -> tuple[FloatArray, FloatArray]:
    """Return the points of a loop (n, 2) and those added on edges beside sharp corners, with the size at each."""
    points, wanted = [], []
    for i, start in enumerate(loop):
        j = (i + 1) % len(loop)
        along, length = loop[j] - start, float(np.linalg.norm(loop[j] - start))
        ahead, back = (_steps(float(size[k]), length, cell) if sharp[k] else [] for k in (i, j))
        at = np.array([0.0, *ahead, *(length - d for d in reversed(back))])
        slope = _GROWTH - 1.0
        grown = np.minimum(size[i] + slope * at, size[j] + slope * (length - at))
        points.append(start + np.outer(at / length, along))
        wanted.append(np.concatenate([size[i : i + 1], np.minimum(grown, cell)[1:]]))
    return np.concatenate(points), np.concatenate(wanted)


def _steps(size: float, length: float, cell: float) -> list[float]:
    """Return distances [m] from a corner in growing steps, to the middle of its edge or the third of a largest cell."""
    out, distance = [], size
    while distance <= 0.5 * length - 0.25 * size and size <= cell / 3.0:
        out.append(distance)
        size *= _GROWTH
        distance += size
    return out
