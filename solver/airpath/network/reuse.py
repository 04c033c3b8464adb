"""What elements do at fixed frequencies, worked out once for all boxes that hold them."""

from __future__ import annotations

from collections.abc import Sequence

from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega
from airpath.network.graph import Branch


class Admittances:
    """Admittances at ``omega`` (n,) [rad/s]: an element equal to one seen before is not solved again."""

    def __init__(self, omega: Omega) -> None:
        self.omega = omega
        self.known: dict[type[Element], list[tuple[Element, Air, ComplexArray]]] = {}

    def of(self, branches: Sequence[Branch], air: Air) -> list[ComplexArray]:
        """Return each branch's admittance matrix, (n, terminals, terminals)."""
        return [self._one(branch.element, air) for branch in branches]

    def _one(self, element: Element, air: Air) -> ComplexArray:
        seen = self.known.setdefault(type(element), [])
        for other, its_air, y in seen:
            if (other is element and its_air is air) or (_equal(other, element) and its_air == air):
                return y
        y = element.admittance(self.omega, air)
        seen.append((element, air, y))
        return y


def _equal(a: Element, b: Element) -> bool:
    try:
        return bool(a == b)
    except ValueError:  # holds arrays: the same only if it is the same
        return False
