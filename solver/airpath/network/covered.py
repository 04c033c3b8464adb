"""A box with some of its openings covered: all states from one solution of what they share.

What covering changes is a few branches at a few joints. The rest of the box is solved once, seen from those joints:
the pressures x that the driver makes there, and K, what a flow into them makes of the pressures. Putting branches of
admittance Y back at an opening's joints changes both by a small update (Sherman, Morrison & Woodbury, 1949-50),
x - K (1 + Y K)^-1 Y x, and states that begin alike share it. Physically it is Thevenin's theorem: blocked pressure
over internal impedance plus load.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from airpath.case.schema import Case
from airpath.elements.base import ComplexArray
from airpath.elements.chamber import Chamber, cube_wall_area
from airpath.errors import AccuracyError
from airpath.network import passages
from airpath.network.graph import OPEN_AIR, OUTSIDE, Branch, Network
from airpath.network.horns import horn_way
from airpath.network.solve import State, balanced, branch_admittances, solve_nodal

End = Literal["outer", "inner"]


@dataclass(frozen=True, kw_only=True)
class Cap:
    """What covering one opening does to a network: branches ``gone``, by index, and what is there ``instead``."""

    name: str
    gone: tuple[int, ...]
    instead: tuple[Branch, ...] = ()


def outlets(case: Case) -> tuple[str, ...]:
    """Return the names of what a hand can cover from outside: ports and horns that end there."""
    ends = {name: port.to for name, port in case.ports.items()} | {name: horn.to for name, horn in case.horns.items()}
    return tuple(name for name, to in ends.items() if to == OUTSIDE)


def uncovered(case: Case) -> Case:
    """Return the case with every opening to the outside open."""
    ports = {
        name: port.model_copy(update={"covered": False}) if port.to == OUTSIDE else port
        for name, port in case.ports.items()
    }
    return case.model_copy(update={"ports": ports})


def caps(case: Case, network: Network, end: End, *, lumped: bool) -> tuple[Cap, ...]:
    """Return what covering each opening of an uncovered case does to its network, in the order of :func:`outlets`.

    "outer": a rigid cap at the outer end, the pipe stays a stub (in the lumped model the spring of its air). "inner":
    closed at the chamber, the pipe is gone; a horn that the driver feeds has no such end and is capped at its mouth.
    """
    return tuple(_cap(case, network, name, end, lumped) for name in outlets(case))


def _cap(case: Case, network: Network, name: str, end: End, lumped: bool) -> Cap:
    own = [i for i, branch in enumerate(network.branches) if branch.owner == name]
    mouths = [i for i in own if network.branches[i].role == "mouth" and len(network.branches[i].nodes) == 2]
    horn = case.horns.get(name)
    fed = horn is not None and horn.from_ is None
    if end == "inner" and not fed:
        return Cap(name=name, gone=tuple(own))
    last = network.branches[[i for i in own if i not in mouths][-1]]
    if lumped:
        volume = air_volume(case, name)
        spring = Chamber(volume=volume, wall_area=cube_wall_area(volume))
        node = last.nodes[-1] if fed else network.branches[own[0]].nodes[0]
        stub = Branch(owner=name, role=last.role, element=spring, nodes=(node,))
        return Cap(name=name, gone=tuple(mouths if fed else own), instead=(stub,))
    capped = [network.branches[i] for i in own if i not in mouths]
    capped[-1] = replace(last, nodes=(*last.nodes[:-1], f"{name}.capped"))
    return Cap(name=name, gone=tuple(own), instead=tuple(capped))


def air_volume(case: Case, name: str) -> float:
    """Return the air in a port or horn [m^3], all its ducts together."""
    if name in case.ports:
        return passages.port_volume(case.ports[name])
    return sum(horn.volume for horn in horn_way(case, name).pieces)


class _Block:
    """Branches that come or go together, as an admittance ``y`` (r, r, n) between ``joints`` of the rest of the box.

    ``flows``: per branch the flow into its terminals per pressure at each joint (terminals, r, n).
    """

    def __init__(self, branches: list[Branch], parts: list[ComplexArray], shared: dict[str, int], n: int) -> None:
        named = dict.fromkeys(node for branch in branches for node in branch.nodes)
        self.joints = [node for node in named if node in shared]
        within = [node for node in named if node not in shared and node not in (OUTSIDE, OPEN_AIR)]
        place = {node: i for i, node in enumerate([*self.joints, *within])}
        r = len(self.joints)
        whole = np.zeros((n, len(place), len(place)), dtype=np.complex128)
        for branch, y in zip(branches, parts, strict=True):
            for i, a in enumerate(branch.nodes):
                for j, b in enumerate(branch.nodes):
                    if a in place and b in place:
                        whole[:, place[a], place[b]] += y[:, i, j]
        follow = -np.linalg.solve(whole[:, r:, r:], whole[:, r:, :r])
        self.y = last_axis(whole[:, :r, :r] + whole[:, :r, r:] @ follow)
        ends = np.concatenate([np.broadcast_to(np.eye(r), (n, r, r)), follow], axis=1)
        known = [[i for i, node in enumerate(branch.nodes) if node in place] for branch in branches]
        self.flows = [
            last_axis(y[:, :, at] @ ends[:, [place[branch.nodes[i]] for i in at]])
            for branch, y, at in zip(branches, parts, known, strict=True)
        ]


class CoveredBox:
    """A box in several states.

    ``network``: all that is in any state, the given one of the open box first; ``states``: the names covered in each;
    ``omega`` (n,) [rad/s]. Raises AccuracyError if the box with nothing at its openings has no solution.
    """

    def __init__(
        self, network: Network, covers: tuple[Cap, ...], states: list[frozenset[str]], omega: NDArray[np.float64]
    ) -> None:
        branches = (*network.branches, *(b for cap in covers for b in cap.instead))
        self.network, self.omega, self.states = replace(network, branches=branches), omega, states
        self.parts = branch_admittances(branches, omega, network.air)
        groups: list[tuple[str, tuple[int, ...], tuple[int, ...]]] = []  # name, branches when open, when covered
        for cap in covers:
            first = len(network.branches) + sum(len(covered) for _, _, covered in groups)
            groups.append((cap.name, cap.gone, tuple(range(first, first + len(cap.instead)))))
        moving = {i for _, opened, covered in groups for i in (*opened, *covered)}
        self.shared = {i: last_axis(self.parts[i]) for i in range(len(branches)) if i not in moving}
        nodes = {node for i in self.shared for node in branches[i].nodes}
        self.base = {node: i for i, node in enumerate(node for node in self.network.nodes if node in nodes)}
        self.blocks = [(name, (self._block(opened), self._block(covered))) for name, opened, covered in groups]
        self.variants = [  # branches, their block, and the states that have it
            (group, block, [i for i, state in enumerate(states) if (name in state) == (group is covered)])
            for (name, opened, covered), (_, pair) in zip(groups, self.blocks, strict=True)
            for group, block in zip((opened, covered), pair, strict=True)
        ]
        self.read: dict[int, set[int]] = {}  # terminals at which openings look
        for o in network.openings:
            last = len(branches[o.outflow].nodes) - 1
            self.read.setdefault(o.outflow, set()).add(last if o.terminal is None else o.terminal)
            if o.inflow is not None:
                self.read.setdefault(o.inflow, set()).add(0)
        self.steps = self._steps()
        self.columns = list(dict.fromkeys(j for _, pair in self.blocks for block in pair for j in block.joints))
        self.alone = self._alone()

    def state(self, part: slice = slice(None)) -> State:
        """Return the solution in every state, (states, n, ...), at ``part`` of the frequencies.

        Pressures are those at the nodes that all states share. The flows of what covering changes are told where the
        network's openings read them; a branch that isn't there in a state has none.
        Raises AccuracyError if the power balance is off in any.
        """
        pressure = self._tree(part)
        flows, taken = self._flows(pressure, part)
        joints = tuple(self.base), np.moveaxis(pressure, 0, -1)
        return balanced(self.network, self.omega[part], *joints, flows, taken)

    def _block(self, group: tuple[int, ...]) -> _Block:
        branches = [self.network.branches[i] for i in group]
        return _Block(branches, [self.parts[i] for i in group], self.base, len(self.omega))

    def _alone(self) -> ComplexArray:
        """Return the pressures (nodes, 1 + joints, n) that the driver, and a flow into each joint, make alone."""
        cone, n = self.network.cone, len(self.omega)
        source = np.zeros((n, len(self.base), 1 + len(self.columns)), dtype=np.complex128)
        for node, sign in zip(self.network.branches[self.network.driver].nodes, (1.0, -1.0), strict=True):
            if node in self.base:
                source[:, self.base[node], 0] += sign * cone.injection(self.omega)
        for j, node in enumerate(self.columns):
            source[:, self.base[node], 1 + j] = 1.0
        branches = tuple(self.network.branches[i] for i in self.shared)
        found = solve_nodal(branches, [self.parts[i] for i in self.shared], tuple(self.base), source)
        if not np.all(np.isfinite(found)):
            raise AccuracyError("the closed box has no solution at some frequency: a part without loss resonates there")
        return last_axis(found)

    def _steps(self) -> list[tuple[list[int], list[int]]]:
        """Return per opening which states of the openings before it are followed by it open, and by it covered."""
        steps, order, names = [], [frozenset[str]()], set[str]()
        for name, _ in self.blocks:
            names.add(name)
            wanted = {state & names for state in self.states}
            opened = [i for i, state in enumerate(order) if state in wanted]
            capped = [i for i, state in enumerate(order) if state | {name} in wanted]
            steps.append((opened, capped))
            order = [order[i] for i in opened] + [order[i] | {name} for i in capped]
        self.place = [order.index(state) for state in self.states]
        return steps

    def _tree(self, part: slice) -> ComplexArray:
        """Return the pressures [Pa/V] at the shared nodes, (nodes, states, n)."""
        x, k = self.alone[:, None, 0, part], self.alone[:, 1:, None, part]
        columns = self.columns
        for depth, ((_, variants), parents) in enumerate(zip(self.blocks, self.steps, strict=True)):
            left = {joint for _, later in self.blocks[depth + 1 :] for block in later for joint in block.joints}
            keep = [columns.index(node) for node in columns if node in left]
            count = [len(parents[0]), len(parents[0]) + len(parents[1])]
            x_new = np.empty((len(x), count[1], x.shape[-1]), dtype=np.complex128)
            k_new = np.empty((len(x), len(keep), count[1], x.shape[-1]), dtype=np.complex128)
            for block, chosen, here in zip(variants, parents, (slice(count[0]), slice(count[0], None)), strict=True):
                whole = slice(None) if len(chosen) == x.shape[1] else chosen
                rows, at = [self.base[j] for j in block.joints], [columns.index(j) for j in block.joints]
                grown = x_new[:, here], k_new[:, :, here]
                _attach(block.y[..., part], (x[:, whole], k[:, :, whole]), rows, at, keep, grown)
            x, k, columns = x_new, k_new, [columns[i] for i in keep]
        return x[:, self.place]

    def _flows(self, pressure: ComplexArray, part: slice) -> tuple[tuple[ComplexArray, ...], NDArray[np.float64]]:
        """Return per branch the flow into its terminals [m^3/s per V], (states, n, terminals), and the power taken.

        The power is that of all branches but the driver's [W per V^2], (states, n).
        """
        branches, shape = self.network.branches, pressure.shape[1:]
        flows = [np.zeros((len(branch.nodes), *shape), dtype=np.complex128) for branch in branches]
        entering = np.zeros_like(pressure)  # from each shared node
        for i, y in self.shared.items():
            ends = [(b, self.base[node]) for b, node in enumerate(branches[i].nodes) if node in self.base]
            for a in range(len(flows[i])):
                for b, node in ends:
                    flows[i][a] += y[a, b, part] * pressure[node]
            if i != self.network.driver:
                for b, node in ends:
                    entering[node] += flows[i][b]
        for group, block, has in self.variants:
            for j, joint in enumerate(block.joints):
                here = pressure[self.base[joint], has]
                for k, other in enumerate(block.joints):
                    entering[self.base[other], has] += block.y[k, j, part] * here
                for i, share in zip(group, block.flows, strict=True):
                    for a in self.read.get(i, ()):
                        flows[i][a, has] += share[a, j, part] * here
        taken = (pressure.conj() * entering).real.sum(axis=0)
        return tuple(np.moveaxis(flow, 0, -1) for flow in flows), taken


_Pair = tuple[ComplexArray, ComplexArray]


def _attach(y: ComplexArray, now: _Pair, rows: list[int], at: list[int], keep: list[int], grown: _Pair) -> None:
    """Write x (nodes, states, n) and the columns to ``keep`` of K with a block attached into ``grown``.

    ``rows`` and ``at``: the block's joints among the nodes and among the columns of K.
    """
    (x, k), (x_new, k_new) = now, grown
    targets = [(x_new, x), *((k_new[:, new], k[:, kept]) for new, kept in enumerate(keep))]
    if not rows:
        for new, old in targets:
            new[...] = old
        return
    reaction = _reaction(y, k[rows][:, at])
    for new, old in targets:
        last = old
        for a, column in enumerate(at):
            through = reaction[a, 0] * old[rows[0]]
            for b, row in enumerate(rows[1:], 1):
                through += reaction[a, b] * old[row]
            last = np.subtract(last, k[:, column] * through, out=new)


def _reaction(y: ComplexArray, k: ComplexArray) -> ComplexArray:
    """Return (1 + Y K)^-1 Y, (r, r, states, n), of a block Y (r, r, n) at joints of K (r, r, states, n)."""
    if len(y) == 1:
        return np.asarray(y[:, :, None] / (1 + y[:, :, None] * k))
    load: ComplexArray = np.moveaxis(np.broadcast_to(y[:, :, None], k.shape), (0, 1), (-2, -1))
    inner = np.moveaxis(k, (0, 1), (-2, -1))
    found: ComplexArray = np.asarray(np.linalg.solve(np.eye(len(y)) + load @ inner, load))
    return np.moveaxis(found, (-2, -1), (0, 1))


def last_axis(array: NDArray[Any]) -> ComplexArray:
    """Return an array over frequencies with them last and side by side, (..., n): quicker to work along."""
    return np.ascontiguousarray(np.moveaxis(array, 0, -1))
