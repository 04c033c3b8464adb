"""Boards of a drawn path that can be moved: the end of one that the air goes round, or the corner outside a turn."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from airpath.field.folds import Bend
from airpath.field.outline import Outline, make_outline
from airpath.field.polygon import interior_angles
from airpath.field.sides import Sides

Floats = NDArray[np.float64]

_TIP_DEG = 120.0  # a board's end turns the wall by more than this
_CONVEX = np.radians(150.0)
_NARROWEST = 0.75  # of the narrower leg: a turn with less of a gap turns back more sound, not less


@dataclass(frozen=True, kw_only=True)
class Move:
    """A change of an outline by one length, that narrows a turn where it is positive.

    "tip": the end of a board is moved along the board, its ``corners`` in the order of the path; "bevel": a board is
    set across the outer corner, both of its ends as far from the corner. ``most`` [m]: how far it can go before the
    turn is choked (a tip) or the leg ends (a bevel), ``least`` [m] how far back.
    """

    kind: Literal["tip", "bevel"]
    corners: tuple[int, ...]
    place: Floats
    least: float
    most: float


def move_for(sides: Sides, bend: Bend) -> Move | None:
    """Return what can be moved to change the area in a turn, or None where no single board makes it."""
    points = sides.outline.points
    wall = (sides.left if bend.inner == "left" else sides.right).tolist()
    corners = [i for i in wall if i in bend.corners]
    if not corners:
        return None
    at = [wall.index(i) for i in corners]
    turn = float(np.degrees(np.sum(interior_angles(points)[corners] - np.pi)))
    inner = at[0] > 0 and at[-1] + 1 < len(wall) and at == list(range(at[0], at[-1] + 1))
    if inner and turn > _TIP_DEG:
        ends = points[[wall[at[0] - 1], wall[at[-1] + 1]]]
        board = np.linalg.norm(points[[corners[0], corners[-1]]] - ends, axis=1)
        middle = points[[corners[0], corners[-1]]].mean(axis=0)
        return Move(kind="tip", corners=(wall[at[0] - 1], *corners, wall[at[-1] + 1]), place=middle,
                    least=-0.8 * float(board.min()), most=max(bend.gap_m - _NARROWEST * bend.leg_m, 0.0))  # fmt: skip
    return _bevel(sides, bend, points[corners[0]])


def _bevel(sides: Sides, bend: Bend, inner: Floats) -> Move | None:
    """Return the board across the outer corner opposite to ``inner`` (2,)."""
    points, outer = sides.outline.points, (sides.right if bend.inner == "left" else sides.left)
    convex = [i for i in outer.tolist()[1:-1] if interior_angles(points)[i] < _CONVEX]
    if not convex:
        return None
    corner = min(convex, key=lambda i: float(np.linalg.norm(points[i] - inner)))
    if np.linalg.norm(points[corner] - inner) > 2.0 * bend.gap_m:
        return None
    count = len(points)
    legs = [float(np.linalg.norm(points[(corner + k) % count] - points[corner])) for k in (-1, 1)]
    return Move(kind="bevel", corners=(corner,), place=points[corner], least=0.0, most=0.9 * min(legs))


def moved(outline: Outline, moves: list[Move], by: list[float]) -> Outline:
    """Return the outline with boards moved by so many metres each.

    Raises GeometryError if the path closes or crosses itself.
    """
    points, count = outline.points.copy(), len(outline.points)
    for move, length in zip(moves, by, strict=True):
        if move.kind == "tip":
            before, *corners, after = move.corners
            pairs = ((corners[0], before), (corners[-1], after))
            steps = [_unit(outline.points[a] - outline.points[b]) for a, b in pairs]
            share = np.linspace(0.0, 1.0, len(corners))[:, None]
            points[corners] += length * ((1.0 - share) * steps[0] + share * steps[1])
    bevels = [(move.corners[0], length) for move, length in zip(moves, by, strict=True) if move.kind == "bevel"]
    for corner, length in sorted(bevels, reverse=True):
        if length > 0.0:
            cut = [points[corner] + length * _unit(points[(corner + k) % count] - points[corner]) for k in (-1, 1)]
            points = np.concatenate([points[:corner], cut, points[corner + 1 :]])
    made = make_outline(
        kind=outline.kind, points=points, holes=list(outline.holes), openings=outline.openings, depth=outline.depth,
        unit=outline.unit,
    )  # fmt: skip
    return replace(made, centreline=outline.centreline, intended=outline.intended)


def _unit(step: Floats) -> Floats:
    return np.asarray(step / np.linalg.norm(step))
