"""Several two-terminal elements end to end, seen from the outer two terminals: a port with its ends and flares."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega, cascade
from airpath.elements.duct import Duct
from airpath.elements.horn import horn_profile
from airpath.elements.plug import Plug


@dataclass(frozen=True, kw_only=True)
class Passage(Element):
    """A chain of two-terminal ``stages``, first to last."""

    kind: ClassVar[str] = "passage"
    stages: tuple[Element, ...]

    @property
    def terminals(self) -> int:
        """Two: the ends of the chain."""
        return 2

    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y (n, 2, 2) of the whole chain."""
        return cascade([stage.admittance(omega, air) for stage in self.stages])

    @classmethod
    def examples(cls) -> list[Element]:
        """Return a port with an inner end correction, and a flared one."""
        pipe = Section(height=0.05)
        end = Plug(section=pipe, length=0.02, friction=False)
        flare = horn_profile("conical", pipe.area, 2 * pipe.area, 0.02)
        return [
            cls(stages=(end, Duct(section=pipe, length=0.2))),
            cls(stages=(end, Duct(section=pipe, length=0.15), flare)),
        ]
