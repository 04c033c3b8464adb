"""Speed of the line model as ratios in one run: against scikit-rf's circuit solver, and how its cost grows.

Run with ``pytest tests/benchmarks --benchmark-enable``; each benchmark's ``extra_info`` and a printed line hold its
ratios.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import skrf
from scipy.special import j1, jve, struve
from skrf.circuit import Circuit
from skrf.media import DefinedGammaZ0
from skrf.network import s2z, y2s
from threadpoolctl import threadpool_limits

from airpath.acoustics.viscothermal import Section
from airpath.air import air_at
from airpath.elements.base import Element
from airpath.elements.duct import Duct
from airpath.elements.mouth import Mouth
from airpath.elements.passage import Passage
from airpath.elements.plug import Plug
from airpath.network.graph import OUTSIDE, Branch, Network
from airpath.network.solve import branch_admittances, solve_network, solve_nodal
from small_boxes import DRIVER, box, branch, cone, spring

AIR = air_at()
CASE = Path(__file__).parents[2] / "cases" / "rumble-bench.toml"
PORT = 1e4  # reference impedance of scikit-rf's ports [Pa s/m^3]
FASTER_THAN_CIRCUIT = 20.0
FASTER_FROM_NOTHING = 10.0
FREQUENCY_GROWTH = 6.0  # from 1,000 to 4,000 frequencies
ELEMENT_EXPONENT = 2.0
HELP_OVER_NUMPY = 2.0
PREDICT_OVER_IMPORTS = 4.0


def omegas(count: int) -> np.ndarray:
    return 2 * np.pi * np.geomspace(20.0, 2000.0, count)


def best(run: Callable[[], object], repeats: int = 5) -> float:
    """Return the shortest of several runs [s]."""
    spent = []
    for _ in range(repeats):
        start = time.perf_counter()
        run()
        spent.append(time.perf_counter() - start)
    return min(spent)


def report(benchmark, capsys, **ratios: float) -> None:
    benchmark.extra_info.update({name: round(value, 3) for name, value in ratios.items()})
    with capsys.disabled():
        print("\n" + ", ".join(f"{name} {value:.3g}" for name, value in ratios.items()))


def pipe(diameter: float, length: float) -> Element:
    section = Section(height=diameter)
    return Passage(stages=(Plug(section=section, length=0.3 * diameter, friction=False),
                           Duct(section=section, length=length)))  # fmt: skip


def ten_elements() -> Network:
    """A double-chamber reflex box: driver, two chambers, three ports, two openings, a leak, and the cone's front."""
    def mouth(diameter: float) -> Mouth:
        return Mouth(section=Section(height=diameter))

    parts = [
        branch(spring(0.03), "A", role="chamber"), branch(spring(0.02), "B", role="chamber"),
        branch(pipe(0.06, 0.2), "A", "1"), branch(mouth(0.06), "1", OUTSIDE), branch(pipe(0.07, 0.15), "A", "B"),
        branch(pipe(0.065, 0.18), "B", "3"), branch(mouth(0.065), "3", OUTSIDE),
        branch(pipe(0.002, 0.01), "A", OUTSIDE), branch(mouth(0.167), "front", OUTSIDE),
    ]  # fmt: skip
    driver = Branch(owner="driver", role="driver", element=cone(DRIVER), nodes=("front", "A"))
    return Network(air=AIR, branches=(driver, *parts), driver=0, openings=())


def skrf_pipe(band: skrf.Frequency, diameter: float, length: float, name: str) -> skrf.Network:
    """Return end correction and duct as scikit-rf's own media make them, losses by Zwikker & Kosten."""
    omega, radius = 2 * np.pi * band.f, diameter / 2

    def layer(diffusivity: float) -> np.ndarray:
        x = radius * np.sqrt(-1j * omega / diffusivity)
        return 2 * jve(1, x) / (x * jve(0, x))

    density = AIR.density / (1 - layer(AIR.kinematic_viscosity))
    stiffness = AIR.bulk_modulus / (1 + (AIR.gamma - 1) * layer(AIR.thermal_diffusivity))
    area = np.pi * radius**2
    gamma, z0 = 1j * omega * np.sqrt(density / stiffness), np.sqrt(density * stiffness) / area
    media = DefinedGammaZ0(frequency=band, gamma=gamma, z0=z0, z0_port=PORT)
    whole = media.inductor(AIR.density * 0.3 * diameter / area) ** media.line(length, unit="m")
    whole.name = name
    return whole


