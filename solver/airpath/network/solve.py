"""Nodal analysis: the pressures at all joints, for all frequencies at once."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air
from airpath.elements.base import ComplexArray, Omega
from airpath.errors import AccuracyError
from airpath.network.graph import Branch, Network

_DENSE_NODES = 32  # up to here a batched dense solve is quicker than a sparse one
_SPARSE_BLOCK = 64  # frequencies factorised together as one block-diagonal matrix
BALANCE_LIMIT = 1e-6


@dataclass(frozen=True, kw_only=True)
class State:
    """Solution for 1 V RMS at each driver: everything linear in it.

    Arrays may have one more axis in front, for several states of one box (:mod:`covered`); ``omega`` is (n,) always.
    ``pressure`` (n, nodes) [Pa/V] in the order of ``nodes``; ``flow``: per branch the volume velocity into each of its
    terminals (n, terminals) [m^3/s per V]; ``velocity`` of the cone [m/s per V]; ``current`` of one driver [A/V];
    ``imbalance``: relative error of the power balance (n,); ``parts``: the branches' admittances, if they were kept.
    """

    omega: Omega
    nodes: tuple[str, ...]
    pressure: ComplexArray
    flow: tuple[ComplexArray, ...]
    velocity: ComplexArray
    current: ComplexArray
    imbalance: NDArray[np.float64]
    parts: tuple[ComplexArray, ...] = ()

    def at(self, node: str) -> ComplexArray:
        """Return the pressure at a node [Pa/V], (n,)."""
        return self.pressure[..., self.nodes.index(node)]


def solve_network(network: Network, omega: Omega, admittances: list[ComplexArray] | None = None) -> State:
    """Solve a network at angular frequencies ``omega`` (n,) [rad/s] for 1 V at each driver.

    ``admittances``: the branches' own, where they are known already. Raises AccuracyError if the power from the
    terminals isn't found again in the branches.
    """
    parts = admittances or branch_admittances(network.branches, omega, network.air)
    nodes = tuple(network.nodes)
    pressure = driven_pressure(network, omega, parts)
    flow = tuple(
        np.einsum("nij,nj->ni", y, terminal_pressures(branch, nodes, pressure))
        for branch, y in zip(network.branches, parts, strict=True)
    )
    taken = np.zeros(len(omega))
    for i, branch in enumerate(network.branches):
        if i != network.driver:
            taken = taken + branch_power(branch, flow[i], nodes, pressure)
    return replace(balanced(network, omega, nodes, pressure, flow, taken), parts=tuple(parts))


def driven_pressure(network: Network, omega: Omega, parts: list[ComplexArray]) -> ComplexArray:
    """Return the pressures at the nodes [Pa/V], (n, nodes), from the branches' admittances; nothing is checked yet.

    Raises AccuracyError if there is no solution.
    """
    nodes = tuple(network.nodes)
    source = np.zeros((len(omega), len(nodes)), dtype=np.complex128)
    injection = network.cone.injection(omega)
    for node, sign in zip(network.branches[network.driver].nodes, (1.0, -1.0), strict=True):
        if node in nodes:
            source[:, nodes.index(node)] += sign * injection
    pressure = solve_nodal(network.branches, parts, nodes, source)
    if not np.all(np.isfinite(pressure)):
        raise AccuracyError("the network has no solution at some frequency: a part without any loss resonates there")
    return pressure


def balanced(
    network: Network, omega: Omega, nodes: tuple[str, ...], pressure: ComplexArray, flow: tuple[ComplexArray, ...],
    taken: NDArray[np.float64],
) -> State:  # fmt: skip
    """Return the solution with what the driver does, its power balance checked.

    ``pressure`` (..., n, nodes), ``flow`` per branch (..., n, terminals), ``taken`` (..., n): power that goes into
    all branches but the driver's [W per V^2]. Raises AccuracyError if the balance is off.
    """
    terminal = terminal_pressures(network.branches[network.driver], nodes, pressure)
    velocity = network.cone.velocity(omega, terminal[..., 1] - terminal[..., 0])
    current = network.cone.current(omega, velocity)
    imbalance = _imbalance(network, omega, velocity, current, taken)
    if not np.iscomplexobj(omega) and imbalance.max(initial=0.0) > BALANCE_LIMIT:
        worst = float(imbalance.max())
        where = omega[int(imbalance.argmax()) % len(omega)] / (2 * np.pi)
        raise AccuracyError(
            f"the power balance is off by {worst:.1e} at {where:.4g} Hz "
            f"(limit {BALANCE_LIMIT:.0e}): the result can't be trusted there"
        )
    return State(
        omega=omega, nodes=nodes, pressure=pressure, flow=flow, velocity=velocity, current=current, imbalance=imbalance
    )


def branch_admittances(branches: tuple[Branch, ...], omega: Omega, air: Air) -> list[ComplexArray]:
    """Return each branch's admittance matrix, equal elements computed once."""
    known: dict[int, ComplexArray] = {}
    out = []
    for branch in branches:
        key = id(branch.element)
        if key not in known:
            known[key] = branch.element.admittance(omega, air)
        out.append(known[key])
    return out


