"""Where things join a chamber: one pressure for all, or stations along a duct."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from airpath.acoustics.ends import wall_factor
from airpath.acoustics.patch import Patch
from airpath.acoustics.porous import Fill
from airpath.acoustics.viscothermal import Section
from airpath.acoustics.wall import wall_share
from airpath.case.geometry import sizes, written
from airpath.case.media import fill_of
from airpath.case.problem import Problem
from airpath.case.schema import Case
from airpath.case.schema import Chamber as ChamberTable
from airpath.elements.base import Element
from airpath.elements.chamber import Chamber, cube_wall_area
from airpath.elements.cuboid import Cuboid
from airpath.elements.duct import Duct
from airpath.network import passages
from airpath.network.graph import Branch
from airpath.network.horns import horn_way

Position = tuple[float, float, float]
_ON_WALL = 0.005  # an opening this share of the chamber's side away from a wall counts as being in it
_SAME_STATION = 1e-3  # of the length: a shorter stretch of duct costs digits and changes nothing


@dataclass(frozen=True, kw_only=True)
class Joint:
    """One thing that opens into a chamber.

    ``key`` names it, ``position`` [m] is where, if the case says so; ``section`` is the shape of one of its ``count``
    equal openings.
    """

    key: str
    position: Position | None
    section: Section
    count: int = 1


class OpeningError(ValueError):
    """An opening reaches through a wall of its chamber."""

    def __init__(self, joint: Joint) -> None:
        super().__init__(f"{joint.key} reaches through a wall")
        self.joint = joint

    def problem(self, case: Case, chamber: str) -> Problem:
        """Return it in the words of the case file."""
        table, _, end = self.joint.key.rpartition(".")
        if table != "driver":
            table = f"{'ports' if table in case.ports else 'horns'}.{table}"
        section, size = self.joint.section, case.chambers[chamber].size
        shape = f"{section.height * 1e3:.4g} mm wide"
        if section.width is not None:
            shape = f"{section.width * 1e3:.4g} x {section.height * 1e3:.4g} mm"
        many = f" ({self.joint.count} count as one of their area)" if self.joint.count > 1 else ""
        expected = f'expected a place where an opening {shape}{many} stays inside the walls of "{chamber}"'
        return Problem(
            table=table, key=f"{end}_at", found=written(self.joint.position or ()),
            expected=f"{expected}, which measures {sizes(size or (0, 0, 0))}",
        )  # fmt: skip


def joints_of(case: Case, chamber: str) -> list[Joint]:
    """Return everything that opens into a chamber, in the order of the case."""
    driver = case.driver
    found = [
        Joint(key=f"driver.{side}", position=at, section=Section.round(driver.Sd), count=driver.count)
        for side, space, at in (
            ("front", driver.front, driver.front_at), ("rear", driver.rear, driver.rear_at)
        )
        if space == chamber
    ]  # fmt: skip
    for name, port in case.ports.items():
        if port.from_ == chamber:
            section = passages.end_section(port, "from")
            found.append(Joint(key=f"{name}.from", position=port.from_at, section=section, count=port.count))
        if port.to == chamber:
            section = passages.end_section(port, "to")
            found.append(Joint(key=f"{name}.to", position=port.to_at, section=section, count=port.count))
    for name, horn in case.horns.items():
        if horn.from_ == chamber:
            found.append(Joint(key=f"{name}.from", position=horn.from_at, section=horn_way(case, name).throat))
        if horn.to == chamber:
            found.append(Joint(key=f"{name}.to", position=None, section=horn_way(case, name).mouth))
    return found


def chamber_volume(table: ChamberTable) -> float:
    """Return the volume [m^3] of a chamber given by volume or size; of a drawn one see :mod:`drawn`."""
    volume = table.known_volume
    assert volume is not None
    return volume


def share_at(table: ChamberTable, position: Position | None, section: Section, count: int = 1) -> float | None:
    """Return how much of the end correction in an endless wall an opening has where it is; None if it isn't known.

    Several equal openings count as one of their total area.
    """
    wall = wall_of(table.size, position)
    if table.size is None or wall is None:
        return None
    patch = patch_of(table.size, Joint(key="", position=position, section=section, count=count))
    on_wall = patch.centre[patch.normal] in (0.0, table.size[patch.normal])
    if on_wall and _fits(patch, table.size):
        return wall_share(table.size, patch)
    return wall_factor(min(1.0, count * section.area / wall))


def wall_of(size: Position | None, position: Position | None) -> float | None:
    """Return the area [m^2] of the wall of a cuboid that a position lies in; None if it isn't known."""
    if size is None or position is None:
        return None
    for axis, (x, side) in enumerate(zip(position, size, strict=True)):
        if min(x, side - x) <= _ON_WALL * side:
            return float(np.prod(size) / size[axis])
    return None