def one_port(band: skrf.Frequency, y: np.ndarray, name: str) -> skrf.Network:
    return skrf.Network(frequency=band, s=((1 - PORT * y) / (1 + PORT * y))[:, None, None], z0=PORT, name=name)


def as_circuit(omega: np.ndarray) -> list[list[tuple[skrf.Network, int]]]:
    """Return scikit-rf's connections of the box of :func:`ten_elements`, with an outer port at "A"."""
    band = skrf.Frequency.from_f(omega / (2 * np.pi), unit="hz")

    def opening(diameter: float, name: str) -> skrf.Network:
        x = omega / AIR.sound_speed * diameter  # 2 k a
        z = 1 - 2 * j1(x) / x + 2j * struve(1, x) / x
        return one_port(band, np.pi * diameter**2 / 4 / (z * AIR.density * AIR.sound_speed), name)

    def chamber(volume: float, name: str) -> skrf.Network:
        z = np.sqrt(1j * omega / AIR.thermal_diffusivity) * volume  # wall area 1 m^2
        return one_port(band, 1j * omega * volume / AIR.bulk_modulus * (1 + (AIR.gamma - 1) * np.tanh(z) / z), name)

    driver = cone(DRIVER)
    series = 1 / (driver.damped(omega) / driver.area**2)
    y = np.stack([np.stack([series, -series], -1), np.stack([-series, series], -1)], -2)
    moving = skrf.Network(frequency=band, s=y2s(y, PORT, s_def="power"), z0=PORT, name="driver")
    first, second = skrf_pipe(band, 0.06, 0.2, "port 1"), skrf_pipe(band, 0.07, 0.15, "port 2")
    third, leak = skrf_pipe(band, 0.065, 0.18, "port 3"), skrf_pipe(band, 0.002, 0.01, "leak")
    outer, ground = Circuit.Port(band, "outer", z0=PORT), Circuit.Ground(band, "outside", z0=PORT)
    return [
        [(outer, 0), (moving, 1), (chamber(0.03, "A"), 0), (first, 0), (second, 0), (leak, 0)],
        [(chamber(0.02, "B"), 0), (second, 1), (third, 0)],
        [(first, 1), (opening(0.06, "mouth 1"), 0)],
        [(third, 1), (opening(0.065, "mouth 3"), 0)],
        [(moving, 0), (opening(0.167, "front"), 0)],
        [(leak, 1), (ground, 0)],
    ]  # fmt: skip


def test_ten_elements_against_a_circuit_solver(benchmark, capsys) -> None:
    """1,000 frequencies of the same box, twice: the circuit solver alone, ready-made admittances against ready-made
    blocks; and from nothing to the pressure and flow at every joint, making the elements included in both."""
    network, omega = ten_elements(), omegas(1000)
    assert len(network.branches) == 10
    nodes = tuple(network.nodes)
    parts = branch_admittances(network.branches, omega, AIR)
    push = np.zeros((len(omega), len(nodes)), dtype=complex)
    push[:, nodes.index("A")] = 1.0

    def everywhere() -> None:
        circuit = Circuit(as_circuit(omega))
        circuit.voltages(np.ones(1), np.zeros(1))
        circuit.currents(np.ones(1), np.zeros(1))

    with threadpool_limits(limits=1):
        blocks = as_circuit(omega)
        their_joining = best(lambda: Circuit(blocks).s_external)
        their_whole = best(everywhere)
        benchmark.pedantic(lambda: solve_network(network, omega), rounds=7, warmup_rounds=1)
        joining = best(lambda: solve_nodal(network.branches, parts, nodes, push), 9)
        whole = best(lambda: solve_network(network, omega), 9)
    seen = s2z(Circuit(blocks).s_external, PORT, s_def="power")[:, 0, 0]
    pressure = solve_nodal(network.branches, parts, nodes, push)[:, nodes.index("A")]
    assert np.abs(pressure / seen - 1).max() < 1e-9  # the same box
    report(benchmark, capsys, joining=their_joining / joining, from_nothing=their_whole / whole,
           theirs_ms=1e3 * their_whole, ours_ms=1e3 * whole)  # fmt: skip
    assert their_joining / joining >= FASTER_THAN_CIRCUIT
    assert their_whole / whole >= FASTER_FROM_NOTHING