def solve_nodal(
    branches: tuple[Branch, ...], parts: list[ComplexArray], nodes: tuple[str, ...], source: ComplexArray
) -> ComplexArray:
    """Sum branch admittances into the nodal matrix and solve it for ``source`` [m^3/s], (n, nodes) or (n, nodes, k)."""
    index = {node: i for i, node in enumerate(nodes)}
    entries = [
        (index[a], index[b], y[:, i, j])
        for branch, y in zip(branches, parts, strict=True)
        for i, a in enumerate(branch.nodes)
        for j, b in enumerate(branch.nodes)
        if a in index and b in index
    ]
    n, size = source.shape[:2]
    if size > _DENSE_NODES:
        return _solve_sparse(entries, source)
    matrix = np.zeros((n, size, size), dtype=np.complex128)
    for a, b, y in entries:
        matrix[:, a, b] += y
    try:
        return np.asarray(np.linalg.solve(matrix, source.reshape(n, size, -1)).reshape(source.shape))
    except np.linalg.LinAlgError:
        return np.full(source.shape, np.nan, dtype=np.complex128)


def _solve_sparse(entries: list[tuple[int, int, ComplexArray]], source: ComplexArray) -> ComplexArray:
    """Solve many frequencies as one block-diagonal sparse system: cost grows with the branches, not their cube."""
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import splu

    n, size = source.shape[:2]
    rows = np.array([a for a, _, _ in entries])
    columns = np.array([b for _, b, _ in entries])
    values = np.stack([y for _, _, y in entries], axis=1)
    out = np.empty_like(source)
    for start in range(0, n, _SPARSE_BLOCK):
        block = values[start : start + _SPARSE_BLOCK]
        offset = np.arange(len(block))[:, None] * size
        shape = (len(block) * size,) * 2
        matrix = coo_array((block.ravel(), ((rows + offset).ravel(), (columns + offset).ravel())), shape=shape)
        factor = splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A")
        right = source[start : start + len(block)]
        out[start : start + len(block)] = factor.solve(right.reshape(len(block) * size, -1)).reshape(right.shape)
    return out


def terminal_pressures(branch: Branch, nodes: tuple[str, ...], pressure: ComplexArray) -> ComplexArray:
    """Return the pressures at a branch's terminals, (..., n, terminals); the reference has none."""
    out = np.zeros((*pressure.shape[:-1], len(branch.nodes)), dtype=np.complex128)
    for terminal, node in enumerate(branch.nodes):
        if node in nodes:
            out[..., terminal] = pressure[..., nodes.index(node)]
    return out


def branch_power(branch: Branch, flow: ComplexArray, nodes: tuple[str, ...], pressure: ComplexArray) -> NDArray[Any]:
    """Return the power that goes into a branch and stays there [W per V^2], (n,)."""
    return np.asarray((np.conj(terminal_pressures(branch, nodes, pressure)) * flow).sum(axis=-1).real)


def _imbalance(
    network: Network, omega: Omega, velocity: ComplexArray, current: ComplexArray, taken: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Compare the power drawn at the terminals with what coil, suspension and every branch take."""
    cone = network.cone
    drawn = cone.count * current.real
    used = cone.count * (cone.coil(omega).real * np.abs(current) ** 2 + cone.resistance * np.abs(velocity) ** 2)
    return np.asarray(np.abs(drawn - used - taken) / np.abs(drawn))
