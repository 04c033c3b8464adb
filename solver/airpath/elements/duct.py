"""A uniform duct with viscous and thermal losses, or several equal ones side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from airpath.acoustics.porous import Fill
from airpath.acoustics.viscothermal import Section, effective_compressibility, effective_medium
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega, two_port


@dataclass(frozen=True, kw_only=True)
class Duct(Element):
    """Uniform duct of a ``section`` and ``length`` [m]; ``count`` of them in parallel.

    ``fill``: stuffing spread over the duct; it replaces the wall losses. ``loss_q``: absorption Q of the air.
    Source: Zwikker & Kosten 1949; Stinson 1991. Checked by: published/ducts, crosscheck/test_scikit_rf.
    """

    kind: ClassVar[str] = "duct"
    section: Section
    length: float
    count: int = 1
    fill: Fill | None = None
    loss_q: float | None = None

    @property
    def terminals(self) -> int:
        """Two: the ends."""
        return 2

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y (n, 2, 2): coth(G l)/Z on the diagonal, -1/(Z sinh(G l)) beside it."""
        density, compressibility = medium(self.section, omega, air, self.fill, self.loss_q)
        phase = omega * np.sqrt(density * compressibility) * self.length
        characteristic = self.count * self.section.area * np.sqrt(compressibility / density)
        decay = np.expm1(-1j * phase)  # e^{-Gl} - 1: no overflow in a long duct, all digits in a short one
        scale = characteristic / (-decay * (2 + decay))  # over 1 - e^{-2Gl}
        y11 = scale * (1 + (1 + decay) ** 2)
        return two_port(y11, -2 * scale * (1 + decay), y11)

    def storage(self, omega: Omega, air: Air) -> ComplexArray:
        """Return j w kappa V [m^3/(s Pa)], (n,): flow in at both ends over it is the mean pressure in the duct."""
        compressibility = springiness(self.section, omega, air, self.fill, self.loss_q)
        return np.asarray(1j * omega * compressibility * self.section.area * self.length * self.count)

    @classmethod
    def examples(cls) -> list[Element]:
        """Return a round port, a slot, a capillary bundle and a stuffed duct."""
        return [
            cls(section=Section(height=0.05), length=0.2),
            cls(section=Section(height=0.01, width=0.2), length=0.4, loss_q=50),
            cls(section=Section(height=0.001), length=0.03, count=20),
            cls(section=Section(height=0.1, width=0.1), length=0.5, fill=Fill(flow_resistivity=4000, fraction=0.5)),
        ]


def medium(
    section: Section, omega: Omega, air: Air, fill: Fill | None = None, loss_q: float | None = None
) -> tuple[ComplexArray, ComplexArray]:
    """Return density [kg/m^3] and compressibility [1/Pa], each (n,), of what fills a duct."""
    if fill is None:
        density, found = effective_medium(section, omega, air)
        return density, _absorbing(found, air, loss_q)
    return fill.density(omega, air), springiness(section, omega, air, fill, loss_q)


def springiness(
    section: Section, omega: Omega, air: Air, fill: Fill | None = None, loss_q: float | None = None
) -> ComplexArray:
    """Return the compressibility [1/Pa], (n,), of what fills a duct."""
    found = effective_compressibility(section, omega, air) if fill is None else fill.compressibility(omega, air)
    return _absorbing(found, air, loss_q)


def _absorbing(compressibility: ComplexArray, air: Air, loss_q: float | None) -> ComplexArray:
    return compressibility if loss_q is None else compressibility - 1j / (loss_q * air.bulk_modulus)
