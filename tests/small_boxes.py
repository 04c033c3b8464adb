"""Networks built straight from elements, for tests: boxes without losses in the air, and lines between pipes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import brentq, minimize_scalar

from airpath.acoustics.driver import mechanical_set
from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega
from airpath.elements.chamber import Chamber
from airpath.elements.cone import Cone
from airpath.elements.plug import Plug
from airpath.network.graph import OUTSIDE, Branch, Network
from airpath.network.solve import State, solve_network, solve_nodal

REFERENCE = Air(density=1.204, sound_speed=343.2, viscosity=1.8206e-5, gamma=1.4, prandtl=0.708)
LOSSLESS = REFERENCE.lossless()
DRIVER = {"fs": 38.0, "Re": 5.6, "Qms": 4.0, "Qes": 0.4, "Sd": 0.022, "Mms": 0.033}


@dataclass(frozen=True, kw_only=True)
class Shunt(Element):
    """A constant conductance [m^3/(s Pa)] to the reference: the start of an endless pipe, or a leak."""

    conductance: float

    @property
    def terminals(self) -> int:
        return 1

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        return np.full((len(omega), 1, 1), self.conductance, dtype=np.complex128)

    @classmethod
    def examples(cls) -> list[Element]:
        return [cls(conductance=1e-6)]


def branch(element: Element, *nodes: str, role: str = "port", owner: str = "") -> Branch:
    return Branch(owner=owner or "-".join(nodes), role=role, element=element, nodes=nodes)  # type: ignore[arg-type]


def cone(driver: dict[str, float]) -> Cone:
    given = {key: driver[key] for key in ("fs", "Qms", "Qes", "Mms")}
    values = mechanical_set(given, driver["Sd"], driver["Re"], REFERENCE)
    return Cone(
        mass=values.Mms, compliance=values.Cms, resistance=values.Rms, force_factor=values.Bl, area=driver["Sd"],
        Re=driver["Re"],
    )  # fmt: skip


def spring(volume: float) -> Chamber:
    return Chamber(volume=volume, wall_area=1.0)


def mass(diameter: float, length: float) -> Plug:
    return Plug(section=Section(height=diameter), length=length, friction=False)


def box(driver: Cone, *branches: Branch, air: Air = LOSSLESS) -> Network:
    """Return a box with the cone's front outside and its rear at node "A"; ``branches`` hold all the rest."""
    first = branch(driver, OUTSIDE, "A", role="driver")
    return Network(air=air, branches=(first, *branches), driver=0, openings=())


def vented(driver: Cone, volume: float, tuning: float, conductance: float = 0.0) -> Network:
    """Return a vented box tuned to a frequency [Hz], with a leak of a ``conductance``; 0 Hz: closed."""
    parts = [branch(spring(volume), "A", role="chamber")]
    if tuning:
        section = Section(height=0.08)
        length = section.area * LOSSLESS.sound_speed**2 / (volume * (2 * np.pi * tuning) ** 2)
        parts.append(branch(Plug(section=section, length=length, friction=False), "A", OUTSIDE))
    if conductance:
        parts.append(branch(Shunt(conductance=conductance), "A", role="leak"))
    return box(driver, *parts)


def double_chamber(inputs: dict[str, Any]) -> Network:
    parts = [branch(spring(inputs["VA"]), "A", role="chamber"), branch(spring(inputs["VB"]), "B", role="chamber")]
    for number, ends in ((1, ("A", OUTSIDE)), (2, ("A", "B")), (3, ("B", OUTSIDE))):
        if number != inputs["blocked"]:
            parts.append(branch(mass(*inputs[f"port{number}"]), *ends))
    return box(cone(inputs["driver"]), *parts)


def solve_hz(network: Network, frequency: Any) -> State:
    return solve_network(network, 2 * np.pi * np.atleast_1d(np.asarray(frequency, dtype=float)))


def impedance(network: Network, frequency: Any) -> ComplexArray:
    return 1 / solve_hz(network, frequency).current


def far_field_db(network: Network, frequency: Any) -> np.ndarray:
    """Return the volume acceleration of all openings together over what the cone's mass alone would give [dB]."""
    driver, state = network.cone, solve_hz(network, frequency)
    out = driver.area * state.velocity
    for part, flow in zip(network.branches[1:], state.flow[1:], strict=True):
        if part.nodes[-1] == OUTSIDE:
            out = out - flow[:, -1]
        elif part.role == "leak":  # a shunt's other end is outside
            out = out + flow[:, 0]
    limit = driver.area * driver.force_factor / (driver.Re * driver.mass)
    return 20 * np.log10(np.abs(1j * state.omega * out) / limit)


def extremum(function: Callable[[float], float], start: float, stop: float, step: float, sign: float) -> list[float]:
    """Return where a function has its maxima (sign 1) or minima (-1) between two frequencies [Hz], refined."""
    grid = np.arange(start, stop, step)
    values = sign * np.array([function(f) for f in grid])
    tops = np.flatnonzero((values[1:-1] > values[:-2]) & (values[1:-1] > values[2:])) + 1
    return [
        float(minimize_scalar(lambda f: -sign * function(f), bounds=(grid[i - 1], grid[i + 1]), method="bounded",
                              options={"xatol": 1e-10}).x)
        for i in tops
    ]  # fmt: skip


def real_crossings(function: Callable[[np.ndarray], np.ndarray], grid: np.ndarray, rising: bool) -> list[float]:
    """Return where a real function of frequency crosses zero in one direction."""
    values = function(grid)
    before, after = values[:-1], values[1:]
    found = np.flatnonzero((before < 0) & (after > 0) if rising else (before > 0) & (after < 0))
    one = lambda f: float(function(np.array([f]))[0])  # noqa: E731
    return [float(brentq(one, grid[i], grid[i + 1], xtol=1e-11, rtol=1e-14)) for i in found]


def transmission_loss(branches: list[Branch], pipe_area: float, last: str, frequency: Any) -> np.ndarray:
    """Return the loss [dB] between two endless pipes of ``pipe_area`` that join at nodes "in" and ``last``."""
    omega = 2 * np.pi * np.asarray(frequency, dtype=float)
    pipe = Shunt(conductance=pipe_area / (LOSSLESS.density * LOSSLESS.sound_speed))
    parts = (*branches, branch(pipe, "in"), branch(pipe, last))
    nodes = tuple(dict.fromkeys(node for part in parts for node in part.nodes))
    source = np.zeros((len(omega), len(nodes)), dtype=complex)
    source[:, nodes.index("in")] = 2 * pipe.conductance  # incident wave of 1 Pa
    admittances = [part.element.admittance(omega, LOSSLESS) for part in parts]
    pressure = solve_nodal(parts, admittances, nodes, source)
    return -20 * np.log10(np.abs(pressure[:, nodes.index(last)]))
