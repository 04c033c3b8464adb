"""The trial space of a reduced chamber: its standing waves, each bent by the wall losses, and what answers
above them.

A wall adds -l (Kw + k^2 q Mw) to the operator, l the complex layer length and q = (gamma - 1)/sqrt(Pr). To
first order it turns the wave phi into phi + l c with (K - k^2 M) c = (Kw + k^2 q Mw) phi. The direction of
l in the complex plane is the same at all frequencies, so the dressed wave is one complex vector and needs
one unknown. Only the first static response of each opening, which matters from the lowest frequency to the
highest, keeps its bend as an unknown of its own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

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
_BENT = 0.8  # waves below this part of the cut are bent: those of the band
_BEND_TERMS = 3  # powers summed for each bent wave: the series converges like 2^-n at worst


def dressed_space(matrices: FieldMatrices, medium: Medium, modes: Modes) -> tuple[Floats, ComplexArray]:
    """Return a real space (unknowns, r) and the mix (r, N) that makes the basis of it."""
    waves = modes.shapes / np.sqrt(matrices.volume)
    statics, first = _static_answers(matrices, modes)
    real = np.hstack([waves, statics])
    air, identity = medium.air, np.eye(real.shape[1], dtype=complex)
    if air.viscosity == 0.0:
        return real, identity
    bent = np.concatenate([np.flatnonzero(modes.eigenvalue < _BENT * modes.cut), waves.shape[1] + np.arange(first)])
    level = np.concatenate([modes.eigenvalue, np.full(statics.shape[1], modes.cut)])[bent]
    bend = _bend(matrices, modes, real[:, bent], level, (air.gamma - 1.0) / np.sqrt(air.prandtl))
    omega = air.sound_speed * np.sqrt(np.maximum(level, 1e-3 * modes.cut))
    mix = np.vstack([identity, np.zeros((len(bent), real.shape[1]))])
    mix[real.shape[1] + np.arange(len(bent)), bent] = layer_length(omega, air.kinematic_viscosity)
    loose = np.zeros((len(mix), first))
    loose[len(mix) - first :] = np.diag(1.0 / np.linalg.norm(bend[:, len(bent) - first :], axis=0))
    return np.hstack([real, bend]), np.hstack([mix, loose])


def above(matrices: FieldMatrices, modes: Modes, right: NDArray[Any]) -> NDArray[Any]:
    """Return (K - shift M)^-1 ``right`` without its standing waves, (unknowns, columns), real or complex."""
    if np.iscomplexobj(right):
        return np.asarray(above(matrices, modes, right.real) + 1j * above(matrices, modes, right.imag))
    answer = solve(modes.factor, right)
    mean = modes.shapes.T @ (matrices.operators[1] @ answer) / matrices.volume
    return np.asarray(answer - modes.shapes @ mean)


def _static_answers(matrices: FieldMatrices, modes: Modes) -> tuple[Floats, int]:
    """Return a block Krylov space of what the openings drive above the band, and the width of its first
    block.
    """
    mass = matrices.operators[1]
    nothing = np.empty((matrices.unknowns, 0))
    statics = block = _independent(above(matrices, modes, matrices.means), nothing, mass)
    first = block.shape[1]
    for _ in range(_STATIC_TERMS - 1):
        block = _independent(above(matrices, modes, mass @ block), statics, mass)
        statics = np.hstack([statics, block])
    return statics, first


def _bend(matrices: FieldMatrices, modes: Modes, fields: Floats, level: Floats, thermal: float) -> Floats:
    """Return c of each field (unknowns, columns) at its ``level`` k^2 [1/m^2]."""
    mass, wall_stiffness, wall_mass = matrices.operators[1:4]
    term = bend = above(matrices, modes, wall_stiffness @ fields + (wall_mass @ fields) * (level * thermal))
    for power in range(1, _BEND_TERMS):
        term = above(matrices, modes, mass @ term)
        bend = bend + term * (level - modes.shift) ** power
    return np.asarray(bend)


def _independent(block: Floats, earlier: Floats, mass: csc_matrix) -> Floats:
    """Return mass-orthonormal columns for what ``block`` adds to ``earlier``, without what rounding made of
    the rest.
    """
    block = block / np.sqrt(np.sum(block * (mass @ block), axis=0))
    block = block - earlier @ (earlier.T @ (mass @ block))
    size, turn = np.linalg.eigh(block.T @ (mass @ block))
    kept = size > _DEPENDENT**2
    return orthonormal(block @ (turn[:, kept] / np.sqrt(size[kept])), mass)[0]
