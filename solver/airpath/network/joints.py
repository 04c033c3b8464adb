"""Where things join a chamber: one pressure for all, or stations along a duct."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from airpath.acoustics.porous import Fill
from airpath.acoustics.viscothermal import Section
from airpath.case.schema import Case
from airpath.case.schema import Chamber as ChamberTable
from airpath.elements.base import Element
from airpath.elements.chamber import Chamber, cube_wall_area
from airpath.elements.duct import Duct
from airpath.network.graph import Branch

Position = tuple[float, float, float]
_ON_WALL = 0.005  # an opening this share of the chamber's side away from a wall counts as being in it


@dataclass(frozen=True, kw_only=True)
class Joint:
    """One thing that opens into a chamber: ``key`` names it, ``position`` [m] is where, if the case says so."""

    key: str
    position: Position | None


def joints_of(case: Case, chamber: str) -> list[Joint]:
    """Return everything that opens into a chamber, in the order of the case."""
    driver = case.driver
    found = [
        Joint(key=f"driver.{side}", position=at)
        for side, space, at in (
            ("front", driver.front, driver.front_at), ("rear", driver.rear, driver.rear_at)
        )
        if space == chamber
    ]  # fmt: skip
    for name, port in case.ports.items():
        if port.from_ == chamber:
            found.append(Joint(key=f"{name}.from", position=port.from_at))
        if port.to == chamber:
            found.append(Joint(key=f"{name}.to", position=port.to_at))
    for name, horn in case.horns.items():
        if horn.from_ == chamber:
            found.append(Joint(key=f"{name}.from", position=horn.from_at))
        if horn.to == chamber:
            found.append(Joint(key=f"{name}.to", position=None))
    return found


def chamber_volume(table: ChamberTable) -> float:
    """Return the volume [m^3] of a chamber given by volume or size."""
    if table.volume is not None:
        return table.volume
    assert table.size is not None
    return float(np.prod(table.size))


def wall_at(table: ChamberTable, position: Position | None) -> float | None:
    """Return the area [m^2] of the wall that a position lies in; None if the shape or the wall isn't known."""
    if table.size is None or position is None:
        return None
    for axis, (x, side) in enumerate(zip(position, table.size, strict=True)):
        if min(x, side - x) <= _ON_WALL * side:
            return float(np.prod(table.size) / table.size[axis])
    return None


def lumped_chamber(name: str, table: ChamberTable, joints: list[Joint]) -> tuple[list[Branch], dict[str, str]]:
    """Return the chamber as one compliance, with the node of every joint."""
    volume = chamber_volume(table)
    if table.size is None:
        wall = cube_wall_area(volume)
    else:
        x, y, z = table.size
        wall = 2 * (x * y + y * z + z * x)
    element = Chamber(volume=volume, wall_area=wall, loss_q=table.loss_q, fill=_fill(table))
    branch = Branch(owner=name, role="chamber", element=element, nodes=(name,))
    return [branch], {joint.key: name for joint in joints}


def acts_as_duct(table: ChamberTable, joints: list[Joint]) -> bool:
    """Whether a chamber can be a duct along its longest side: its size and every joint's place are known."""
    return table.size is not None and bool(joints) and all(joint.position is not None for joint in joints)


def duct_chamber(name: str, table: ChamberTable, joints: list[Joint]) -> tuple[list[Branch], dict[str, str]]:
    """Return the chamber as a closed duct along its longest side, with the node of every joint on it."""
    assert table.size is not None
    axis = int(np.argmax(table.size))
    length = table.size[axis]
    width, height = (side for i, side in enumerate(table.size) if i != axis)
    section = Section(height=height, width=width)
    place = {joint.key: joint.position[axis] for joint in joints if joint.position is not None}
    stations = sorted({0.0, length, *place.values()})
    node = {x: f"{name} at {x * 1000:.4g} mm" for x in stations}
    branches = [
        Branch(owner=name, role="chamber", element=element, nodes=(node[a], node[b]))
        for a, b in pairwise(stations)
        for element in (_stretch(section, b - a, table),)
    ]
    return branches, {key: node[x] for key, x in place.items()}


def _stretch(section: Section, length: float, table: ChamberTable) -> Element:
    return Duct(section=section, length=length, fill=_fill(table), loss_q=table.loss_q)


def _fill(table: ChamberTable) -> Fill | None:
    return None if table.fill is None else Fill(**table.fill.model_dump())
