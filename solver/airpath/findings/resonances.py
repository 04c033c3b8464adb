"""True complex natural frequencies of a box, and the pressures with which it swings at them.

Two sets matter for an impedance curve. With the coil open the cone is free: there the impedance has its poles, near its
peaks. With the cone clamped the rest of the box swings alone: there the motional impedance is zero, near the dips.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air
from airpath.elements.base import ComplexArray
from airpath.network.graph import Branch, Network
from airpath.network.solve import branch_admittances, solve_network

Cone = Literal["free", "clamped"]
_STEP = 1e-5  # relative step of the difference quotient
_ROUNDS = 12
_CONVERGED = 1e-9
_SAME = 0.02  # of the half-width: closer ones are the same


@dataclass(frozen=True, kw_only=True)
class Shape:
    """How a box swings at a natural frequency ``omega`` [rad/s]: ``pressure`` (nodes,) in the order of ``nodes``."""

    omega: complex
    branches: tuple[Branch, ...]
    nodes: tuple[str, ...]
    pressure: ComplexArray

    def at(self, branch: Branch) -> ComplexArray:
        """Return the pressures at the terminals of a branch, (terminals,); the reference has none."""
        known = dict(zip(self.nodes, self.pressure, strict=True))
        return np.array([known.get(node, 0.0) for node in branch.nodes], dtype=np.complex128)


def mobility(network: Network, omega: NDArray[Any], parts: list[ComplexArray] | None = None) -> ComplexArray:
    """Return cone velocity per force of the coil [m/(s N)], (n,), with everything that the air does to it.

    ``parts``: the branches' admittances, where they are known already.
    """
    with np.errstate(divide="ignore", invalid="ignore"):  # a power balance means nothing off the real axis
        state = solve_network(network, omega, parts)
    return np.asarray(state.velocity / (network.cone.force_factor * state.current))


def refine(
    network: Network, start: NDArray[Any], cone: Cone, rounds: int = _ROUNDS, within: float = _CONVERGED
) -> ComplexArray:
    """Return natural frequencies [rad/s] near ``start`` (n,); nan where the last step wasn't ``within`` (relative).

    Inverse iteration on the nodal matrix, Y(w) x = Y'(w) x0, with w - x^T Y x / x^T Y' x as the next frequency (Ruhe
    1973, SIAM J. Numer. Anal. 10, 674, in its symmetric form), from the swing that the cone excites. It holds on to
    weak resonances, whose pole and zero lie close together. Kept are decaying, oscillating ones only.
    """
    branches = swinging(network, cone)
    nodes = tuple(replace(network, branches=branches).nodes)
    omega = np.array(start, dtype=np.complex128)
    done = np.zeros(len(omega), dtype=bool)
    if not len(omega) or not len(nodes):
        return np.full(len(omega), complex(np.nan, np.nan))
    front, rear = network.branches[network.driver].nodes
    push = np.array([float(node == front) - float(node == rear) for node in nodes])
    x = np.tile(push[:, None].astype(complex), (len(omega), 1, 1))
    first = True
    anchor = 1.2 * np.abs(omega).max(keepdims=True)  # modal sums then end at the same place every time
    for _ in range(rounds):
        live = np.flatnonzero(~done & np.isfinite(omega))
        if not len(live):
            break
        here, h = omega[live], _STEP * np.abs(omega[live])
        with np.errstate(all="ignore"):
            every = nodal_matrix(branches, nodes, network.air, np.concatenate([here, here + h, here - h, anchor]))
            y, above, below = every[:-1].reshape(3, len(live), len(nodes), len(nodes))
            slope = (above - below) / (2 * h)[:, None, None]
            x[live] = _inverse(y, x[live] if first else slope @ x[live])
            first = False
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
    return np.where(good, omega, complex(np.nan, np.nan))


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
    """Return the pressures of the swing at a natural frequency: the null vector of the nodal matrix there."""
    branches = swinging(network, cone)
    nodes = tuple(replace(network, branches=branches).nodes)
    beside = omega * (1.05 + 0.05j)  # off the resonance, where every node has its usual size
    matrix, usual = nodal_matrix(branches, nodes, network.air, np.array([omega, beside]))
    scale = 1 / np.sqrt(np.abs(np.diag(usual)))
    _, _, right = np.linalg.svd(scale[:, None] * matrix * scale)
    return Shape(omega=omega, branches=branches, nodes=nodes, pressure=scale * right[-1].conj())


def nodal_matrix(branches: tuple[Branch, ...], nodes: tuple[str, ...], air: Air, omega: NDArray[Any]) -> ComplexArray:
    """Return the sum of all branch admittances [m^3/(s Pa)], (n, nodes, nodes)."""
    index = {node: i for i, node in enumerate(nodes)}
    matrix = np.zeros((len(omega), len(nodes), len(nodes)), dtype=np.complex128)
    for branch, y in zip(branches, branch_admittances(branches, omega, air), strict=True):
        for i, a in enumerate(branch.nodes):
            for j, b in enumerate(branch.nodes):
                if a in index and b in index:
                    matrix[:, index[a], index[b]] += y[:, i, j]
    return matrix


def swinging(network: Network, cone: Cone) -> tuple[Branch, ...]:
    """Return the branches that take part: all with the coil open, or all but the clamped cone."""
    driver = network.branches[network.driver]
    if cone == "clamped":
        return tuple(branch for branch in network.branches if branch is not driver)
    free = replace(driver, element=replace(network.cone, force_factor=0.0))
    return tuple(free if branch is driver else branch for branch in network.branches)
