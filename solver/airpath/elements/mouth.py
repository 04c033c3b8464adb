"""The air outside an opening: its radiation resistance and mass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from airpath.acoustics.ends import free_length, piston_length
from airpath.acoustics.radiation import baffled_piston, baffled_rectangle, unflanged_pipe
from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega, series


@dataclass(frozen=True, kw_only=True)
class Mouth(Element):
    """Radiation impedance of an opening of a ``section``; ``count`` equal ones, each on its own.

    Terminals: the opening and the outside. ``flanged``: a piston in a baffle (exact for round and rectangular);
    otherwise an open pipe without flange. ``along_wall``: a slot on a wall, half of its mirrored double.
    """

    kind: ClassVar[str] = "mouth"
    section: Section
    count: int = 1
    flanged: bool = True
    along_wall: bool = False

    @property
    def terminals(self) -> int:
        """Two: the opening and the outside."""
        return 2

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y (n, 2, 2) of the radiation impedance in series."""
        specific = self.specific_impedance(omega / air.sound_speed)
        characteristic = air.density * air.sound_speed / (self.section.area * self.count)
        return series(specific * characteristic)

    def specific_impedance(self, k: Omega) -> ComplexArray:
        """Return z = Z S/(rho c), shape (n,)."""
        section = self.section
        if not self.flanged:  # a slot: the reflection of the round opening of its area, the length of its own shape
            stretch = free_length(section, self.along_wall) / free_length(Section.round(section.area))
            return unflanged_pipe(k, section.radius, stretch)
        if section.width is None:
            return baffled_piston(k, section.radius)
        return baffled_rectangle(k, section.width, section.height * (2 if self.along_wall else 1))

    @property
    def rest_length(self) -> float:
        """Length [m] of the air that moves with the opening at rest: z = j k times it."""
        return (piston_length if self.flanged else free_length)(self.section, self.along_wall)

    @classmethod
    def examples(cls) -> list[Element]:
        """Return round and rectangular openings, with and without a flange."""
        return [
            cls(section=Section(height=0.1)),
            cls(section=Section(height=0.06), flanged=False, count=2),
            cls(section=Section(height=0.02, width=0.3), along_wall=True),
            cls(section=Section(height=0.02, width=0.3), flanged=False),
        ]

