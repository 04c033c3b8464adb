"""One sweep instead of a thousand solves: a small model of a chamber, with a certified error.

The basis starts as the standing waves of the band, each bent by its losses, and the static response of each
opening. Where the certificate is not met, one factorisation at the worst frequency turns the residuals there
and at a few other bad frequencies into errors, which join the basis.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

from airpath.errors import AccuracyError
from airpath.field.certificate import draw_probes
from airpath.field.forms import FieldMatrices
from airpath.field.modes import factorise, solve, standing_waves
from airpath.field.reduced import ReducedField
from airpath.field.space import dressed_space
from airpath.field.walls import Medium

Floats = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_PLACES = 5  # frequencies that enrich the basis with one factorisation
_NOVEL = 0.03  # directions that errors share to this degree are one: near copies would only add rounding
_COARSE = 6  # the basis grows on every sixth frequency, then meets them all
_PART = 1e-6  # a real or imaginary part below this share of its error is rounding


@dataclass(frozen=True, kw_only=True)
class FieldSweep:
    """Impedance of a chamber over frequency.

    ``frequency`` [Hz] (n,); ``impedance`` Z [Pa s/m^3] (n, m, m), mean pressure on opening i per unit
    volume velocity into the chamber at opening j; ``claimed_error`` (n,), bound on the Frobenius norm of
    its error over its own.
    """

    frequency: Floats
    impedance: ComplexArray
    claimed_error: Floats
    unknowns: int
    order: int
    basis_size: int
    factorisations: int


def reduce_field(
    matrices: FieldMatrices, medium: Medium, frequency: Floats, tolerance: float = 1e-6, rounds: int = 12
) -> tuple[ReducedField, FieldSweep]:
    """Return the reduced model and its sweep, the claimed error at most ``tolerance`` at every frequency.

    ``frequency`` [Hz], (n,); the highest sets the band. A frequency once certified keeps its result: later
    rounds only look at the others. Raises AccuracyError when ``rounds`` rounds do not bring the claim down,
    or when a direct solution contradicts it.
    """
    frequency = np.asarray(frequency, dtype=float)
    omega = 2.0 * np.pi * frequency
    with threadpool_limits(limits=1):
        model = _first_model(matrices, medium, float(np.max(frequency)))
        model = _certify(model, omega[::_COARSE], 0.5 * tolerance, rounds)[0]
        model, impedance, claim = _certify(model, omega, tolerance, rounds)
        sharpest = int(np.argmax(np.linalg.norm(impedance, axis=(1, 2)) * omega))
        model.direct_check(omega[sharpest], model.direct(omega[sharpest]))
    return model, FieldSweep(
        frequency=frequency,
        impedance=impedance,
        claimed_error=claim,
        unknowns=matrices.unknowns,
        order=matrices.order,
        basis_size=model.load.shape[0],
        factorisations=model.factorisations + 1,
    )


def _certify(
    model: ReducedField, omega: Floats, tolerance: float, rounds: int
) -> tuple[ReducedField, ComplexArray, Floats]:
    """Return the model, enriched until certified at every ``omega`` [rad/s], with Z (n, m, m) and its
    claims (n,).
    """
    impedance, claim = model.certified(omega)
    for _ in range(rounds):
        left = np.flatnonzero(claim > tolerance)
        if len(left) == 0:
            return model, impedance, claim
        model = _enrich(model, omega[_worst(omega, claim, tolerance)])
        impedance[left], claim[left] = model.certified(omega[left])
    if np.all(claim <= tolerance):
        return model, impedance, claim
    place = int(np.argmax(claim))
    raise AccuracyError(
        f"field sweep: claimed error {claim[place]:.1e} at {omega[place] / (2.0 * np.pi):.5g} Hz "
        f"after {rounds} rounds, limit {tolerance:.0e}"
    )


def _worst(omega: Floats, claim: Floats, tolerance: float) -> list[int]:
    """Return the places of the largest claims above the tolerance, a twelfth of the frequency apart."""
    claim = claim.copy()
    places: list[int] = []
    while len(places) < _PLACES and claim.max() > tolerance:
        places.append(int(np.argmax(claim)))
        claim[np.abs(omega / omega[places[-1]] - 1.0) < 0.08] = 0.0
    return places


def _first_model(matrices: FieldMatrices, medium: Medium, highest_hz: float) -> ReducedField:
    modes = standing_waves(matrices, 2.0 * np.pi * highest_hz / medium.air.sound_speed)
    space, mix = dressed_space(matrices, medium, modes)
    probes = draw_probes(matrices, modes.cut)
    small, probe_small = _products(matrices, space, space, probes)
    return ReducedField(
        matrices=matrices,
        medium=medium,
        modes=modes,
        space=space,
        mix=mix,
        probes=probes,
        small=mix.T @ small @ mix,
        load=mix.T @ (space.T @ matrices.means),
        probe_small=probe_small @ mix,
        probe_load=probes.T @ matrices.means,
        factorisations=3,
    )


def _products(
    matrices: FieldMatrices, left: Floats, right: Floats, probes: Floats
) -> tuple[NDArray[Any], NDArray[Any]]:
    """Return left^T Q right and probes^T Q right for all operators Q."""
    pairs = []
    for rows, operator in matrices.occupied:
        every = len(rows) == len(left)
        image = operator @ (right if every else right[rows])
        pairs.append(tuple((side if every else side[rows]).T @ image for side in (left, probes)))
    return np.stack([pair[0] for pair in pairs]), np.stack([pair[1] for pair in pairs])


def _residual(matrices: FieldMatrices, coefficients: ComplexArray, fields: ComplexArray) -> ComplexArray:
    """Return what ``fields`` (unknowns, n m) leave of the unit right-hand sides at n frequencies, (unknowns, n m)."""
    openings = matrices.means.shape[1]
    residual = np.tile(matrices.means.astype(complex), len(coefficients))
    for weight, (rows, operator) in zip(np.repeat(coefficients, openings, axis=0).T, matrices.occupied, strict=True):
        residual[rows] -= _times(operator, fields[rows]) * weight
    return residual


def _times(real: Any, right: ComplexArray) -> ComplexArray:
    """Return a real matrix, dense or sparse, times a complex one, without a complex copy of the first."""
    return np.asarray((real @ np.ascontiguousarray(right).view(float)).view(complex))


def _enrich(model: ReducedField, omega: Floats) -> ReducedField:
    """Return the model with its errors at ``omega`` [rad/s] in the basis, after checking its claim at the
    first.

    One factorisation, at the first frequency, serves all: there it turns the residual into the error
    itself, at the others into most of it, because what the basis misses lies above the band. Real and imaginary parts
    join apart: one complex column leaves a residual whose squares cancel, which no bound on its size can see.
    """
    matrices, m = model.matrices, model.load.shape[1]
    coefficients = model.medium.coefficients(omega)
    fields = _times(model.space, model.mix @ np.hstack(list(model.coordinates(omega))))
    residual = _residual(matrices, coefficients, fields)
    errors = solve(factorise(matrices.combined(coefficients[0])), residual)
    model.direct_check(omega[0], fields[:, :m] + errors[:, :m])
    parts = np.hstack([errors.real, errors.imag])
    size = np.sqrt(np.sum(parts * (matrices.operators[1] @ parts), axis=0))
    kept = size > _PART * np.tile(np.hypot(*np.split(size, 2)), 2)
    return _add(model, parts[:, kept] / size[kept])


def _add(model: ReducedField, fields: Floats) -> ReducedField:
    """Return the model with what ``fields`` (unknowns, columns) of mean square 1 span as columns of its basis."""
    matrices = model.matrices
    size, turn = np.linalg.eigh(fields.T @ (matrices.operators[1] @ fields))
    kept = size > _NOVEL**2
    fields = fields @ (turn[:, kept] / np.sqrt(size[kept]))
    count, (rows, columns) = fields.shape[1], model.mix.shape
    space = np.hstack([model.space, fields])
    inner, seen = _products(matrices, space, fields, model.probes)
    cross = model.mix.T @ inner[:, :rows]
    lower = np.concatenate([np.swapaxes(cross, 1, 2), inner[:, rows:]], axis=2)
    zero = np.zeros((rows, count)), np.zeros((count, columns))
    return replace(
        model,
        space=space,
        mix=np.block([[model.mix, zero[0]], [zero[1], np.eye(count)]]),
        small=np.concatenate([np.concatenate([model.small, cross], axis=2), lower], axis=1),
        load=np.vstack([model.load, fields.T @ matrices.means]),
        probe_small=np.concatenate([model.probe_small, seen], axis=2),
        factorisations=model.factorisations + 1,
    )
