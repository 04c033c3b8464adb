"""A plug of air that moves as one: what is left of a duct when it is short against the wavelength."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from airpath.acoustics.viscothermal import Section, effective_density
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega, series


@dataclass(frozen=True, kw_only=True)
class Plug(Element):
    """Inertance and resistance of a ``section`` over a ``length`` [m]; ``count`` of them in parallel.

    The complex density of the duct of the same section, so that duct and plug share one limit at low frequency.
    ``friction`` off leaves the pure inertance rho l/S: an end correction, where no wall rubs.
    Checked by: physics/test_ducts.
    """

    kind: ClassVar[str] = "plug"
    section: Section
    length: float
    count: int = 1
    friction: bool = True

    @property
    def terminals(self) -> int:
        """Two: the ends."""
        return 2

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y (n, 2, 2) of the series impedance j w rho l/S."""
        density = effective_density(self.section, omega, air) if self.friction else air.density
        return series(1j * omega * density * self.length / (self.section.area * self.count))

    @classmethod
    def examples(cls) -> list[Element]:
        """Return a port and the end correction of a slot."""
        return [
            cls(section=Section(height=0.05), length=0.2, count=2),
            cls(section=Section(height=0.01, width=0.2), length=0.02, friction=False),
        ]
