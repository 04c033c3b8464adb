"""One sweep instead of a thousand solves: a small model of a chamber, with a certified error.

The basis starts as the standing waves of the band, each bent by its losses, and the static response of each
opening. Where the certificate is not met, one factorisation at the worst frequency turns the residuals there
and at a few other bad frequencies into errors, which join the basis.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

from airpath.errors import AccuracyError
from airpath.field.certificate import claimed_error, coercivity, draw_probes
from airpath.field.forms import FieldMatrices
from airpath.field.modes import Modes, factorise, solve, standing_waves
from airpath.field.space import dressed_space
from airpath.field.walls import Medium

Floats = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Omega = NDArray[Any]

_CHUNK = 50  # frequencies solved together: their small matrices stay in the cache
_PLACES = 5  # frequencies that enrich the basis with one factorisation
_NOVEL = 0.03  # directions that errors share to this degree are one: near copies would only add rounding
_COARSE = 6  # the basis grows on every sixth frequency, then meets them all
_MATRIX_ROUNDING = 1e-13  # relative rounding of the matrices: it moves poles, and shows close to them
_ROUNDING = 1e-10  # relative error that double precision leaves in either solution
_STIFF_ROUNDING = 1e-15  # of the stiffness's entries: it acts on an even pressure too, which they should not see at all
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


@dataclass(frozen=True, kw_only=True)
class ReducedField:
    """A chamber reduced to a few dozen unknowns, good at any w up to the band edge, also complex.

    ``space`` (unknowns, r) real and ``mix`` (r, N) complex: the basis is their product. ``small`` (4, N, N)
    and ``load`` (N, m) are the projected matrices; ``probe_small`` (4, probes, N) and ``probe_load``
    (probes, m) see the residual.
    """

    matrices: FieldMatrices
    medium: Medium
    modes: Modes
    space: Floats
    mix: ComplexArray
    probes: Floats
    small: ComplexArray
    load: ComplexArray
    probe_small: ComplexArray
    probe_load: Floats
    factorisations: int

    def coordinates(self, omega: Omega) -> ComplexArray:
        """Return the solutions for unit right-hand sides, (n, N, m); ``omega`` [rad/s] (n,), real or
        complex.
        """
        flat = self.medium.coefficients(omega) @ self.small.reshape(len(self.small), -1)
        matrix = flat.reshape(len(omega), *self.small.shape[1:])
        return np.asarray(np.linalg.solve(matrix, np.broadcast_to(self.load, (len(omega), *self.load.shape))))

    def impedance(self, omega: Omega) -> ComplexArray:
        """Return Z [Pa s/m^3], (n, m, m), analytic in ``omega`` [rad/s], (n,)."""
        omega = np.asarray(omega)
        factor = 1j * omega * self.medium.air.density
        parts = [self.load.T @ self.coordinates(part) for part in _chunks(omega)]
        return factor[:, None, None] * np.concatenate(parts)

    def pressure(self, omega: complex, flows: ComplexArray) -> ComplexArray:
        """Return p [Pa] at every unknown of the basis, for volume velocities [m^3/s] (m,) into the chamber.

        The first unknowns are the vertices; ``matrices.basis.refinterp`` gives a finer picture.
        """
        y = self.coordinates(np.array([omega]))[0] @ flows
        return np.asarray(1j * omega * self.medium.air.density * (self.space @ (self.mix @ y)))

    def energy(self, omega: float, flows: ComplexArray) -> tuple[float, float, float]:
        """Return potential and kinetic energy [J] of the bulk and lost power [W] for RMS flows [m^3/s]
        (m,).
        """
        pressure, air = self.pressure(omega, flows), self.medium.air
        stiffness, mass = (float(np.real(np.vdot(pressure, q @ pressure))) for q in self.matrices.operators[:2])
        power = float(np.real(np.vdot(flows, self.matrices.means.T @ pressure)))
        return 0.5 * mass / air.bulk_modulus, 0.5 * stiffness / (air.density * omega**2), power

    def certified(self, omega: Floats) -> tuple[ComplexArray, Floats]:
        """Return Z (n, m, m) and its claimed relative error (n,) at real ``omega`` [rad/s], (n,)."""
        with ThreadPoolExecutor(min(4, os.cpu_count() or 1)) as pool:  # the small solutions free the lock
            parts = list(pool.map(self._certified_part, _chunks(omega)))
        return np.concatenate([z for z, _ in parts]), np.concatenate([claim for _, claim in parts])

    def _certified_part(self, omega: Floats) -> tuple[ComplexArray, Floats]:
        scale = self.medium.air.density * omega
        coefficients, y = self.medium.coefficients(omega), self.coordinates(omega)
        z = 1j * scale[:, None, None] * (self.load.T @ y)
        seen = (coefficients @ self.probe_small.reshape(len(self.small), -1)).reshape(-1, *self.probe_small.shape[1:])
        bound = claimed_error(self.probe_load - seen @ y, scale, coercivity(coefficients, self.modes.cut))
        stored = np.sum(np.abs(y) ** 2, axis=2) @ np.abs(np.diagonal(self.small[0]))  # what rounding acts on
        squares = np.sum(np.abs(y) ** 2, axis=2) @ np.abs(np.diagonal(self.small[1])) / self.matrices.volume
        bound = bound + scale * (_MATRIX_ROUNDING * stored + _STIFF_ROUNDING * self._stiffness_norm * squares)
        return z, bound / np.linalg.norm(z, axis=(1, 2)) + _ROUNDING

    @cached_property
    def _stiffness_norm(self) -> float:
        """Frobenius norm of the stiffness [m]: how far its rounding can move a field of mean square 1."""
        return float(np.linalg.norm(self.matrices.operators[0].data))

    def direct(self, omega: float) -> ComplexArray:
        """Return the full solutions for unit right-hand sides, (unknowns, m), by one factorisation."""
        means = self.matrices.means
        matrix = combine(self.matrices, self.medium.coefficients(np.array([omega]))[0])
        factor = factorise(matrix)
        x = solve(factor, means.astype(complex))
        return np.asarray(x + solve(factor, means - matrix @ x))

    def direct_check(self, omega: float, solution: ComplexArray) -> None:
        """Raise AccuracyError when a direct ``solution`` (unknowns, m) is further off than claimed at
        ``omega``.
        """
        impedance, claim = self.certified(np.array([omega]))
        direct = 1j * omega * self.medium.air.density * (self.matrices.means.T @ solution)
        error = float(np.linalg.norm(direct - impedance[0]) / np.linalg.norm(direct))
        if error > claim[0]:
            raise AccuracyError(
                f"field sweep: error {error:.1e} at {omega / (2.0 * np.pi):.5g} Hz, claimed {claim[0]:.1e}"
            )


def combine(matrices: FieldMatrices, coefficients: ComplexArray) -> Any:
    """Return the full matrix A for the four coefficients (4,)."""
    return sum(c * q for c, q in zip(coefficients, matrices.operators, strict=True))


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


def _chunks(omega: Omega) -> Iterator[Omega]:
    return (omega[start : start + _CHUNK] for start in range(0, len(omega), _CHUNK))


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
    errors = solve(factorise(combine(matrices, coefficients[0])), residual)
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
