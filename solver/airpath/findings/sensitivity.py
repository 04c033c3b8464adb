"""How far each dimension of a case moves its features."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.case.parameters import parameters
from airpath.case.schema import Case
from airpath.findings.features import Spot, steepness
from airpath.findings.resonances import Shape, shape, swinging
from airpath.network.build import build
from airpath.network.graph import Network

_STEP = 2e-6  # relative: small against the width of the sharpest resonance
_SHOWN = 6
_WORTH = 0.01  # a change of 1 % that moves a feature by less than this share of 1 % is not shown


@dataclass(frozen=True, kw_only=True)
class Sensitivity:
    """``hz_per_unit``: by how many Hz a feature moves when ``parameter`` grows by one ``unit``."""

    parameter: str
    hz_per_unit: float
    unit: str

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the ``explain`` result."""
        return asdict(self)


def sensitivities(case: Case, model: str, network: Network, found: list[Spot]) -> list[list[Sensitivity]]:
    """Return per feature its sensitivities, the largest for the same relative change first.

    The slope of what is zero at the feature over its change with the dimension (implicit function): d ln|Z|/dw at an
    extremum; p^T Y p of the swing (Rayleigh) at a ripple. Exact but for the central difference in the dimension. None
    for drawn chambers.
    """
    if not found or any(table.outline is not None for table in case.chambers.values()):
        return [[] for _ in found]
    zero = _Zeros(network, found)
    slope = zero.slope(network)
    rows: list[list[tuple[float, Sensitivity]]] = [[] for _ in found]
    for d in parameters(case).values():
        if d.kind != "dimension":
            continue
        h = _STEP * d.value
        above, below = (zero.value(build(d.changed(d.value + s * h), model)) for s in (1, -1))
        hertz = -((above - below) / (2 * h) / slope).real / (2 * np.pi)
        for i, spot in enumerate(found):
            relative = abs(hertz[i] * d.value / spot.frequency)
            if relative > _WORTH:
                per_unit = float(hertz[i] * d.si)
                rows[i].append((relative, Sensitivity(parameter=d.name, hz_per_unit=per_unit, unit=d.unit)))
    return [[s for _, s in sorted(row, key=lambda pair: -pair[0])[:_SHOWN]] for row in rows]


class _Zeros:
    """What is zero at each feature, as a function of the network."""

    def __init__(self, network: Network, found: list[Spot]) -> None:
        self.turn = [i for i, spot in enumerate(found) if spot.kind != "ripple"]
        self.omega = 2 * np.pi * np.array([found[i].frequency for i in self.turn])
        self.rings = [
            (i, shape(network, spot.omega, spot.cone))
            for i, spot in enumerate(found)
            if spot.kind == "ripple" and spot.omega is not None
        ]

    def value(self, network: Network) -> NDArray[Any]:
        """Return it for a network, (features,)."""
        out = np.zeros(len(self.turn) + len(self.rings), dtype=np.complex128)
        if self.turn:
            out[self.turn] = steepness(network, self.omega)[0]
        for i, ring in self.rings:
            out[i] = self._ringing(network, ring, np.array([ring.omega]))[0]
        return out

    def slope(self, network: Network) -> NDArray[Any]:
        """Return its derivative over w, (features,)."""
        out = np.ones(len(self.turn) + len(self.rings), dtype=np.complex128)
        if self.turn:
            out[self.turn] = steepness(network, self.omega)[1]
        for i, ring in self.rings:
            h = 1e-5 * abs(ring.omega)
            above, below = self._ringing(network, ring, np.array([ring.omega + h, ring.omega - h]))
            out[i] = (above - below) / (2 * h)
        return out

    @staticmethod
    def _ringing(network: Network, ring: Shape, omega: NDArray[Any]) -> NDArray[Any]:
        branches = swinging(network, "free")
        if len(branches) != len(ring.branches):  # stations of a duct that fell together or came apart
            return np.full(len(omega), np.nan)
        total = np.zeros(len(omega), dtype=np.complex128)
        for was, now in zip(ring.branches, branches, strict=True):
            p = ring.at(was)
            total += np.einsum("i,nij,j->n", p, now.element.admittance(omega, network.air), p)
        return total
