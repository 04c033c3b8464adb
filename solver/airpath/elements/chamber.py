"""A chamber that acts as one pressure: the spring of its air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from airpath.acoustics.porous import Fill
from airpath.acoustics.viscothermal import chamber_compressibility
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega


@dataclass(frozen=True, kw_only=True)
class Chamber(Element):
    """Compliance of ``volume`` [m^3] with the thermal layer on ``wall_area`` [m^2].

    ``loss_q``: absorption Q of the air volume, on top of the walls' layer. ``fill``: stuffing in a share of the volume.
    """

    kind: ClassVar[str] = "chamber"
    volume: float
    wall_area: float
    loss_q: float | None = None
    fill: Fill | None = None

    @property
    def terminals(self) -> int:
        """One: the pressure."""
        return 1

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y = j w kappa V, shape (n, 1, 1)."""
        return (1j * omega * self.volume * self.compressibility(omega, air))[:, None, None]

    def compressibility(self, omega: Omega, air: Air) -> ComplexArray:
        """Return the complex compressibility [1/Pa] (n,): layer, absorption and stuffing together."""
        kappa = chamber_compressibility(self.volume, self.wall_area, omega, air)
        if self.fill is not None:
            kappa = kappa * (1 - self.fill.fraction) + self.fill.compressibility(omega, air) - (
                1 - self.fill.fraction
            ) / air.bulk_modulus  # fmt: skip
        if self.loss_q is not None:
            kappa = kappa - 1j / (self.loss_q * air.bulk_modulus)
        return kappa

    @classmethod
    def examples(cls) -> list[Element]:
        """Return a plain, an absorbing and a stuffed chamber."""
        return [
            cls(volume=0.03, wall_area=6 * 0.03 ** (2 / 3)),
            cls(volume=0.002, wall_area=0.1, loss_q=30),
            cls(volume=0.03, wall_area=0.6, fill=Fill(flow_resistivity=8000, fraction=0.6)),
        ]


def cube_wall_area(volume: float) -> float:
    """Return the wall area [m^2] of the cube of a volume [m^3]: the stand-in where the shape is not known."""
    return float(6 * np.cbrt(volume) ** 2)
