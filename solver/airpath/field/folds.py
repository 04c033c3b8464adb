"""Where a path turns: its folds, found on the streamline in the middle and numbered from the throat."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from airpath.field.centreline import CentreLine
from airpath.field.polygon import interior_angles
from airpath.field.potential import Potential
from airpath.field.sides import Sides

Floats = NDArray[np.float64]

_TURNING = 0.25  # turn in radians over one width of the path, above which it bends
_LEAST_DEG = 30.0  # turns below this are no folds
_APART = 0.75  # widths of straight path that part two turns in the same direction
_SMOOTH = 2.0  # stations
_STRAIGHT = 1.25  # widths beyond a turn where the flow runs along the walls again


@dataclass(frozen=True, kw_only=True)
class Bend:
    """One turn of a path, between the potentials ``levels``; ``turn_deg`` positive to the left.

    ``place`` (2,) [m] on the middle line; ``gap_m``, the width there, ``leg_m`` that of the narrower of the two legs;
    ``corners``: those of the inner wall within the turn, as indices into the outline's points along the path.
    """

    number: int
    levels: tuple[float, float]
    turn_deg: float
    place: Floats
    gap_m: float
    leg_m: float
    corners: tuple[int, ...]

    @property
    def inner(self) -> str:
        """The side of the inner wall, "left" or "right"."""
        return "left" if self.turn_deg > 0.0 else "right"


def bends(sides: Sides, found: Potential, middle: CentreLine) -> list[Bend]:
    """Return the turns of more than 30 degrees of the computed ``middle`` line, each with half a width at its ends."""
    points = gaussian_filter1d(middle.points, _SMOOTH, axis=0, mode="nearest")
    step = np.gradient(points, axis=0)
    heading = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    (left, _), (right, _) = sides.distance("left", middle.points), sides.distance("right", middle.points)
    width = left + right
    rate = np.gradient(heading, middle.distance_m) * width
    runs = _merged(_runs(np.sign(rate) * (np.abs(rate) > _TURNING)), rate, middle.distance_m, width)
    runs = [(a, b) for a, b in runs if abs(np.degrees(heading[b] - heading[a])) >= _LEAST_DEG]
    out: list[Bend] = []
    for number, (a, b) in enumerate(runs, start=1):
        before = _halfway(runs[number - 2][1], a) if number > 1 else 0
        after = _halfway(b, runs[number][0]) if number < len(runs) else len(heading) - 1
        first = max(before, _moved(middle, a, -0.5 * width[a]))
        last = min(after, _moved(middle, b, 0.5 * width[b]))
        straight_from = max(before, _moved(middle, a, -_STRAIGHT * width[a]))
        straight_to = min(after, _moved(middle, b, _STRAIGHT * width[b]))
        turn = float(np.degrees(heading[straight_to] - heading[straight_from]))
        centre = int(np.abs(heading - 0.5 * (heading[a] + heading[b]))[a : b + 1].argmin()) + a
        levels = (float(middle.potential[first]), float(middle.potential[last]))
        corners = _inner_corners(sides, found, "left" if turn > 0.0 else "right", levels)
        out.append(
            Bend(number=number, levels=levels, turn_deg=turn, place=middle.points[centre],
                 gap_m=float(width[centre]), leg_m=float(width[[first, last]].min()), corners=corners)
        )  # fmt: skip
    return out


def _runs(sign: Floats) -> list[tuple[int, int]]:
    """Return first and last index of every run of one sign other than 0."""
    edges = np.flatnonzero(np.diff(sign)) + 1
    bounds = [0, *edges.tolist(), len(sign)]
    return [(a, b - 1) for a, b in pairwise(bounds) if sign[a] != 0 and b - 1 > a]


def _merged(runs: list[tuple[int, int]], rate: Floats, along: Floats, width: Floats) -> list[tuple[int, int]]:
    """Join neighbouring runs of one sign that are less than ``_APART`` widths apart."""
    out: list[tuple[int, int]] = []
    for a, b in runs:
        if out:
            first, last = out[-1]
            near = along[a] - along[last] < _APART * 0.5 * (width[a] + width[last])
            if near and rate[a] * rate[last] > 0.0:
                out[-1] = (first, b)
                continue
        out.append((a, b))
    return out


def _halfway(a: int, b: int) -> int:
    return (a + b) // 2


def _moved(line: CentreLine, index: int, by: float) -> int:
    """Return the station ``by`` metres along the line from a station."""
    return int(np.abs(line.distance_m - (line.distance_m[index] + by)).argmin())


def _inner_corners(sides: Sides, found: Potential, side: str, levels: tuple[float, float]) -> tuple[int, ...]:
    """Return the re-entrant corners of the inner wall whose potential lies within a turn."""
    wall = sides.left if side == "left" else sides.right
    inner = wall[interior_angles(sides.outline.points)[wall] > np.radians(180.5)]
    if not len(inner):
        return ()
    level = found.near(sides.outline.points[inner])
    return tuple(int(i) for i in inner[(level > levels[0]) & (level < levels[1])])
