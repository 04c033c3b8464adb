"""Boxes as if built a little differently from their plan, and sweeps as if measured on them. All numbers invented."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from airpath.case import Case
from airpath.case.load import parse
from airpath.case.parameters import parameters
from airpath.measured.fitting.derivatives import log_impedance
from airpath.measured.fitting.freedom import Free, with_leak
from airpath.measured.reading.sweep import MeasuredSweep

PORTS, VOLUMES, DRIVER = 0.05, 0.05, 0.10  # standard deviations of what is built against what is drawn
DRIVEN = ("fs", "Qms", "Qes", "Vas", "Re")


def measured(
    case: Case, points: int = 200, noise: float = 0.005, seed: int = 0, model: str = "line", phase: bool = True
) -> MeasuredSweep:
    """Return the impedance of a case with relative ``noise`` on its real and imaginary part."""
    chance = np.random.default_rng(seed)
    frequency = np.geomspace(case.sweep.start, case.sweep.stop, points)
    z = np.exp(log_impedance(case, model, 2 * np.pi * frequency))
    z = z * (1 + noise * (chance.standard_normal(points) + 1j * chance.standard_normal(points)))
    angle = np.degrees(np.angle(z)) if phase else None
    return MeasuredSweep(frequency=frequency, magnitude=np.abs(z), phase_deg=angle, source=Path("made-up.csv"))


def changed(case: Case, values: Mapping[str, float]) -> Case:
    """Return a case with other values [SI] by full name; a leak that it lacks is made."""
    for name, value in values.items():
        if name.endswith("leak.diameter") and name not in parameters(case):
            case = with_leak(case, name.split(".")[1])
        case = Free(parameter=parameters(case)[name], width=1.0).put(case, value)
    return case


def scaled(case: Case, factors: Mapping[str, float]) -> Case:
    """Return a case with values times factors, by full name."""
    known = parameters(case)
    return changed(case, {name: known[name].value * factor for name, factor in factors.items()})


def random_box(chance: np.random.Generator) -> Case:
    """Return a vented or a double-chamber box with a driver that suits it."""
    resonance, area = chance.uniform(35, 75), chance.uniform(80, 250)
    size = chance.uniform(8, 30)  # L
    text = f"""
[driver]
fs = "{resonance:.2f} Hz"
Qms = {chance.uniform(3, 6):.3f}
Qes = {chance.uniform(0.3, 0.6):.3f}
Vas = "{size * chance.uniform(0.6, 1.8):.3f} L"
Sd = "{area:.1f} cm^2"
Re = "{chance.uniform(3.2, 6.5):.2f} ohm"
Le = "{chance.uniform(0.2, 0.6):.3f} mH"
front = "outside"
rear = "main"
[sweep]
start = "15 Hz"
stop = "600 Hz"
[chambers.main]
volume = "{size:.2f} L"
"""
    text += _port("nose", "main", "outside", chance)
    if chance.random() < 0.5:
        text += f'[chambers.tail]\nvolume = "{size * chance.uniform(0.4, 0.9):.2f} L"\n'
        text += _port("throat", "main", "tail", chance) + _port("rear", "tail", "outside", chance)
    return parse(text, Path("random.toml"))


def _port(name: str, start: str, end: str, chance: np.random.Generator) -> str:
    length, diameter = chance.uniform(60, 180), chance.uniform(40, 70)
    return (
        f'[ports.{name}]\nfrom = "{start}"\nto = "{end}"\nlength = "{length:.2f} mm"\n'
        f'diameter = "{diameter:.2f} mm"\n'
    )


def spread(case: Case, leak: bool) -> dict[str, float]:
    """Return how far each value of a random box may be off, one standard deviation [SI]; all others are exact."""
    widths = {
        name: p.value * (DRIVER if p.path[0] == "driver" else VOLUMES if p.path[-1] == "volume" else PORTS)
        for name, p in parameters(case).items()
        if p.path[-1] in (*DRIVEN, "volume") or (p.path[0] == "ports" and p.path[-1] == "length")
    }
    return {**widths, "chambers.main.leak.diameter": 1e-3 * np.log(3)} if leak else widths
