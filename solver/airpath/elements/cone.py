"""The driver: a cone between two spaces, moved by a coil."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega, series


@dataclass(frozen=True, kw_only=True)
class Cone(Element):
    """``count`` equal drivers that share both spaces; terminals: front and rear of the cone.

    Small-signal model of Thiele 1961 and Small 1972, all SI: ``mass`` of the moving parts without air [kg],
    ``compliance`` [m/N], ``resistance`` [N s/m], ``force_factor`` Bl [T m], ``area`` Sd [m^2], coil ``Re`` [ohm] and
    ``Le`` [H] with an optional parallel pair ``Le2``, ``Re2`` in series. ``air_mass`` [kg]: the air that moves with
    both sides and isn't part of another element. The terminals are driven from a voltage source (see
    :meth:`injection`), so the coil damps the cone; the velocity v > 0 pushes air into the front.
    Checked by: published/boxes.
    """

    kind: ClassVar[str] = "cone"
    mass: float
    compliance: float
    resistance: float
    force_factor: float
    area: float
    Re: float
    Le: float = 0.0
    Le2: float | None = None
    Re2: float | None = None
    air_mass: float = 0.0
    count: int = 1

    @property
    def terminals(self) -> int:
        """Two: front and rear."""
        return 2

    def coil(self, omega: Omega) -> ComplexArray:
        """Return the blocked electrical impedance of one driver [ohm], shape (n,)."""
        impedance = self.Re + 1j * omega * self.Le
        if self.Le2 is not None and self.Re2 is not None:
            branch = 1j * omega * self.Le2
            impedance = impedance + branch * self.Re2 / (branch + self.Re2)
        return np.asarray(impedance, dtype=np.complex128)

    def mechanical(self, omega: Omega) -> ComplexArray:
        """Return the mechanical impedance of one driver, coil open [N s/m], shape (n,)."""
        mass = self.mass + self.air_mass
        return np.asarray(self.resistance + 1j * omega * mass + 1 / (1j * omega * self.compliance))

    def damped(self, omega: Omega) -> ComplexArray:
        """Return the mechanical impedance of one driver with the voltage held [N s/m], shape (n,)."""
        return np.asarray(self.mechanical(omega) + self.force_factor**2 / self.coil(omega))

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y (n, 2, 2) at a held voltage."""
        return series(self.damped(omega) / (self.count * self.area**2))

    def injection(self, omega: Omega) -> ComplexArray:
        """Return the volume velocity into the front [m^3/s per V at each driver], both sides at zero pressure, (n,)."""
        drive = self.force_factor / self.coil(omega)
        return np.asarray(self.count * self.area * drive / self.damped(omega))

    def velocity(self, omega: Omega, pressure_difference: ComplexArray) -> ComplexArray:
        """Return the cone velocity [m/s per V] for p_rear - p_front [Pa per V], each (n,)."""
        force = self.force_factor / self.coil(omega) + self.area * pressure_difference
        return np.asarray(force / self.damped(omega))

    def current(self, omega: Omega, velocity: ComplexArray) -> ComplexArray:
        """Return the current of one driver [A per V] at a cone velocity [m/s per V], each (n,)."""
        return np.asarray((1 - self.force_factor * velocity) / self.coil(omega))

    @classmethod
    def examples(cls) -> list[Element]:
        """Return a plain driver and a pair with a lossy coil."""
        plain = {"mass": 0.03, "compliance": 5e-4, "resistance": 2.0, "force_factor": 10.0, "area": 0.022, "Re": 5.6}
        return [cls(**plain), cls(**plain, Le=5e-4, Le2=8e-4, Re2=5.0, count=2)]  # type: ignore[arg-type]
