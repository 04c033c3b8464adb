"""From the flow out of every opening to the pressure at the listener, outdoors and in a room."""

from __future__ import annotations

import math

import numpy as np

from airpath.acoustics.mutual import disc_mean
from airpath.case.schema import Case
from airpath.elements.base import ComplexArray, Omega
from airpath.network.graph import OUTSIDE, Network, Opening
from airpath.network.solve import State, branch_admittances, solve_nodal
from airpath.network.surroundings import LISTENER

SOLID_ANGLE = {"full": 4 * np.pi, "half": 2 * np.pi, "quarter": np.pi, "eighth": np.pi / 2}


def to_listener(case: Case, network: Network, state: State) -> dict[str, ComplexArray]:
    """Return per radiating opening the pressure at the listener per flow out of it [Pa s/m^3], (n,)."""
    heard, omega = [opening for opening in network.openings if opening.radiates], state.omega
    if network.room:
        return _in_room(network, heard, state)
    places = listener_ways(case, heard)
    return {o.name: _outdoors(case, network, omega, o.radius, *places[o.name]) for o in heard}


def listener_ways(case: Case, openings: list[Opening] | tuple[Opening, ...]) -> dict[str, tuple[float, float]]:
    """Return per opening its distance [m] from the listener, and the sine of the angle to the axis z.

    Without ``listener.at`` the listener is on the axis z through the cone, or through the middle of what has a place;
    an opening without a place is heard from there.
    """
    placed = [o.at for o in openings if o.at is not None]
    cone = next((o.at for o in openings if o.name == "cone" and o.at is not None), None)
    if cone is None:
        cone = tuple(np.mean(placed, axis=0).tolist()) if placed else (0.0, 0.0, 0.0)
    ear = case.listener.at or (cone[0], cone[1], cone[2] + case.listener.distance)
    ways = {}
    for opening in openings:
        x, y, z = (e - p for e, p in zip(ear, opening.at or cone, strict=True))
        distance = math.hypot(x, y, z)
        ways[opening.name] = (distance, math.hypot(x, y) / distance)
    return ways


def _outdoors(
    case: Case, network: Network, omega: Omega, radius: float, distance: float, sine: float
) -> ComplexArray:
    """A source on its own: j w rho e^{-jkr}/(Omega r), times the directivity of a piston off its axis."""
    air, angle = network.air, SOLID_ANGLE[case.listener.space]
    k = omega / air.sound_speed
    factor = 1j * omega * air.density * np.exp(-1j * k * distance) / (angle * distance)
    return np.asarray(factor * disc_mean(k * radius * sine) if radius * sine > 0 else factor)


def _in_room(network: Network, heard: list[Opening], state: State) -> dict[str, ComplexArray]:
    """By reciprocity: what a flow at the listener raises at the openings is what theirs raise at the listener."""
    chosen = [i for i, branch in enumerate(network.branches) if branch.role == "room"]
    branches = tuple(network.branches[i] for i in chosen)
    parts = [state.parts[i] for i in chosen] if state.parts else branch_admittances(branches, state.omega, network.air)
    nodes = tuple(node for node in dict.fromkeys(n for b in branches for n in b.nodes) if node in network.nodes)
    source = np.zeros((len(state.omega), len(nodes)), dtype=np.complex128)
    source[:, nodes.index(LISTENER if LISTENER in nodes else OUTSIDE)] = 1.0
    pressure = solve_nodal(branches, parts, nodes, source)
    return {o.name: np.asarray(pressure[:, nodes.index(o.node)]) for o in heard}
