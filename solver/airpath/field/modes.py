"""Standing waves of a chamber with rigid walls: block Lanczos on the shifted inverse, counted so that none
is missed.

The number of negative pivots of K - cut M is the number of eigenvalues below ``cut`` (Sylvester's law of
inertia), so the search ends when it has found exactly as many.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.linalg import splu

from airpath.errors import AccuracyError

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

    from airpath.field.forms import FieldMatrices

Floats = NDArray[np.float64]

_BLOCK = 4  # columns that advance together: wide enough for double eigenvalues, narrow for a high degree
_MANY = 100_000  # numbers to solve for, from which a second thread is worth its start
_MARGIN = 1.15  # of wavenumber, over the highest that is asked for
_CONVERGED = 1e-7  # residual of a mode against its stiffness term: the eigenvalue's error is its square


@dataclass(frozen=True, kw_only=True)
class Modes:
    """All standing waves below a wavenumber, in rising order, the uniform one first.

    ``eigenvalue`` k^2 [1/m^2] (modes,); ``shapes`` (unknowns, modes) with mean square 1 over the chamber;
    ``coupling`` (modes, openings), the mean of each shape over each opening. ``shapes`` and ``factor`` also
    serve the reduced basis: ``factor`` solves (K - shift M) x = b.
    """

    eigenvalue: Floats
    shapes: Floats
    coupling: Floats
    cut: float
    shift: float
    factor: Any

    def frequency_hz(self, sound_speed: float) -> Floats:
        """Return the frequency of each mode [Hz] for a sound speed [m/s]."""
        return np.sqrt(self.eigenvalue) * sound_speed / (2.0 * np.pi)


def factorise(matrix: csc_matrix) -> Any:
    """Return SuperLU's factors of a symmetric matrix, pivots kept on the diagonal."""
    options = {"SymmetricMode": True}
    return splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)


def count_below(matrices: FieldMatrices, cut: float) -> int:
    """Return the number of eigenvalues k^2 below ``cut`` [1/m^2]."""
    stiffness, mass = matrices.operators[:2]
    return int(np.count_nonzero(factorise(stiffness - cut * mass).U.diagonal() < 0.0))


def lowest_wavenumber(matrices: FieldMatrices) -> float:
    """Return the wavenumber [1/m] of the first standing wave after the uniform one."""
    from scipy.sparse.linalg import LinearOperator, eigsh

    stiffness, mass = matrices.operators[:2]
    shift = -matrices.volume ** (-2.0 / 3.0)  # below all eigenvalues: a definite matrix
    inverse = LinearOperator(stiffness.shape, matvec=factorise(stiffness - shift * mass).solve, dtype=np.float64)
    start = np.random.default_rng(0).standard_normal(matrices.unknowns)
    found = eigsh(stiffness, 3, mass, sigma=shift, OPinv=inverse, v0=start, return_eigenvectors=False)
    return float(np.sqrt(np.sort(found)[1]))


def cut_above(wavenumber: float) -> float:
    """Return the k^2 [1/m^2] up to which ``standing_waves`` looks for a ``wavenumber`` [1/m]."""
    return (_MARGIN * wavenumber) ** 2


def standing_waves(matrices: FieldMatrices, wavenumber: float) -> Modes:
    """Return every mode below ``cut_above`` a wavenumber [1/m]; those below the wavenumber itself converged.

    Raises AccuracyError when the number found never meets the number counted.
    Checked by: tests/crosscheck/test_field_published.py.
    """
    stiffness, mass = matrices.operators[:2]
    cut = cut_above(wavenumber)
    shift = 0.5 * cut
    with ThreadPoolExecutor(1) as pool:
        counted = pool.submit(count_below, matrices, cut)
        factor = factorise(stiffness - shift * mass)
        count = counted.result()
    dimension = 4 * _BLOCK + int(2.4 * count)
    while True:
        dimension = min(dimension, matrices.unknowns // _BLOCK * _BLOCK)
        eigenvalue, shapes, residual = _lanczos(matrices, factor, dimension, cut)
        worst = float(np.max(residual[eigenvalue < wavenumber**2]))
        if len(eigenvalue) == count and worst < _CONVERGED:
            break
        if dimension > 8 * count + 64 or dimension >= matrices.unknowns - _BLOCK:
            raise AccuracyError(
                f"standing waves: {len(eigenvalue)} found, {count} counted below k = {cut**0.5:.4g} 1/m, "
                f"residual {worst:.1e}, limit {_CONVERGED:.0e}"
            )
        dimension += dimension // 2
    eigenvalue[0], shapes[:, 0] = 0.0, matrices.volume**-0.5
    shapes *= np.sqrt(matrices.volume)
    coupling = shapes.T @ matrices.means
    return Modes(eigenvalue=eigenvalue, shapes=shapes, coupling=coupling, cut=cut, shift=shift, factor=factor)


def _lanczos(matrices: FieldMatrices, factor: Any, dimension: int, cut: float) -> tuple[Floats, Floats, Floats]:
    """Return eigenvalues below ``cut``, mass-normalised shapes and relative residuals of a block Krylov
    space.
    """
    stiffness, mass = matrices.operators[:2]
    random = np.random.default_rng(7).standard_normal((matrices.unknowns, _BLOCK - 1))
    block = np.column_stack([np.ones(matrices.unknowns), solve(factor, mass @ random)])
    space = np.empty((matrices.unknowns, dimension // _BLOCK * _BLOCK), order="F")
    mass_space = np.empty_like(space)
    for start in range(0, space.shape[1], _BLOCK):
        stop = start + _BLOCK
        for first in (max(0, start - 2 * _BLOCK), 0):  # the three-term recurrence, then once more against all
            block = block - space[:, first:start] @ (mass_space[:, first:start].T @ block)
            block, mass_block = orthonormal(block, mass)
        space[:, start:stop], mass_space[:, start:stop] = block, mass_block
        block = solve(factor, mass_block)
    eigenvalue, turn = np.linalg.eigh(space.T @ (stiffness @ space))
    eigenvalue, turn = eigenvalue[eigenvalue < cut], turn[:, eigenvalue < cut]
    shapes = space @ turn
    stiff_shapes = stiffness @ shapes
    residual = np.linalg.norm(stiff_shapes - (mass_space @ turn) * eigenvalue, axis=0)
    scale = np.linalg.norm(stiff_shapes, axis=0)
    scale[0] = np.inf  # the uniform mode has no stiffness to compare with, and is known exactly
    return eigenvalue, shapes, residual / scale


def orthonormal(block: Floats, mass: csc_matrix) -> tuple[Floats, Floats]:
    """Return a block with mass-orthonormal columns spanning the same space, and the mass matrix times it."""
    mass_block = mass @ block
    back = np.linalg.inv(np.linalg.cholesky(block.T @ mass_block)).T
    return block @ back, mass_block @ back


def solve(factor: Any, right: NDArray[Any]) -> NDArray[Any]:
    """Return the solutions for all columns of ``right`` (unknowns, columns), half of many by a second thread."""
    parts = np.array_split(right, 2 if right.size > _MANY else 1, axis=1)
    if len(parts) == 1:
        return np.asarray(factor.solve(np.asfortranarray(right)))
    with ThreadPoolExecutor(2) as pool:  # SuperLU frees the lock
        return np.hstack(list(pool.map(factor.solve, map(np.asfortranarray, parts))))
