"""What elements do at fixed frequencies, worked out once for all boxes that hold them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from airpath.air import Air
from airpath.elements.base import ComplexArray, Element, Omega
from airpath.network.graph import Branch, Network
from airpath.network.solve import State, solve_network

_KEPT = 40  # elements of a kind: those of a step, of its turns and of the step before


class Admittances:
    """Admittances at ``omega`` (n,) [rad/s]: an element equal to one seen before is not solved again.

    ``most``: elements of a kind that are kept, the last ones seen; None: all.
    """

    def __init__(self, omega: Omega, most: int | None = None) -> None:
        self.omega = omega
        self.most = most
        self.known: dict[type[Element], list[tuple[Element, Air, ComplexArray]]] = {}

    def of(self, branches: Sequence[Branch], air: Air) -> list[ComplexArray]:
        """Return each branch's admittance matrix, (n, terminals, terminals)."""
        return [self._one(branch.element, air) for branch in branches]

    def every(self, step: int) -> Admittances:
        """Return the same at every ``step``-th frequency, with what is known."""
        some = Admittances(self.omega[::step], self.most)
        some.known = {kind: [(e, air, y[::step]) for e, air, y in seen] for kind, seen in self.known.items()}
        return some

    def _one(self, element: Element, air: Air) -> ComplexArray:
        seen = self.known.setdefault(type(element), [])
        for i, (other, its_air, y) in enumerate(seen):
            if same(other, element) and (its_air is air or its_air == air):
                if self.most is not None:
                    seen.append(seen.pop(i))
                return y
        y = element.admittance(self.omega, air)
        seen.append((element, air, y))
        if self.most is not None and len(seen) > self.most:
            del seen[0]
        return y


class Seen:
    """Admittances at the frequencies of several sweeps, for a search that meets most elements again and again."""

    def __init__(self) -> None:
        self.known: dict[bytes, Admittances] = {}

    def at(self, omega: Omega) -> Admittances:
        """Return what elements do at ``omega`` (n,) [rad/s], as far as they were met lately."""
        return self.known.setdefault(np.asarray(omega).tobytes(), Admittances(omega, most=_KEPT))


class Reusing:
    """A solver of networks: elements that are equal in several of them are solved once at the same frequencies."""

    def __init__(self) -> None:
        self._seen = Seen()

    def __call__(self, network: Network, omega: Omega) -> State:
        """Solve a network at ``omega`` (n,) [rad/s]. Raises AccuracyError as solve_network does."""
        return solve_network(network, omega, self._seen.at(omega).of(network.branches, network.air))


def same(one: Element, other: Element) -> bool:
    """Whether two elements are alike; those that hold arrays only if they are one and the same."""
    if one is other:
        return True
    try:
        return bool(one == other)
    except ValueError:
        return False