def lumped_chamber(name: str, table: ChamberTable, joints: list[Joint]) -> tuple[list[Branch], dict[str, str]]:
    """Return the chamber as one compliance, with the node of every joint."""
    volume = chamber_volume(table)
    if table.size is None:
        return one_pressure(name, table, joints, volume, cube_wall_area(volume), fill_of(table))
    x, y, z = table.size
    return one_pressure(name, table, joints, volume, 2 * (x * y + y * z + z * x), fill_of(table))


def one_pressure(
    name: str, table: ChamberTable, joints: list[Joint], volume: float, wall_area: float, fill: Fill | None
) -> tuple[list[Branch], dict[str, str]]:
    """Return a chamber of known volume [m^3] and wall area [m^2] as one compliance, with the node of every joint."""
    element = Chamber(volume=volume, wall_area=wall_area, loss_q=table.loss_q, fill=fill)
    branch = Branch(owner=name, role="chamber", element=element, nodes=(name,))
    return [branch], {joint.key: name for joint in joints}


def is_placed(table: ChamberTable, joints: list[Joint]) -> bool:
    """Whether waves in a chamber can be followed: its size and the place of every joint are known."""
    return table.size is not None and bool(joints) and all(joint.position is not None for joint in joints)


def duct_chamber(name: str, table: ChamberTable, joints: list[Joint]) -> tuple[list[Branch], dict[str, str]]:
    """Return the chamber as a closed duct along its longest side, with the node of every joint on it."""
    assert table.size is not None
    axis = int(np.argmax(table.size))
    length = table.size[axis]
    width, height = (side for i, side in enumerate(table.size) if i != axis)
    section = Section(height=height, width=width)
    place = {joint.key: joint.position[axis] for joint in joints if joint.position is not None}
    stations, at = merge_near(place, length)
    node = {x: f"{name}.at {x * 1000:.6g} mm" for x in stations}
    branches = [
        Branch(owner=name, role="chamber", element=element, nodes=(node[a], node[b]))
        for a, b in pairwise(stations)
        for element in (_stretch(section, b - a, table),)
    ]
    return branches, {key: node[x] for key, x in at.items()}


def merge_near(place: dict[str, float], length: float) -> tuple[list[float], dict[str, float]]:
    """Return the stations along a duct [m] and each joint's; joints closer than 0.1 % of the length share one."""
    near = _SAME_STATION * length
    stations, at = [0.0], {}
    for key, x in sorted(place.items(), key=lambda item: item[1]):
        if x - stations[-1] > near:
            stations.append(length if length - x < near else x)
        at[key] = stations[-1]
    return (stations if stations[-1] == length else [*stations, length]), at


def modal_chamber(name: str, table: ChamberTable, joints: list[Joint]) -> tuple[list[Branch], dict[str, str]]:
    """Return the chamber as an exact modal cuboid, with a node for every joint.

    Raises OpeningError if an opening doesn't fit where it is.
    """
    assert table.size is not None
    patches = tuple(patch_of(table.size, joint) for joint in joints)
    for joint, patch in zip(joints, patches, strict=True):
        if not _fits(patch, table.size):
            raise OpeningError(joint)
    element = Cuboid(size=table.size, patches=patches, loss_q=table.loss_q, fluid=fill_of(table))
    nodes = {joint.key: f"{name}.at {joint.key}" for joint in joints}
    return [Branch(owner=name, role="chamber", element=element, nodes=tuple(nodes.values()))], nodes


def patch_of(size: Position, joint: Joint) -> Patch:
    """Return the opening as a flat piston parallel to the nearest wall, in it if it is close.

    Several equal openings are one of their total area. A slot lies along the longer side of its wall,
    or along the shorter if it only fits that way.
    """
    assert joint.position is not None
    centre, section = list(joint.position), joint.section.scaled(float(np.sqrt(joint.count)))
    axis = min(range(3), key=lambda i: min(centre[i], size[i] - centre[i]) / size[i])
    side = size[axis]
    if min(centre[axis], side - centre[axis]) <= _ON_WALL * side:
        centre[axis] = 0.0 if centre[axis] < side / 2 else side
    place = (centre[0], centre[1], centre[2])
    if section.width is None:
        return Patch(centre=place, normal=axis, radius=section.height / 2)
    first, second = (size[i] for i in range(3) if i != axis)
    long, short = max(section.width, section.height), min(section.width, section.height)
    turned = [(long, short), (short, long)] if first >= second else [(short, long), (long, short)]
    patches = [Patch(centre=place, normal=axis, sides=sides) for sides in turned]
    return next((patch for patch in patches if _fits(patch, size)), patches[0])


def _fits(patch: Patch, size: Position) -> bool:
    try:
        patch.check_inside(size)
    except ValueError:
        return False
    return True


def _stretch(section: Section, length: float, table: ChamberTable) -> Element:
    return Duct(section=section, length=length, fill=fill_of(table), loss_q=table.loss_q)
