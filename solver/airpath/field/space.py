"""The trial space of a reduced chamber: its standing waves, each bent by the wall losses, and what answers
above them.

A wall adds -l (Kw + k^2 q Mw) to the operator, l the complex layer length and q = (gamma - 1)/sqrt(Pr). To
first order it turns the wave phi into phi + l c with (K - k^2 M) c = (Kw + k^2 q Mw) phi. The direction of
l in the complex plane is the same at all frequencies, so the dressed wave is one complex vector and needs
one unknown. Only the first static response of each opening, which matters from the lowest frequency to the
highest, keeps its bend as an unknown of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from airpath.field.modes import orthonormal, solve
from airpath.field.walls import layer_length

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

    from airpath.field.forms import FieldMatrices
    from airpath.field.modes import Modes
    from airpath.field.walls import Medium

Floats = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_STATIC_TERMS = 5  # powers of the shifted inverse kept for each opening
_DEPENDENT = 1e-6  # a column whose new part is smaller than this adds only rounding
_BEND_TERMS = 3  # powers summed for each bent wave: the series converges like 2^-n at worst


def dressed_space(matrices: FieldMatrices, medium: Medium, modes: Modes) -> tuple[Floats, ComplexArray]:
    """Return a real space (unknowns, r) and the mix (r, N) that makes the basis of it."""
    mass, wall_stiffness, wall_mass = matrices.operators[1:]
    waves = modes.shapes / np.sqrt(matrices.volume)
    mass_waves = mass @ waves

    def above(right: Floats) -> Floats:
        answer = solve(modes.factor, right)
        return np.asarray(answer - waves @ (mass_waves.T @ answer))

    statics = first = _independent(above(matrices.means), np.empty((matrices.unknowns, 0)), mass)
    block = first
    for _ in range(_STATIC_TERMS - 1):
        block = _independent(above(mass @ block), statics, mass)
        statics = np.hstack([statics, block])
    real = np.hstack([waves, statics])
    identity = np.eye(real.shape[1], dtype=complex)
    air = medium.air
    if air.viscosity == 0.0:
        return real, identity
    thermal = (air.gamma - 1.0) / np.sqrt(air.prandtl)
    level = np.concatenate([modes.eigenvalue, np.full(statics.shape[1], modes.cut)])
    term = above(wall_stiffness @ real + (wall_mass @ real) * (level * thermal))
    bend = term
    for power in range(1, _BEND_TERMS):
        term = above(mass @ term)
        bend = bend + term * (level - modes.shift) ** power
    omega = air.sound_speed * np.sqrt(np.maximum(level, 1e-3 * modes.cut))
    layer = layer_length(omega, air.kinematic_viscosity)
    mix = np.vstack([identity, np.diag(layer)])
    free = real.shape[1] + len(modes.eigenvalue) + np.arange(first.shape[1])
    loose = np.zeros((len(mix), len(free)))
    loose[free, np.arange(len(free))] = 1.0 / np.linalg.norm(bend[:, free - real.shape[1]], axis=0)
    return np.hstack([real, bend]), np.hstack([mix, loose])


def _independent(block: Floats, earlier: Floats, mass: csc_matrix) -> Floats:
    """Return mass-orthonormal columns for what ``block`` adds to ``earlier``, without what rounding made of
    the rest.
    """
    block = block / np.sqrt(np.sum(block * (mass @ block), axis=0))
    block = block - earlier @ (earlier.T @ (mass @ block))
    size, turn = np.linalg.eigh(block.T @ (mass @ block))
    kept = size > _DEPENDENT**2
    return orthonormal(block @ (turn[:, kept] / np.sqrt(size[kept])), mass)[0]
