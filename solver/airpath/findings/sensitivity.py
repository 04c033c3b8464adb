"""How far each dimension of a case moves its features."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.case.schema import Case
from airpath.findings.features import Spot, steepness
from airpath.findings.resonances import Shape, shape, swinging
from airpath.network.build import build
from airpath.network.graph import Network

_STEP = 2e-6  # relative: small against the width of the sharpest resonance
_UNITS = {"mm": 1e-3, "L": 1e-3, "cm^2": 1e-4}  # SI value of one unit
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


@dataclass(frozen=True, kw_only=True)
class Dimension:
    """One length, area or volume of a case: its ``value`` in SI and the case with another one."""

    parameter: str
    unit: str
    value: float
    changed: Callable[[float], Case]


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
    for d in dimensions(case):
        h = _STEP * d.value
        above, below = (zero.value(build(d.changed(d.value + s * h), model)) for s in (1, -1))
        hertz = -((above - below) / (2 * h) / slope).real / (2 * np.pi)
        for i, spot in enumerate(found):
            relative = abs(hertz[i] * d.value / spot.frequency)
            if relative > _WORTH:
                per_unit = float(hertz[i] * _UNITS[d.unit])
                rows[i].append((relative, Sensitivity(parameter=d.parameter, hz_per_unit=per_unit, unit=d.unit)))
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


def dimensions(case: Case) -> Iterator[Dimension]:
    """Return every length, area and volume of a case that can be changed alone.

    What sits in a chamber keeps its place in proportion when a side of the chamber changes.
    """
    for name, port in case.ports.items():
        for key in ("length", "diameter", "width", "height"):
            if getattr(port, key, None) is not None:
                yield _plain(case, "ports", name, key, "mm")
    for name, chamber in case.chambers.items():
        if chamber.volume is not None:
            yield _plain(case, "chambers", name, "volume", "L")
        for axis in range(3) if chamber.size is not None else ():
            yield _side(case, name, axis)
    for name, horn in case.horns.items():
        for key, unit in (("length", "mm"), ("throat", "cm^2"), ("mouth", "cm^2")):
            if getattr(horn, key, None) is not None:
                yield _plain(case, "horns", name, key, unit)


def _plain(case: Case, table: str, name: str, key: str, unit: str) -> Dimension:
    entries = getattr(case, table)

    def changed(value: float) -> Case:
        entry = entries[name].model_copy(update={key: value})
        return case.model_copy(update={table: {**entries, name: entry}})

    value = float(getattr(entries[name], key))
    return Dimension(parameter=f"{table}.{name}.{key}", unit=unit, value=value, changed=changed)


def _side(case: Case, name: str, axis: int) -> Dimension:
    size = case.chambers[name].size
    assert size is not None
    old = size[axis]

    def changed(value: float) -> Case:
        def moved(at: tuple[float, ...] | None, space: str | None) -> tuple[float, ...] | None:
            if at is None or space != name:
                return at
            return tuple(x * value / old if i == axis else x for i, x in enumerate(at))

        sides = tuple(value if i == axis else side for i, side in enumerate(size))
        driver, chamber = case.driver, case.chambers[name].model_copy(update={"size": sides})
        ports = {
            key: port.model_copy(
                update={"from_at": moved(port.from_at, port.from_), "to_at": moved(port.to_at, port.to)}
            )
            for key, port in case.ports.items()
        }
        horns = {
            key: horn.model_copy(update={"from_at": moved(horn.from_at, horn.from_)})
            for key, horn in case.horns.items()
        }
        places = {
            "front_at": moved(driver.front_at, driver.front), "rear_at": moved(driver.rear_at, driver.rear)
        }  # fmt: skip
        return case.model_copy(
            update={
                "chambers": {**case.chambers, name: chamber}, "ports": ports, "horns": horns,
                "driver": driver.model_copy(update=places),
            }
        )

    return Dimension(parameter=f"chambers.{name}.size[{axis}]", unit="mm", value=old, changed=changed)
