"""Which boards to move, and how far, so that every turn of a path has the area it is meant to have."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airpath.errors import GeometryError
from airpath.field.folds import Bend
from airpath.field.outline import Outline
from airpath.field.potential import Potential, path_mesh, solve_potential
from airpath.field.reshape import Move, move_for, moved
from airpath.field.sides import Sides

Floats = NDArray[np.float64]

_ROUNDS = 6
_CLOSE = 0.002  # of the area: then the search ends
_COARSE = 0.5  # mesh of the search against that of the result
_COARSE_SHARP = 20.0
_TELLING = 0.02  # of the gap: shorter steps say nothing about the slope
_STRIDE = 0.4  # of the gap: longest step of the search
_STEP_M = 1e-3  # lengths are given in whole millimetres


@dataclass(frozen=True, kw_only=True)
class Restored:
    """A board to move: ``by_m`` [m], positive to narrow the turn; ``area_m2`` there, solved with all boards moved."""

    move: Move
    by_m: float
    area_m2: float


def mean_areas(found: Potential, levels: Floats) -> Floats:
    """Return the area [m^2] of the uniform duct with the volume and the inertance between levels (n, 2), as (n,)."""
    rising, place = np.unique(levels, return_inverse=True)
    volume = np.diff(found.volume_below(rising)[place.reshape(levels.shape)], axis=1)[:, 0]
    return np.asarray(np.sqrt(volume * found.flux / np.diff(levels, axis=1)[:, 0]))


def restore(
    sides: Sides, turns: list[Bend], places: list[Floats], was: list[float], wanted: list[float]
) -> list[Restored | None]:
    """Return the board to move at each turn, so that its mean area is ``wanted`` [m^2]; None where none can do it.

    ``places``: (2, 2) [m], where each turn begins and ends; ``was``: its area [m^2] as drawn. All boards are moved
    together, each by secants on its own area, and the whole is solved again with lengths rounded to 1 mm.
    """
    moves = [move_for(sides, turn) for turn in turns]
    able = [i for i, move in enumerate(moves) if move is not None]
    chosen = [move for move in moves if move is not None]
    if not able:
        return [None] * len(turns)
    target, start = np.array([wanted[i] for i in able]), np.array([was[i] for i in able])
    low, high = _whole([m.least for m in chosen]), _whole([m.most for m in chosen])
    gaps, spots = np.array([turns[i].gap_m for i in able]), [places[i] for i in able]
    try:
        by = _search(sides.outline, chosen, spots, np.log(start / target), np.log(target), gaps, (low, high))
        by = np.clip(np.round(by / _STEP_M) * _STEP_M, low, high)
        areas = _areas(moved(sides.outline, chosen, by.tolist()), spots, 1.0, None)
    except GeometryError:
        return [None] * len(turns)
    out: list[Restored | None] = [None] * len(turns)
    for i, move, length, area, first in zip(able, chosen, by.tolist(), areas.tolist(), start.tolist(), strict=True):
        off = abs(np.log(area / wanted[i]))
        if off < 15 * _CLOSE or (length != 0.0 and off < abs(np.log(first / wanted[i]))):
            out[i] = Restored(move=move, by_m=length, area_m2=area)
    return out


def _search(
    outline: Outline, moves: list[Move], spots: list[Floats], error: Floats, goal: Floats, gaps: Floats,
    bounds: tuple[Floats, Floats],
) -> Floats:  # fmt: skip
    """Return how far to move each board (n,), by secants on the logarithm of each turn's area against its goal."""
    by, old, slope = np.zeros(len(moves)), error, -0.45 / gaps
    for _ in range(_ROUNDS):
        step = np.clip(by + np.clip(-old / slope, -_STRIDE * gaps, _STRIDE * gaps), *bounds) - by
        if np.abs(step).max() < 0.2 * _STEP_M:
            break
        by = by + step
        new = np.log(_areas(moved(outline, moves, by.tolist()), spots, _COARSE, _COARSE_SHARP)) - goal
        if np.abs(new).max() < _CLOSE:
            break
        far = np.abs(step) > _TELLING * gaps
        fresh = np.where(far, (new - old) / np.where(far, step, 1.0), slope)
        slope = np.where(fresh < -1e-3 / gaps, fresh, slope)
        old = new
    return by


def _whole(lengths: list[float]) -> Floats:
    """Return lengths [m] (n,) cut to whole millimetres."""
    return np.asarray(np.trunc(np.round(np.array(lengths) / _STEP_M, 6)) * _STEP_M)


def _areas(outline: Outline, spots: list[Floats], refine: float, sharp: float | None) -> Floats:
    found = solve_potential(path_mesh(outline, refine) if sharp is None else path_mesh(outline, refine, sharp))
    return mean_areas(found, found.at(np.concatenate(spots)).reshape(-1, 2))
