"""Networks of ducts with losses against scikit-rf, a general library for linear networks (dev dependency).

The lines of scikit-rf take their propagation constant and characteristic impedance from the few lines of
Zwikker & Kosten 1949 below, not from airpath.
"""

from __future__ import annotations

import numpy as np
import skrf
from scipy.special import jve
from skrf.circuit import Circuit
from skrf.media import DefinedGammaZ0
from skrf.network import cascade_list, s2y, s2z

from airpath.acoustics.viscothermal import Section
from airpath.elements.base import Element, cascade
from airpath.elements.duct import Duct
from airpath.network.solve import solve_nodal
from small_boxes import REFERENCE, branch

FREQUENCY = np.geomspace(20.0, 2000.0, 60)
OMEGA = 2 * np.pi * FREQUENCY
PORT = 1e5  # reference impedance of scikit-rf's ports [Pa s/m^3]
PIECES = [(0.05, 0.31), (0.12, 0.47), (0.03, 0.22), (0.08, 0.9), (0.004, 0.05)]  # diameter, length [m]




def zwikker_kosten(diameter: float) -> tuple[np.ndarray, np.ndarray]:
    """Return Gamma [1/m] and Zc [Pa s/m^3] of a round tube, Bessel functions J of (-j w/nu)^(1/2) a (scaled)."""
    air, radius = REFERENCE, diameter / 2

    def mean(diffusivity: float) -> np.ndarray:
        x = radius * np.sqrt(-1j * OMEGA / diffusivity)
        return 2 * jve(1, x) / (x * jve(0, x))

    nu = air.viscosity / air.density
    density = air.density / (1 - mean(nu))
    stiffness = air.density * air.sound_speed**2 / (1 + (air.gamma - 1) * mean(nu / air.prandtl))
    return 1j * OMEGA * np.sqrt(density / stiffness), np.sqrt(density * stiffness) / (np.pi * radius**2)


def line(diameter: float, length: float, name: str = "") -> skrf.Network:
    gamma, zc = zwikker_kosten(diameter)
    band = skrf.Frequency.from_f(FREQUENCY, unit="hz")
    media = DefinedGammaZ0(frequency=band, gamma=gamma, z0=zc, z0_port=PORT)
    return media.line(length, unit="m", name=name)


def duct(diameter: float, length: float) -> Duct:
    return Duct(section=Section(height=diameter), length=length)


def test_cascade() -> None:
    """The whole two-terminal matrix of five ducts end to end, to 1e-9 of its largest entry."""
    theirs = cascade_list([line(*piece) for piece in PIECES])
    ours = cascade([duct(*piece).admittance(OMEGA, REFERENCE) for piece in PIECES])
    want = s2y(theirs.s, theirs.z0, s_def="power")
    size = np.abs(want).max(axis=(1, 2), keepdims=True)
    assert (np.abs(ours - want) / size).max() < 1e-9


def test_branched_network_with_a_loop() -> None:
    """Two forks joined by two ducts, a closed side branch, one outlet: the impedance at the inlet and the outlet."""
    edges = {
        "a": (PIECES[0], "in", "fork"), "b": (PIECES[1], "fork", "meet"), "c": (PIECES[2], "fork", "meet"),
        "d": (PIECES[3], "meet", "stub"), "e": (PIECES[4], "fork", "stub"), "f": ((0.06, 0.17), "meet", "out"),
    }  # fmt: skip
    branches = tuple(branch(duct(*piece), a, b) for piece, a, b in edges.values())
    nodes = ("in", "fork", "meet", "stub", "out")
    parts = [part.element.admittance(OMEGA, REFERENCE) for part in branches]
    ours = np.empty((len(OMEGA), 2, 2), dtype=complex)
    for column, inlet in enumerate(("in", "out")):
        source = np.zeros((len(OMEGA), len(nodes)), dtype=complex)
        source[:, nodes.index(inlet)] = 1.0
        pressure = solve_nodal(branches, parts, nodes, source)
        ours[:, :, column] = pressure[:, [0, 4]]

    band = skrf.Frequency.from_f(FREQUENCY, unit="hz")
    lines = {name: line(*piece, name=name) for name, (piece, _, _) in edges.items()}
    joints: dict[str, list[tuple[skrf.Network, int]]] = {node: [] for node in nodes}
    for name, (_, a, b) in edges.items():
        joints[a].append((lines[name], 0))
        joints[b].append((lines[name], 1))
    for node in ("in", "out"):
        joints[node].append((Circuit.Port(band, node, z0=PORT), 0))
    circuit = Circuit(list(joints.values()))
    theirs = circuit.network
    want = s2z(theirs.s, theirs.z0, s_def="power")
    size = np.abs(want).max(axis=(1, 2), keepdims=True)
    assert (np.abs(ours - want) / size).max() < 1e-9


def test_the_check_notices_a_wrong_duct() -> None:
    """One hundredth of a millimetre in one duct is far more than what the two libraries differ by."""
    wrong: list[Element] = [duct(d, length + 1e-5 * (i == 2)) for i, (d, length) in enumerate(PIECES)]
    theirs = cascade_list([line(*piece) for piece in PIECES])
    want = s2y(theirs.s, theirs.z0, s_def="power")
    ours = cascade([element.admittance(OMEGA, REFERENCE) for element in wrong])
    assert (np.abs(ours - want) / np.abs(want).max(axis=(1, 2), keepdims=True)).max() > 1e-7
