"""Random boxes of any topology: they solve, power is found again, fidelities meet at rest, Foster's theorem holds."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import ClassVar

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from airpath.acoustics.viscothermal import Section
from airpath.elements.base import Element
from airpath.elements.cone import Cone
from airpath.elements.duct import Duct
from airpath.elements.horn import horn_profile
from airpath.network.build import build
from airpath.network.graph import OUTSIDE, Branch, Network
from airpath.network.solve import branch_admittances, solve_network
from random_boxes import as_case, box_files
from small_boxes import DRIVER, box, branch, cone, mass, spring

MANY = settings(max_examples=60, derandomize=True, deadline=None)
OMEGA = 2 * np.pi * np.geomspace(3.0, 1200.0, 25)


@MANY
@given(text=box_files())
def test_any_box_solves_and_its_power_is_found_again(text: str) -> None:
    case = as_case(text)
    for model in ("lumped", "line"):
        state = solve_network(build(case, model), OMEGA)
        assert np.all(np.isfinite(state.pressure))
        assert state.imbalance.max() < 1e-9
        assert np.all(state.current.real > 0)  # a box takes power at its terminals


@MANY
@given(text=box_files())
def test_flows_into_every_joint_add_up(text: str) -> None:
    network = build(as_case(text), "line")
    state = solve_network(network, OMEGA)
    parts = branch_admittances(network.branches, OMEGA, network.air)
    pressure = {node: state.at(node) for node in state.nodes} | {OUTSIDE: np.zeros(len(OMEGA))}
    for node in state.nodes:
        total, size = np.zeros(len(OMEGA), dtype=complex), np.zeros(len(OMEGA))
        for part, flow, y in zip(network.branches, state.flow, parts, strict=True):
            for terminal, own in enumerate(part.nodes):
                if own != node:
                    continue
                through = flow[:, terminal]
                if part.role == "driver":  # the cone moves its own air: out of the rear, into the front
                    through = (-1 if terminal == 0 else 1) * network.cone.area * state.velocity
                terms = sum(np.abs(y[:, terminal, j] * pressure[other]) for j, other in enumerate(part.nodes))
                total, size = total + through, size + np.abs(through) + terms
        assert np.all(np.abs(total) <= 1e-11 * size)


def _seen(network: Network, omega: np.ndarray) -> np.ndarray:
    """Return what a user sees (n, values), each near 1: cone velocity and outflows over the cone's."""
    state = solve_network(network, omega)
    ways = [state.flow[o.outflow][:, -1] for o in network.openings if o.name != "cone" and o.radiates]
    return np.stack([*ways, network.cone.area * state.velocity], axis=1)


@MANY
@given(text=box_files(lossy=False, vented=True, placed=False))
def test_line_tends_to_lumped_as_frequency_falls(text: str) -> None:
    """Every space has a way out; what is left falls with frequency and is gone at 0.05 Hz.

    Chambers without positions: between two places in a chamber the line model has the chamber's own inertance, which
    stays at rest, and the lumped model has none.
    """
    case = as_case(text)
    omega = 2 * np.pi * np.array([0.05, 0.5, 5.0])
    lumped, line = (_seen(build(case, model), omega) for model in ("lumped", "line"))
    apart = np.abs(lumped - line).max(axis=1) / np.abs(line).max(axis=1)
    assert apart[0] < 1e-3
    assert apart[0] <= apart[1] * 1.001 + 1e-9


SIZE = st.floats(0.02, 0.12)
LONG = st.floats(0.05, 0.8)
RATIO = st.floats(1.5, 9.0)


@st.composite
def lossless_boxes(draw: st.DrawFn) -> Network:
    """Draw chambers joined by ducts, plugs and horns, in a chain, a tree or with loops; nothing radiates."""
    names = ["A", *[f"n{i}" for i in range(draw(st.integers(0, 3)))]]
    parts: list[Branch] = [branch(spring(draw(st.floats(0.003, 0.06))), name, role="chamber") for name in names]
    ends = [(names[draw(st.integers(0, i - 1))], names[i]) for i in range(1, len(names))]
    more = st.tuples(st.sampled_from(names), st.sampled_from([*names, OUTSIDE, "stub"]))
    ends += draw(st.lists(more, min_size=1, max_size=3))
    for a, b in ends:
        if a == b:
            continue
        element: Element = draw(
            st.one_of(
                st.builds(lambda d, l: Duct(section=Section(height=d), length=l), SIZE, LONG),
                st.builds(mass, SIZE, LONG),
                st.builds(lambda s, r, l: horn_profile("exponential", s * s, r * s * s, l), SIZE, RATIO, LONG),
            )
        )
        if b != "stub" or not isinstance(element, type(mass(0.1, 0.1))):  # a plug with nothing behind it stands still
            parts.append(branch(element, a, b))
    driver = replace(cone(DRIVER), resistance=1e-3)
    return box(driver, *parts)


def _at_the_cone(network: Network, omega: np.ndarray) -> np.ndarray:
    """Return the mechanical impedance at the cone [N s/m], coil open: Bl^2 over the motional impedance."""
    motional = 1 / solve_network(network, omega).current - network.cone.Re
    return network.cone.force_factor**2 / motional


def _reactance(network: Network, omega: np.ndarray) -> np.ndarray:
    return _at_the_cone(network, omega).imag


@MANY
@given(network=lossless_boxes(), growth=st.floats(0.01, 1.0))
def test_impedance_of_a_lossless_box_is_positive_real(network: Network, growth: float) -> None:
    """Brune 1931: |arg Z(s)| <= |arg s| for growing signals, Re s > 0. Foster's theorem (1924: reactance only rises,
    peaks and dips alternate) is its limit on the axis."""
    s = 2 * np.pi * np.linspace(7.3, 811.7, 90) * (growth + 1j)
    z = _at_the_cone(network, -1j * s)
    assert np.all(np.abs(np.angle(z)) <= np.abs(np.angle(s)) + 1e-9)


@MANY
@given(network=lossless_boxes())
def test_peaks_and_dips_of_a_lossless_box_alternate(network: Network) -> None:
    """Between two peaks of the impedance (X rises through zero) stands one dip (X jumps from + to -), and so on."""
    omega = 2 * np.pi * np.geomspace(5.0, 600.0, 4000)
    x = _reactance(network, omega)
    changes = np.flatnonzero(np.sign(x[:-1]) != np.sign(x[1:]))
    kinds = ["peak" if x[i] < 0 else "dip" for i in changes]
    assert all(one != other for one, other in pairwise(kinds))
    for i, kind in zip(changes, kinds, strict=True):
        low, high = omega[i], omega[i + 1]
        for _ in range(30):
            middle = (low + high) / 2
            sign = _reactance(network, np.array([middle]))[0]
            low, high = (middle, high) if (sign < 0) == (kind == "peak") else (low, middle)
        near = abs(_reactance(network, np.array([low]))[0])
        span = abs(x[i]) + abs(x[i + 1])
        assert (near < 1e-3 * span) if kind == "peak" else (near > span)


def test_the_power_balance_notices_what_is_not_in_the_branches() -> None:
    """A cone whose coil takes a millionth more than it says is found out."""

    class Greedy(Cone):
        kind: ClassVar[str] = ""

        def current(self, omega: np.ndarray, velocity: np.ndarray) -> np.ndarray:
            return super().current(omega, velocity) * (1 + 5e-7)

    greedy = Greedy(**vars(cone(DRIVER)))
    state = solve_network(box(greedy, branch(spring(0.03), "A")), OMEGA)
    assert state.imbalance.max() > 1e-9
