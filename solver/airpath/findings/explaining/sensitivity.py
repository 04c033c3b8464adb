"""How far each value of a case moves its features."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.case.parameters import Kind, Parameter, parameters
from airpath.case.schema import Case
from airpath.errors import AirpathError
from airpath.findings.explaining.features import Spot, motional, steepness_of, surroundings
from airpath.findings.explaining.resonances import STEP, mobility, shapes, swinging
from airpath.findings.wording import slope
from airpath.network.build import build
from airpath.network.graph import Network
from airpath.network.reuse import Admittances

_STEP = 6e-6  # relative: small against the width of the sharpest resonance
_PLACE_STEP = 1e-7  # m
_SHOWN = 6  # of a kind
_WORTH = 0.01  # a change of 1 % that moves a feature by less than this share of 1 % is not shown,
_WORTH_PLACE = 1e-4  # nor a move by 1 mm that moves it by less than this share


@dataclass(frozen=True, kw_only=True)
class Sensitivity:
    """``hz_per_unit``: by how many Hz a feature moves when ``parameter`` grows by one ``unit``.

    ``hz_per_percent``: when it grows by 1 %; None for a place.
    """

    parameter: str
    kind: Kind
    hz_per_unit: float
    unit: str
    hz_per_percent: float | None

    @property
    def slope(self) -> str:
        """In words: "+0.49 Hz per mm"."""
        value = None if self.hz_per_percent is None else 100 * self.hz_per_percent / self.hz_per_unit
        return slope(self.hz_per_unit, self.unit, value)

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the ``explain`` result."""
        return asdict(self)


def sensitivities(case: Case, model: str, network: Network, found: list[Spot]) -> list[list[Sensitivity]]:
    """Return per feature its sensitivities: the largest per 1 % first, then places, the largest per mm first.

    The slope of what is zero at the feature over its change with the value (implicit function): d ln|Z|/dw at an
    extremum; p^T Y p of the swing (Rayleigh) at a ripple. Exact but for the central difference in the value. Left out
    is what would need a drawing to be meshed or reduced anew: the depth, losses and stuffing of drawn chambers.
    """
    zero = _Zeros(network, found)
    rows: list[list[tuple[bool, float, Sensitivity]]] = [[] for _ in found]
    for one in parameters(case).values() if found else ():
        if one.path[0] in ("chambers", "horns") and getattr(case, str(one.path[0]))[one.path[1]].outline is not None:
            continue
        hertz = _hertz_per_si(one, model, zero)
        if hertz is None:
            continue
        place = one.kind == "place"
        for i, spot in enumerate(found):
            share = abs(hertz[i]) * (1e-3 if place else one.value) / spot.frequency
            if share > (_WORTH_PLACE if place else _WORTH):
                entry = Sensitivity(
                    parameter=one.name, kind=one.kind, hz_per_unit=float(hertz[i] * one.si), unit=one.unit,
                    hz_per_percent=None if place else float(hertz[i] * one.value / 100),
                )  # fmt: skip
                rows[i].append((place, -float(f"{share:.3g}"), entry))  # equals stay in the file's order
    return [_largest([entry for *_, entry in sorted(row, key=lambda r: r[:2])]) for row in rows]


def _largest(entries: list[Sensitivity]) -> list[Sensitivity]:
    """Return the first few of each kind, in order."""
    count: dict[str, int] = {}
    kept = []
    for entry in entries:
        count[entry.kind] = count.get(entry.kind, 0) + 1
        if count[entry.kind] <= _SHOWN:
            kept.append(entry)
    return kept


def _hertz_per_si(one: Parameter, model: str, zero: _Zeros) -> NDArray[np.float64] | None:
    """Return by how much each feature moves per SI unit of a value, [Hz], None where it can't go both ways."""
    h = _PLACE_STEP if one.kind == "place" else _STEP * one.value
    if h == 0.0 or not one.low <= one.value - h <= one.value + h <= one.high:
        return None  # a value of zero has no 1 %, one at its limit no way beyond
    try:
        above, below = (zero.value(build(one.changed(one.value + s * h), model)) for s in (1, -1))
    except (AirpathError, ValueError):
        return None
    hertz = -((above - below) / (2 * h) / zero.slope).real / (2 * np.pi)
    return np.where(np.isfinite(hertz), hertz, 0.0)


class _Zeros:
    """What is zero at each feature, as a function of the network, and its derivative over w: ``slope`` (features,)."""

    def __init__(self, network: Network, found: list[Spot]) -> None:
        self.turn = [i for i, spot in enumerate(found) if spot.kind != "ripple"]
        self.omega = 2 * np.pi * np.array([found[i].frequency for i in self.turn])
        ripples = [(i, spot.omega) for i, spot in enumerate(found) if spot.kind == "ripple" and spot.omega is not None]
        self.ripple = [i for i, _ in ripples]
        self.rings = shapes(network, [(omega, "free") for _, omega in ripples])
        self.around = Admittances(surroundings(self.omega))
        self.at_rings = Admittances(np.array([omega for _, omega in ripples], dtype=np.complex128))
        self.slope = np.ones(len(found), dtype=np.complex128)
        if self.turn:
            self.slope[self.turn] = steepness_of(self.omega, self._impedance(network))[1]
        for i, ring in zip(self.ripple, self.rings, strict=True):
            rise = [
                ring.at(b) @ (y[1] - y[2]) @ ring.at(b) for b, y in zip(ring.branches, ring.parts, strict=True)
            ]
            self.slope[i] = sum(rise) / (2 * STEP * abs(ring.omega))

    def value(self, network: Network) -> NDArray[Any]:
        """Return it for a network, (features,)."""
        out = np.zeros(len(self.slope), dtype=np.complex128)
        if self.turn:
            out[self.turn] = steepness_of(self.omega, self._impedance(network))[0]
        if self.ripple:
            out[self.ripple] = self._ringing(network)
        return out

    def _impedance(self, network: Network) -> NDArray[Any]:
        points = self.around.omega
        return motional(network, points, mobility(network, points, self.around.of(network.branches, network.air)))

    def _ringing(self, network: Network) -> NDArray[Any]:
        branches = swinging(network, "free")
        total = np.zeros(len(self.rings), dtype=np.complex128)
        parts = self.at_rings.of(branches, network.air)
        for i, ring in enumerate(self.rings):
            if len(branches) != len(ring.branches):  # stations of a duct that fell together or came apart
                return np.full(len(self.rings), np.nan)
            for was, y in zip(ring.branches, parts, strict=True):
                total[i] += ring.at(was) @ y[i] @ ring.at(was)
        return total
