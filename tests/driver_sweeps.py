"""Impedance of a driver written out from its mechanics, and sweeps of it as measured on a bench."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from airpath.measured.reading.sweep import MeasuredSweep

GRID = np.geomspace(10.0, 10_000.0, 500)


def driver_impedance(
    frequency: np.ndarray, *, Mms: float, Cms: float, Rms: float, Bl: float, Re: float, Le: float = 0.0,
    Le2: float = 0.0, Re2: float = 1.0, added_mass: float = 0.0, box_stiffness: float = 0.0,
) -> np.ndarray:  # fmt: skip
    """Voltage over current of a mass on a spring moved by a coil; ``box_stiffness`` [N/m] of the closed air behind."""
    w = 2 * np.pi * frequency
    coil = Re + 1j * w * Le + (1j * w * Le2 * Re2) / (1j * w * Le2 + Re2)
    mechanics = Rms + 1j * w * (Mms + added_mass) + (1 / Cms + box_stiffness) / (1j * w)
    return coil + Bl**2 / mechanics


def swept(
    impedance: np.ndarray, frequency: np.ndarray = GRID, *, noise: float = 0.0, seed: int = 1, phase: bool = True,
    name: str = "made.csv",
) -> MeasuredSweep:  # fmt: skip
    """A sweep with relative complex noise (standard deviation of each part)."""
    rng = np.random.default_rng(seed)
    z = impedance * np.exp(noise * (rng.normal(size=len(frequency)) + 1j * rng.normal(size=len(frequency))))
    angle = np.rad2deg(np.angle(z)) if phase else None
    return MeasuredSweep(frequency=frequency, magnitude=np.abs(z), phase_deg=angle, source=Path(name))
