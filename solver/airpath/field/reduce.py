"""One sweep instead of a thousand solves: a small model of a chamber, with a certified error.

The basis starts as the standing waves of the band, each bent by its losses, and the static response of each
opening. Where the certificate is not met, a factorisation at the worst frequency turns the residuals there
and at a few other bad frequencies into errors, which join the basis.

What that costs hardly depends on the number of frequencies. As measured in direct solutions (factorisation and
right-hand sides at one frequency), processor time of both threads, 1,000 frequencies, two or three openings:

    unknowns                   2,000   8,600   43,000   11,000 (folded, 90 waves)
    waves, bends, projection      14      12       11   46
    probes                         3       2        2    3
    growing the basis             18      14       11   39
    the small systems             24       4      0.4    9
    a direct check                 1       1        1    1

that is 60, 34, 25 and 98 of them, 10 to 40 times fewer than one at each frequency; two threads take off up to half.
A real factorisation is 0.65 and three are needed, a hundred real right-hand sides are 1.4 to 2, each wave asks for five
and the probes are 64: with one round of growing and the check no chamber of forty waves comes below about 9.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

from airpath.errors import AccuracyError
from airpath.field.certificate import draw_probes
from airpath.field.forms import FieldMatrices
from airpath.field.modes import cut_above, factorise, solve, standing_waves
from airpath.field.reduced import ReducedField
from airpath.field.space import dressed_space
from airpath.field.walls import Medium

Floats = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

_PLACES = 5  # frequencies that enrich the basis with one factorisation
_LARGE = 4000  # unknowns from which two factorisations, side by side, take less time than the round they save
_NOVEL = 0.03  # directions that errors share to this degree are one: near copies would only add rounding
_COARSE = 65  # frequencies that the basis grows on, before it meets them all
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
        model = _certify(model, omega[:: max(1, len(omega) // _COARSE)], 0.5 * tolerance, rounds)[0]
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
        factors = 2 if model.matrices.unknowns > _LARGE else 1
        model = _enrich(model, _groups(omega[_worst(omega, claim, tolerance, factors * _PLACES)], factors))
        impedance[left], claim[left] = model.certified(omega[left])
    if np.all(claim <= tolerance):
        return model, impedance, claim
    place = int(np.argmax(claim))
    raise AccuracyError(
        f"field sweep: claimed error {claim[place]:.1e} at {omega[place] / (2.0 * np.pi):.5g} Hz "
        f"after {rounds} rounds, limit {tolerance:.0e}"
    )


def _worst(omega: Floats, claim: Floats, tolerance: float, most: int) -> list[int]:
    """Return the ``most`` places of the largest claims above the tolerance, a twelfth of the frequency apart."""
    claim = claim.copy()
    places: list[int] = []
    while len(places) < most and claim.max() > tolerance:
        places.append(int(np.argmax(claim)))
        claim[np.abs(omega / omega[places[-1]] - 1.0) < 0.08] = 0.0
    return places


def _groups(omega: Floats, factors: int) -> list[Floats]:
    """Return ``omega`` (n,), worst first, in one group or two: near the worst, and near the farthest from it."""
    away = np.abs(np.log(omega / omega[0]))
    order = np.argsort(away)
    far = int(np.count_nonzero(away > 0.5 * away.max())) if factors > 1 else 0
    return [part for part in (omega[order[: len(omega) - far]], omega[order[::-1][:far]]) if len(part)]


def _first_model(matrices: FieldMatrices, medium: Medium, highest_hz: float) -> ReducedField:
    wavenumber = 2.0 * np.pi * highest_hz / medium.air.sound_speed
    with ThreadPoolExecutor(1) as pool:
        drawn = pool.submit(draw_probes, matrices, cut_above(wavenumber))
        modes = standing_waves(matrices, wavenumber)
        space, mix = dressed_space(matrices, medium, modes)
        probes = drawn.result()
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

    def sides(occupied: tuple[NDArray[np.int64], Any]) -> tuple[Floats, Floats]:
        rows, operator = occupied
        every = len(rows) == len(left)
        image = operator @ (right if every else right[rows])
        return left.T @ image if every else left[rows].T @ image, probes.T @ image if every else probes[rows].T @ image

    with ThreadPoolExecutor(2) as pool:
        pairs = list(pool.map(sides, matrices.occupied))
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


def _enrich(model: ReducedField, groups: list[Floats]) -> ReducedField:
    """Return the model with its errors at all ``groups`` [rad/s] in the basis, after checking its claim at the first.

    Real and imaginary parts join apart: one complex column leaves a residual whose squares cancel, which no bound on
    its size can see.
    """
    with ThreadPoolExecutor(len(groups)) as pool:  # SuperLU frees the lock
        found = list(pool.map(partial(_errors, model), groups))
    model.direct_check(groups[0][0], found[0][0])
    errors = np.hstack([errors for _, errors in found])
    parts = np.hstack([errors.real, errors.imag])
    size = np.sqrt(np.sum(parts * (model.matrices.operators[1] @ parts), axis=0))
    kept = size > _PART * np.tile(np.hypot(*np.split(size, 2)), 2)
    model = replace(model, factorisations=model.factorisations + len(groups))
    return _add(model, parts[:, kept] / size[kept])


def _errors(model: ReducedField, omega: Floats) -> tuple[ComplexArray, ComplexArray]:
    """Return the full solutions (unknowns, m) at the first ``omega`` [rad/s] (n,); the errors at all, (unknowns, n m).

    One factorisation, at the first, serves all: there it turns the residual into the error itself, at the others into
    most of it, because what the basis misses lies above the band.
    """
    matrices, m = model.matrices, model.load.shape[1]
    coefficients = model.medium.coefficients(omega)
    fields = _times(model.space, model.mix @ np.hstack(list(model.coordinates(omega))))
    errors = solve(factorise(matrices.combined(coefficients[0])), _residual(matrices, coefficients, fields))
    return fields[:, :m] + errors[:, :m], errors


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
    )
