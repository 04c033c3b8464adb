"""Where an opening of a cuboid chamber finds no pressure: the nodal planes of its standing waves."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from airpath.acoustics.patch import Patch
from airpath.case.parameters import Parameter, parameters
from airpath.case.schema import Case
from airpath.network.joints import Joint, is_placed, joints_of, patch_of


@dataclass(frozen=True, kw_only=True)
class Place:
    """A coordinate of one opening and its ``value`` [m] on a nodal plane."""

    parameter: Parameter
    joint: str
    value: float


def places(case: Case, chamber: str, order: list[int]) -> list[Place]:
    """Return where openings of a chamber would lie on a node of its standing wave ``order`` (nx, ny, nz).

    An opening stays in its wall, inside it, and off the other openings. The cone comes first, then the nearest.
    Empty where the chamber is no cuboid with known places.
    """
    table, joints = case.chambers[chamber], joints_of(case, chamber)
    if table.size is None or not is_placed(table, joints):
        return []
    known = parameters(case)
    patches = {joint.key: patch_of(table.size, joint) for joint in joints}
    found = []
    for joint in joints:
        others = [patch for key, patch in patches.items() if key != joint.key]
        for axis, value in _on_nodes(patches[joint.key], table.size, order):
            parameter = known.get(f"{_path(case, joint)}[{axis}]")
            there = patch_of(table.size, _moved(joint, axis, value))
            if parameter is not None and _fits(there, table.size, others):
                found.append(Place(parameter=parameter, joint=joint.key, value=value))
    return sorted(found, key=lambda p: (not p.joint.startswith("driver."), abs(p.value - p.parameter.value)))


def _on_nodes(patch: Patch, size: tuple[float, float, float], order: list[int]) -> Iterator[tuple[int, float]]:
    for axis in patch.plane:
        for k in range(order[axis]):
            yield axis, size[axis] * (2 * k + 1) / (2 * order[axis])


def _path(case: Case, joint: Joint) -> str:
    name, _, end = joint.key.rpartition(".")
    if name == "driver":
        return f"driver.{end}_at"
    return f"{'ports' if name in case.ports else 'horns'}.{name}.{end}_at"


def _moved(joint: Joint, axis: int, value: float) -> Joint:
    at = list(joint.position or (0.0, 0.0, 0.0))
    at[axis] = value
    return Joint(key=joint.key, position=(at[0], at[1], at[2]), section=joint.section, count=joint.count)


def _fits(patch: Patch, size: tuple[float, float, float], others: list[Patch]) -> bool:
    try:
        patch.check_inside(size)
    except ValueError:
        return False
    return not any(_overlap(patch, other) for other in others)


def _overlap(a: Patch, b: Patch) -> bool:
    """Whether two openings in one plane overlap, discs taken as discs and slots as their rectangles."""
    if a.normal != b.normal or abs(a.centre[a.normal] - b.centre[b.normal]) > 1e-6:
        return False
    apart = [abs(a.centre[i] - b.centre[i]) for i in a.plane]
    if a.radius is not None and b.radius is not None:
        return math.hypot(*apart) < a.radius + b.radius
    return all(d < x + y for d, x, y in zip(apart, a.halves, b.halves, strict=True))
