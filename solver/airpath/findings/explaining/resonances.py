"""True complex natural frequencies of a box, and the pressures with which it swings at them.

Two sets matter for an impedance curve. With the coil open the cone is free: there the impedance has its poles, near its
peaks. With the cone clamped the rest of the box swings alone: there the motional impedance is zero, near the dips.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air
from airpath.elements.base import ComplexArray
from airpath.elements.cone import Cone as ConeElement
from airpath.network.graph import Branch, Network
from airpath.network.solve import branch_admittances, driven_pressure, terminal_pressures

Cone = Literal["free", "clamped"]
STEP = 1e-5  # relative, of difference quotients over frequency
_ROUNDS = 12
_CONVERGED = 1e-7  # the last step: the iteration converges cubically, so that its result is better by far
_SAME = 0.02  # of the half-width: closer ones are the same


@dataclass(frozen=True, kw_only=True)
class Shape:
    """How a box swings at a natural frequency ``omega`` [rad/s]: ``pressure`` (nodes,) in the order of ``nodes``.

    ``parts``: per branch its admittance at omega (1 + h (0, 1, -1)), (3, terminals, terminals), h = ``STEP``.
    """

    omega: complex
    branches: tuple[Branch, ...]
    nodes: tuple[str, ...]
    pressure: ComplexArray
    parts: tuple[ComplexArray, ...]

    def at(self, branch: Branch) -> ComplexArray:
        """Return the pressures at the terminals of a branch, (terminals,); the reference has none."""
        known = dict(zip(self.nodes, self.pressure, strict=True))
        return np.array([known.get(node, 0.0) for node in branch.nodes], dtype=np.complex128)

    def flow(self, branch: Branch) -> ComplexArray:
        """Return the volume velocities into the terminals of a branch, (terminals,)."""
        index = next(i for i, own in enumerate(self.branches) if own is branch)
        return np.asarray(self.parts[index][0] @ self.at(branch))


def mobility(network: Network, omega: NDArray[Any], parts: list[ComplexArray] | None = None) -> ComplexArray:
    """Return cone velocity per force of the coil [m/(s N)], (n,), with everything that the air does to it.

    ``omega`` may be complex. ``parts``: the branches' admittances, where they are known already. The power balance is
    not checked: it means nothing off the real axis.
    """
    known = branch_admittances(network.branches, omega, network.air) if parts is None else parts
    with np.errstate(divide="ignore", invalid="ignore"):
        pressure = driven_pressure(network, omega, known)
        terminal = terminal_pressures(network.branches[network.driver], tuple(network.nodes), pressure)
        velocity = network.cone.velocity(omega, terminal[:, 1] - terminal[:, 0])
        current = network.cone.current(omega, velocity)
        return np.asarray(velocity / (network.cone.force_factor * current))


def refine(
    network: Network, start: NDArray[Any], cone: Cone, rounds: int = _ROUNDS, within: float = _CONVERGED
) -> ComplexArray:
    """Return natural frequencies [rad/s] near ``start`` (n,) with a free or a clamped cone; see `refine_both`."""
    none = np.zeros(0, dtype=np.complex128)
    if cone == "free":
        return refine_both(network, start, none, rounds, within)[0]
    return refine_both(network, none, start, rounds, within)[1]


def refine_both(
    network: Network, free: NDArray[Any], clamped: NDArray[Any], rounds: int = _ROUNDS, within: float = _CONVERGED
) -> tuple[ComplexArray, ComplexArray]:
    """Return natural frequencies [rad/s] near starts with a free and with a clamped cone, (n,) and (m,).

    nan where the last step wasn't ``within`` (relative). Inverse iteration on the nodal matrix, Y(w) x = Y'(w) x0, with
    w - x^T Y x / x^T Y' x as the next frequency (Ruhe 1973, SIAM J. Numer. Anal. 10, 674, in its symmetric form), from
    the swing that the cone excites. It holds on to weak resonances, whose pole and zero lie close together. Kept are
    decaying, oscillating ones only.
    """
    branches = swinging(network, "free")
    nodes = tuple(network.nodes)
    start = np.concatenate([free, clamped]).astype(np.complex128)
    loose = np.arange(len(start)) < len(free)
    omega, done = start.copy(), np.zeros(len(start), dtype=bool)
    if not len(omega) or not len(nodes):
        return np.full(len(free), complex(np.nan, np.nan)), np.full(len(clamped), complex(np.nan, np.nan))
    front, rear = network.branches[network.driver].nodes
    push = np.array([float(node == front) - float(node == rear) for node in nodes])
    x = np.tile(push[:, None].astype(complex), (len(omega), 1, 1))
    anchor = 1.2 * np.abs(omega).max(keepdims=True)  # modal sums then end at the same place every time
    for round_ in range(rounds):
        live = np.flatnonzero(~done & np.isfinite(omega))
        if not len(live):
            break
        here, h = omega[live], STEP * np.abs(omega[live])
        with np.errstate(all="ignore"):
            points = np.concatenate([here, here + h, here - h, anchor])
            every = nodal_matrix(branches, nodes, network.air, points, np.append(np.tile(loose[live], 3), True))
            y, above, below = every[:-1].reshape(3, len(live), len(nodes), len(nodes))
            slope = (above - below) / (2 * h)[:, None, None]
            x[live] = _inverse(y, x[live] if round_ == 0 else slope @ x[live])
            left = x[live].swapaxes(1, 2)
            step = (left @ y @ x[live] / (left @ slope @ x[live]))[:, 0, 0]
            bound = 0.1 * np.abs(here)
            step = np.where(np.abs(step) > bound, step / np.abs(step) * bound, step)
        new = here - step
        lost = (new.real <= 0.2 * start.real[live]) | (new.real > 5 * start.real[live])
        lost |= np.abs(new.imag) > new.real
        omega[live] = np.where(lost, np.nan, new)
        done[live] = np.abs(step) < within * np.abs(here)
    good = done & np.isfinite(omega) & (omega.imag > 0)
    omega = np.where(good, omega, complex(np.nan, np.nan))
    return omega[: len(free)], omega[len(free) :]


def _inverse(matrix: ComplexArray, right: ComplexArray) -> ComplexArray:
    """Return matrix^-1 right, (n, m, 1), scaled to a largest entry of 1; a singular matrix is nudged off."""
    try:
        found = np.linalg.solve(matrix, right)
    except np.linalg.LinAlgError:
        found = np.linalg.solve(matrix + 1e-14 * np.abs(matrix).max() * np.eye(matrix.shape[-1]), right)
    return np.asarray(found / np.abs(found).max(axis=1, keepdims=True))


def distinct(omega: ComplexArray) -> ComplexArray:
    """Return the finite ones in rising order, each once."""
    kept: list[complex] = []
    for value in sorted(omega[np.isfinite(omega)].tolist(), key=lambda w: w.real):
        if all(abs(value - other) > _SAME * value.imag for other in kept):
            kept.append(value)
    return np.array(kept, dtype=np.complex128)


def shape(network: Network, omega: complex, cone: Cone) -> Shape:
    """Return how the box swings at one natural frequency."""
    return shapes(network, [(omega, cone)])[0]


def shapes(network: Network, natural: Sequence[tuple[complex, Cone]]) -> list[Shape]:
    """Return how the box swings at natural frequencies: the null vectors of the nodal matrix there."""
    if not natural:
        return []
    omega = np.array([w for w, _ in natural])
    beside = omega * (1.05 + 0.05j)  # off the resonance, where every node has its usual size
    points = np.concatenate([omega, omega + STEP * np.abs(omega), omega - STEP * np.abs(omega), beside])
    loose, nodes = swinging(network, "free"), tuple(network.nodes)
    parts = branch_admittances(loose, points, network.air)
    free = np.tile([cone == "free" for _, cone in natural], 4)
    every = _summed(loose, parts, nodes, free).reshape(4, len(omega), len(nodes), len(nodes))
    out = []
    for i, (w, cone) in enumerate(natural):
        scale = 1 / np.sqrt(np.abs(np.diag(every[3, i])))
        _, _, right = np.linalg.svd(scale[:, None] * every[0, i] * scale)
        taking = [k for k, b in enumerate(loose) if cone == "free" or not isinstance(b.element, ConeElement)]
        own = tuple(parts[k].reshape(4, len(omega), *parts[k].shape[1:])[:3, i] for k in taking)
        branches = tuple(loose[k] for k in taking)
        out.append(Shape(omega=w, branches=branches, nodes=nodes, pressure=scale * right[-1].conj(), parts=own))
    return out


def nodal_matrix(
    branches: tuple[Branch, ...], nodes: tuple[str, ...], air: Air, omega: NDArray[Any], free: NDArray[np.bool_]
) -> ComplexArray:
    """Return the sum of all branch admittances [m^3/(s Pa)], (n, nodes, nodes); ``free`` (n,): where the cone moves."""
    return _summed(branches, branch_admittances(branches, omega, air), nodes, free)


def _summed(
    branches: tuple[Branch, ...], parts: Sequence[ComplexArray], nodes: tuple[str, ...], free: NDArray[np.bool_]
) -> ComplexArray:
    index = {node: i for i, node in enumerate(nodes)}
    matrix = np.zeros((len(free), len(nodes), len(nodes)), dtype=np.complex128)
    for branch, y in zip(branches, parts, strict=True):
        own = y * free[:, None, None] if isinstance(branch.element, ConeElement) else y
        for i, a in enumerate(branch.nodes):
            for j, b in enumerate(branch.nodes):
                if a in index and b in index:
                    matrix[:, index[a], index[b]] += own[:, i, j]
    return matrix


def swinging(network: Network, cone: Cone) -> tuple[Branch, ...]:
    """Return the branches that take part: all with the coil open, or all but the clamped cone."""
    driver = network.branches[network.driver]
    if cone == "clamped":
        return tuple(branch for branch in network.branches if branch is not driver)
    free = replace(driver, element=replace(network.cone, force_factor=0.0))
    return tuple(free if branch is driver else branch for branch in network.branches)
