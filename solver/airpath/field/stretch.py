"""One stretch of a drawn path, cut out between two levels of its potential, and what it turns back."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air
from airpath.errors import GeometryError
from airpath.field.forms import FieldMatrices, assemble
from airpath.field.mesh import mesh_outline
from airpath.field.modes import factorise, solve
from airpath.field.outline import Outline, make_outline
from airpath.field.polygon import contains
from airpath.field.potential import Potential
from airpath.field.sides import Sides
from airpath.field.walls import Medium

Floats = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_SAMPLES = 600  # along each wall


def cut_out(sides: Sides, found: Potential, levels: tuple[float, float]) -> Outline | None:
    """Return the outline of the path between two levels, its ends straight across; None where that is no path."""
    walls = [_wall_between(sides.points(side), found, levels) for side in ("right", "left")]
    points = np.concatenate([walls[0], walls[1][::-1]])
    outline = sides.outline
    throat, mouth = [walls[1][0], walls[0][0]], [walls[0][-1], walls[1][-1]]
    try:
        return make_outline(
            kind=outline.kind, points=points, holes=[hole for hole in outline.holes if contains(points, hole[0])],
            openings={"throat": throat, "mouth": mouth}, depth=outline.depth, unit=outline.unit,
        )  # fmt: skip
    except GeometryError:
        return None


def _wall_between(wall: Floats, found: Potential, levels: tuple[float, float]) -> Floats:
    """Return the part of a wall (n, 2) whose potential lies between two levels, its corners kept."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(wall, axis=0), axis=1))])
    steps = np.union1d(np.linspace(0.0, along[-1], _SAMPLES), along)
    points = np.stack([np.interp(steps, along, wall[:, axis]) for axis in (0, 1)], axis=1)
    level = np.maximum.accumulate(found.near(points))
    level[0], level[-1] = 0.0, 1.0
    a, b = (float(np.interp(at, level, steps)) for at in levels)
    gap = 1e-3 * along[-1]
    inner = along[(along > a + gap) & (along < b - gap)]
    keep = np.concatenate([[a], inner, [b]])
    return np.stack([np.interp(keep, along, wall[:, axis]) for axis in (0, 1)], axis=1)


def reflection(outline: Outline, frequency: Floats, air: Air) -> ComplexArray:
    """Return the pressure reflection at the throat of a stretch (n,) with endless straight ducts at both of its ends.

    ``frequency`` [Hz] (n,). One direct solution each; the ends are cut where fronts are nearly plane.
    """
    mesh = mesh_outline(outline, highest_hz=float(frequency.max()), sound_speed=air.sound_speed)
    matrices, omega = assemble(mesh), 2.0 * np.pi * frequency
    medium = Medium(air=air, depth=outline.depth)
    impedance = _impedance(matrices, medium, omega)
    order = [matrices.names.index(name) for name in ("throat", "mouth")]
    plane = air.density * air.sound_speed / matrices.areas[order]
    z = impedance[:, order][:, :, order]
    seen = z[:, 0, 0] - z[:, 0, 1] ** 2 / (z[:, 1, 1] + plane[1])
    return np.asarray((seen - plane[0]) / (seen + plane[0]))


def _impedance(matrices: FieldMatrices, medium: Medium, omega: Floats) -> ComplexArray:
    """Return Z [Pa s/m^3], (n, 2, 2), by one factorisation for each of the angular frequencies (n,)."""
    means = matrices.means.astype(complex)
    out = []
    for w, factors in zip(omega, medium.coefficients(omega), strict=True):
        answer = solve(factorise(matrices.combined(factors)), means)
        out.append(1j * w * medium.air.density * (matrices.means.T @ answer))
    return np.array(out)
