"""The impedance at the terminals and how it moves with any value of the case, from one solve of the network.

For 1 V at each driver the current is I = I0 + s^T p / count with Y p = s, and Y is symmetric. So
dI = dI0 + (2 ds^T p - p^T dY p) / count: the solution itself is the adjoint one, and only the branches that a value
changes are worked out again, by a difference of the element alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from airpath.case.schema import Case
from airpath.elements.base import ComplexArray
from airpath.elements.cone import Cone
from airpath.errors import AirpathError
from airpath.network.build import build
from airpath.network.graph import Network
from airpath.network.respond import wired
from airpath.network.reuse import Admittances, Seen, same
from airpath.network.solve import State, solve_network


@dataclass(frozen=True, kw_only=True)
class Turn:
    """One value turned a little: the ``case`` with it, and by how much it was turned, the ``span`` in its own unit.

    ``back``: the case with it turned as far the other way, for where no box can be built with ``case``: a port that
    just fits its wall can only become narrower.
    """

    case: Case
    span: float
    back: Case | None = None

    def built(self, model: str) -> tuple[Network, float]:
        """Return the network of the turned case and by how much it is turned. Raises what `build` raises."""
        try:
            return build(self.case, model), self.span
        except AirpathError:
            if self.back is None:
                raise
            return build(self.back, model), -self.span


def log_impedance(
    case: Case, model: str, omega: NDArray[np.float64], seen: Seen | None = None
) -> ComplexArray:
    """Return ln Z of the impedance at the terminals [ohm], (n,), at ``omega`` (n,) [rad/s].

    ``seen``: what elements do, from solves before.
    Raises FidelityError, CaseError or AccuracyError.
    """
    network = build(case, model)
    parts = (seen or Seen()).at(omega).of(network.branches, network.air)
    return np.asarray(np.log(wired(case)) - np.log(solve_network(network, omega, parts).current))


def slopes(
    case: Case, model: str, omega: NDArray[np.float64], turns: list[Turn], seen: Seen | None = None
) -> tuple[ComplexArray, ComplexArray]:
    """Return ln Z (n,) and its derivative over each turned value (n, len(turns)), per unit of the turn's span.

    ``seen``: what elements do, from solves before.
    Raises FidelityError, CaseError or AccuracyError.
    Source: Director & Rohrer 1969, IEEE Trans. Circuit Theory 16, 318 (adjoint network; here it is the network itself),
    from memory.
    Checked by: unit/test_fit_derivatives.
    """
    network = build(case, model)
    known = (seen or Seen()).at(omega)
    parts = known.of(network.branches, network.air)
    state = solve_network(network, omega, parts)
    out = np.empty((len(omega), len(turns)), dtype=np.complex128)
    for i, turn in enumerate(turns):
        turned, span = turn.built(model)
        out[:, i] = -_current_change(network, parts, state, turned, known) / (state.current * span)
    return np.asarray(np.log(wired(case)) - np.log(state.current)), out


def _current_change(
    network: Network, parts: list[ComplexArray], state: State, turned: Network, known: Admittances
) -> ComplexArray:
    """Return by how much the current of one driver changes when the network is turned (n,) [A/V]."""
    if [len(b.nodes) for b in network.branches] != [len(b.nodes) for b in turned.branches]:  # joints merged or parted
        return np.asarray(solve_network(turned, state.omega).current - state.current)
    total, zero = (np.zeros(len(state.omega), dtype=np.complex128) for _ in range(2))
    count, nodes = network.cone.count, set(state.nodes)
    for branch, y, other in zip(network.branches, parts, turned.branches, strict=True):
        was, now = branch.element, other.element
        if same(was, now):
            continue
        p = np.stack([state.at(node) if node in nodes else zero for node in branch.nodes], axis=1)
        total -= np.einsum("ni,nij,nj->n", p, known.of([other], network.air)[0] - y, p) / count
        if isinstance(was, Cone) and isinstance(now, Cone):
            push = now.injection(state.omega) - was.injection(state.omega)
            total += _still(now, state) - _still(was, state) + 2 * push * (p[:, 0] - p[:, 1]) / count
    return total


def _still(cone: Cone, state: State) -> ComplexArray:
    """Return the current of one driver with no pressure on the cone [A/V], (n,)."""
    return cone.current(state.omega, cone.velocity(state.omega, np.zeros(len(state.omega), dtype=np.complex128)))
