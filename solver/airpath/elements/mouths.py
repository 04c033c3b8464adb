"""The air outside several openings whose places are known: each one's own load, and what they do to each other."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import ClassVar

import numpy as np

from airpath.acoustics.mutual import monopole_mutual, piston_mutual
from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega
from airpath.elements.mouth import Mouth

_PLANE = 1e-3  # of the distance: so flat is one plane
_APART = 1.02  # of the two radii: closer discs are taken as points


@dataclass(frozen=True, kw_only=True)
class Mouths(Element):
    """Radiation of single openings ``mouths`` at ``places`` (x, y, z) [m], a terminal for each, against the open air.

    Round flanged openings in one plane z = const are baffled pistons (Pritchard 1960). Others act on each other as
    small sources: into half space if both have a flange and ``space`` is not full, else into full space.
    Raises ValueError for a mouth that stands for several, and for two mouths in one place.
    """

    kind: ClassVar[str] = "mouths"
    mouths: tuple[Mouth, ...]
    places: tuple[tuple[float, float, float], ...]
    full_space: bool = False

    def __post_init__(self) -> None:
        if any(mouth.count != 1 for mouth in self.mouths):
            raise ValueError("mutual radiation is between single openings, one place each")
        for i, j in combinations(range(len(self.places)), 2):
            if self.distance(i, j) < max(self.mouths[i].section.radius, self.mouths[j].section.radius):
                raise ValueError(f"openings {i + 1} and {j + 1} overlap: {self.distance(i, j) * 1e3:.4g} mm apart")

    @property
    def terminals(self) -> int:
        """Number of openings."""
        return len(self.mouths)

    def distance(self, i: int, j: int) -> float:
        """Return the distance [m] between the centres of two openings."""
        return float(np.linalg.norm(np.subtract(self.places[i], self.places[j])))

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y (n, openings, openings), the inverse of the radiation impedance matrix."""
        return np.asarray(np.linalg.inv(self.impedance(omega, air)))

    def impedance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Z_ij [Pa s/m^3], mean pressure on i per volume velocity out of j, (n, openings, openings)."""
        k = np.asarray(omega) / air.sound_speed
        size = self.terminals
        matrix = np.empty((len(k), size, size), dtype=np.complex128)
        for i, mouth in enumerate(self.mouths):
            matrix[:, i, i] = mouth.specific_impedance(k) / mouth.section.area
        for i, j in combinations(range(size), 2):
            matrix[:, i, j] = matrix[:, j, i] = self._mutual(k, i, j)
        return np.asarray(matrix * (air.density * air.sound_speed))

    def _mutual(self, k: Omega, i: int, j: int) -> ComplexArray:
        one, other, distance = self.mouths[i], self.mouths[j], self.distance(i, j)
        flanged = one.flanged and other.flanged and not self.full_space
        reach = one.section.radius + other.section.radius
        level = abs(self.places[i][2] - self.places[j][2]) <= _PLANE * distance
        discs = one.section.width is None and other.section.width is None
        if flanged and level and discs and distance > _APART * reach:
            return piston_mutual(k, one.section.radius, other.section.radius, distance)
        angle = 2 * np.pi if flanged else 4 * np.pi
        return monopole_mutual(k, _half_width(one.section), _half_width(other.section), distance, angle)

    @classmethod
    def examples(cls) -> list[Element]:
        """Return two pistons side by side, and three unlike openings around a corner."""
        cone, pipe = Mouth(section=Section(height=0.16)), Mouth(section=Section(height=0.07))
        free = Mouth(section=Section(height=0.06), flanged=False)
        slot = Mouth(section=Section(height=0.02, width=0.3), along_wall=True)
        return [
            cls(mouths=(cone, pipe), places=((0.0, 0.0, 0.0), (0.0, -0.15, 0.0))),
            cls(mouths=(cone, free, slot), places=((0.0, 0.0, 0.0), (0.05, 0.1, -0.3), (0.0, -0.25, 0.0))),
            cls(mouths=(cone, cone), places=((0.0, 0.2, 0.0), (0.0, 0.0, 0.0)), full_space=True),
        ]


def _half_width(section: Section) -> float:
    """Return the radius [m] of the disc that an opening fits in."""
    return section.radius if section.width is None else float(np.hypot(section.width, section.height)) / 2