def test_cost_grows_with_frequencies(benchmark, capsys) -> None:
    network = ten_elements()
    few, many = omegas(1000), omegas(4000)
    with threadpool_limits(limits=1):
        benchmark.pedantic(lambda: solve_network(network, few), rounds=3, warmup_rounds=1)
        growth = best(lambda: solve_network(network, many)) / best(lambda: solve_network(network, few))
    report(benchmark, capsys, growth_from_1000_to_4000_frequencies=growth)
    assert growth < FREQUENCY_GROWTH


def chain(elements: int) -> Network:
    """Chambers and ducts in a row behind the cone."""
    parts: list[Branch] = []
    for i in range(elements // 2):
        node = "A" if i == 0 else f"n{i}"
        parts += [branch(spring(0.01), node, role="chamber"), branch(pipe(0.05, 0.1 + 0.001 * i), node, f"n{i + 1}")]
    return box(cone(DRIVER), *parts, air=AIR)


def tree(elements: int) -> Network:
    """Chambers and ducts that fork at every chamber, with a loop between neighbours at every tenth."""
    parts: list[Branch] = [branch(spring(0.01), "A", role="chamber")]
    names = ["A"]
    while len(parts) < elements:
        i = len(names)
        parts.append(branch(pipe(0.05, 0.1 + 0.001 * i), names[(i - 1) // 2], f"n{i}"))
        parts.append(branch(spring(0.01), f"n{i}", role="chamber"))
        names.append(f"n{i}")
        if i % 10 == 0:
            parts.append(branch(pipe(0.03, 0.2), names[-1], names[-2]))
    return box(cone(DRIVER), *parts, air=AIR)


@pytest.mark.parametrize("make", [chain, tree])
def test_cost_grows_with_elements(benchmark, capsys, make: Callable[[int], Network]) -> None:
    """The exponent of cost over elements between 25, 50, 100 and 200, 500 frequencies."""
    omega, sizes = omegas(500), np.array([25, 50, 100, 200])
    networks = [make(int(size)) for size in sizes]
    with threadpool_limits(limits=1):
        benchmark.pedantic(lambda: solve_network(networks[-1], omega), rounds=2, warmup_rounds=1)
        spent = np.array([best(lambda n=network: solve_network(n, omega), 3) for network in networks])
    exponent = float(np.polyfit(np.log(sizes), np.log(spent), 1)[0])
    steps = np.log2(spent[1:] / spent[:-1])
    report(benchmark, capsys, exponent=exponent, steepest_doubling=float(steps.max()), milliseconds_200=1e3 * spent[-1])
    assert exponent <= ELEMENT_EXPONENT


def run_python(*arguments: str) -> Callable[[], object]:
    def run() -> None:
        subprocess.run([sys.executable, *arguments], check=True, capture_output=True)

    return run


def test_help_against_importing_numpy(benchmark, capsys) -> None:
    ask = run_python("-m", "airpath.cli.main", "--help")
    base = run_python("-c", "import numpy")
    ask(), base()
    benchmark.pedantic(ask, rounds=3)
    ratio = best(ask) / best(base)
    report(benchmark, capsys, help_over_importing_numpy=ratio)
    assert ratio < HELP_OVER_NUMPY


def test_predict_against_importing_its_libraries(benchmark, capsys) -> None:
    """The whole demo case, figures and report included."""
    base = run_python("-c", "import numpy, scipy.linalg, matplotlib.pyplot")
    with tempfile.TemporaryDirectory() as folder:
        ask = run_python("-m", "airpath.cli.main", "predict", str(CASE), "--out", f"{folder}/out", "--quiet")
        ask(), base()
        benchmark.pedantic(ask, rounds=2)
        ratio = best(ask, 4) / best(base, 4)
    report(benchmark, capsys, predict_over_importing_its_libraries=ratio)
    assert ratio < PREDICT_OVER_IMPORTS


