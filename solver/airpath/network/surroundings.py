"""What is around the box: open air, or a room with its door as one pressure or with its standing waves."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from airpath.acoustics.ends import flanged_length, piston_length, wall_factor
from airpath.acoustics.patch import Patch
from airpath.acoustics.viscothermal import Section
from airpath.air import Air
from airpath.case.schema import Case, Room
from airpath.case.surroundings import first_mode_length, missing_places
from airpath.elements.base import Element
from airpath.elements.chamber import Chamber, cube_wall_area
from airpath.elements.cuboid import Cuboid
from airpath.elements.duct import Duct
from airpath.elements.mouth import Mouth
from airpath.elements.mouths import Mouths
from airpath.elements.passage import Passage
from airpath.elements.plug import Plug
from airpath.network import joints, passages
from airpath.network.graph import OPEN_AIR, OUTSIDE, Branch, Opening, Role

LISTENER = "room.listener"
DOOR = "room.door"
CORNER = "room.leak"
_EAR = 0.005  # of the shortest side: radius of the disc that the pressure in a room with standing waves is heard on
_AT_REST = 1e-3  # ka at which a mouth's mass is that at rest


@dataclass(frozen=True, kw_only=True)
class Outlet:
    """Where air leaves the box: opening ``name`` of part ``owner``, arriving at ``node``; ``at`` its place [m]."""

    name: str
    owner: str
    node: str
    mouth: Mouth
    at: joints.Position | None = None


@dataclass
class Around:
    """Branches outside the box, where each outlet goes (branch, terminal, node heard), and what was assumed.

    ``node``: where holes without a place open.
    """

    node: str = OUTSIDE
    branches: list[Branch] = field(default_factory=list)
    exits: dict[str, tuple[int, int, str]] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    def add(self, owner: str, role: Role, element: Element, *nodes: str, owners: tuple[str, ...] = ()) -> int:
        """Add a branch and return its number here."""
        branch = Branch(owner=owner, role=role, element=element, nodes=nodes, owners=owners)
        self.branches.append(branch)
        return len(self.branches) - 1

    def opening(self, opening: Opening, outlet: Outlet, offset: int) -> Opening:
        """Return an outlet's opening as it is out here; ``offset``: the network's number of the first branch here."""
        branch, terminal, node = self.exits[outlet.name]
        return replace(
            opening, outflow=offset + branch, radiates=True, terminal=terminal, node=node, at=outlet.at,
            radius=outlet.mouth.section.radius if outlet.mouth.flanged else 0.0,
        )  # fmt: skip


def is_placed(case: Case) -> bool:
    """Whether the standing waves of the room can be solved: its size and all places in it are known."""
    return case.room is not None and case.room.size is not None and not missing_places(case)


def surroundings(case: Case, outlets: list[Outlet], modal: bool, air: Air) -> Around:
    """Return what is around the box; ``modal``: with the standing waves of the room."""
    around = Around()
    if case.room is None:
        _open_air(case, outlets, around)
    elif modal and is_placed(case) and outlets:
        _modal_room(case, case.room, outlets, around)
    else:
        _single(outlets, around)
        _lumped_room(case, case.room, around, air)
    return around


def door_section(room: Room, area: float) -> Section:
    """Return the shape of a door or window that stands open by an area [m^2]."""
    height = room.opening_height
    return Section.round(area) if height is None else Section(height=height, width=area / height)


def door_inner_length(room: Room, section: Section) -> float:
    """Return the end correction [m] of a door on the side of a room that acts as one pressure.

    In a room with a size its wall is the one that it is in, or the largest.
    """
    length = flanged_length(section)
    if room.size is None:
        return length
    x, y, z = room.size
    wall = joints.wall_of(room.size, room.opening_at) or max(x * y, y * z, z * x)
    return length * wall_factor(min(1.0, section.area / wall))


def _single(outlets: list[Outlet], around: Around) -> None:
    for outlet in outlets:
        index = around.add(outlet.owner, "mouth", outlet.mouth, outlet.node, OUTSIDE)
        around.exits[outlet.name] = (index, 0, OUTSIDE)


def _open_air(case: Case, outlets: list[Outlet], around: Around) -> None:
    """Let openings with known places act on each other, others each radiate on its own."""
    placed = [outlet for outlet in outlets if outlet.at is not None]
    if len(placed) < 2:
        placed = []
    _single([outlet for outlet in outlets if outlet not in placed], around)
    if placed:
        element = Mouths(
            mouths=tuple(o.mouth for o in placed), places=tuple(o.at for o in placed if o.at is not None),
            full_space=case.listener.space == "full",
        )  # fmt: skip
        owners = tuple(outlet.owner for outlet in placed)
        index = around.add("outside", "mouth", element, *(outlet.node for outlet in placed), owners=owners)
        around.exits |= {outlet.name: (index, i, OUTSIDE) for i, outlet in enumerate(placed)}
        ahead = "" if case.listener.at is not None else ", the listener straight ahead"
        around.notes.append(
            f"mutual radiation between {_listed(placed)}, whose places are known; each is taken to face along z{ahead}"
        )
    alone = [outlet for outlet in outlets if outlet not in placed]
    if len(outlets) > 1 and alone:
        around.notes.append(f"no mutual radiation with {_listed(alone)}: no place given for what opens outside")


def _listed(outlets: list[Outlet]) -> str:
    names = ["the cone" if o.name == "cone" else "the cone's rear" if o.name == "cone.rear" else f'"{o.name}"'
             for o in outlets]  # fmt: skip
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _lumped_room(case: Case, room: Room, around: Around, air: Air) -> None:
    volume = room.known_volume
    wall_area = cube_wall_area(volume)
    if room.size is not None:
        x, y, z = room.size
        wall_area = 2 * (x * y + y * z + z * x)
    around.add("room", "room", Chamber(volume=volume, wall_area=wall_area, loss_q=room.loss_q), OUTSIDE)
    area = room.opening[0] if room.opening else 0.0
    if area > 0:
        section = door_section(room, area)
        inside = passages.end_plug(section, door_inner_length(room, section))
        around.add("room", "room", Passage(stages=(*inside, Mouth(section=section))), OUTSIDE, OPEN_AIR)
    _room_leak(room, around, OUTSIDE)
    half_wave, what = first_mode_length(room)
    lacks = missing_places(case) if room.size is not None else []
    why = f" (no place for {', '.join(lacks)})" if lacks else ""
    first = air.sound_speed / (2 * half_wave)
    models = "in the lumped and line models the room" if is_placed(case) else "the room"
    if case.sweep.stop > first or lacks:
        around.notes.append(
            f"{models} acts as one pressure{why}: true well below its first standing wave, about {first:.4g} Hz (half "
            f"a wave along {what})"
        )
    _room_notes(case, room, area, around)


def _room_notes(case: Case, room: Room, area: float, around: Around) -> None:
    if area > 0:
        shape = "round" if room.opening_height is None else f"a slot {room.opening_height:g} m high"
        around.notes.append(f"the room's opening of {area:.3g} m² counts as {shape}, in a thin wall, to open air")
    tight = "its leak alone lets air out" if room.leak is not None else "it is airtight: no leak given"
    around.notes.append(
        f"the room: rigid walls, absorption Q {room.loss_q:g} of its air for all that takes sound; shut, {tight}"
    )
    if "space" in case.listener.model_fields_set:
        around.notes.append(f'listener.space = "{case.listener.space}" is not used: the room is all that is around')


def _room_leak(room: Room, around: Around, node: str) -> None:
    if room.leak is None:
        return
    section = Section(height=room.leak.diameter)
    stages = [*passages.end_plug(section, flanged_length(section)), Duct(section=section, length=room.leak.length)]
    around.add("room", "room", Passage(stages=(*stages, Mouth(section=section))), node, OPEN_AIR)


def _modal_room(case: Case, room: Room, outlets: list[Outlet], around: Around) -> None:
    """Let every opening breathe into the room where it is; the last terminal is the listener's ear."""
    assert room.size is not None
    assert case.listener.at is not None
    patches, nodes = [], []
    for outlet in outlets:
        assert outlet.at is not None
        joint = joints.Joint(key=outlet.name, position=outlet.at, section=outlet.mouth.section)
        patch = _fitting(room.size, joint, _listed([outlet]))
        left = _mass_left(outlet.mouth, patch, room.size)
        node = outlet.node
        if left > 0:
            node = f"room.at {outlet.name}"
            plug = Plug(section=outlet.mouth.section, length=left, friction=False)
            around.exits[outlet.name] = (around.add(outlet.owner, "mouth", plug, outlet.node, node), 0, node)
        patches.append(patch)
        nodes.append(node)
    around.node = nodes[0]
    area = room.opening[0] if room.opening else 0.0
    if area > 0:
        assert room.opening_at is not None
        section = door_section(room, area)
        joint = joints.Joint(key="door", position=room.opening_at, section=section)
        patches.append(_fitting(room.size, joint, f"the opening of {area:.3g} m^2"))
        nodes.append(DOOR)
        around.add("room", "room", Mouth(section=section), DOOR, OPEN_AIR)
    if room.leak is not None:
        radius = room.leak.diameter / 2
        patches.append(Patch(centre=(0.0, radius, radius), normal=0, radius=radius))
        nodes.append(CORNER)
        around.notes.append("the room's leak, which has no place, is taken to be in its corner x = y = z = 0")
    patches.append(Patch(centre=case.listener.at, normal=2, radius=_EAR * min(room.size)))
    element = Cuboid(size=room.size, patches=tuple(patches), loss_q=room.loss_q)
    index = around.add("room", "room", element, *nodes, LISTENER)
    for i, outlet in enumerate(outlets):
        around.exits.setdefault(outlet.name, (index, i, nodes[i]))
    _room_leak(room, around, CORNER)
    around.notes.append("in the field model the box takes no air away from the room and casts no shadow in it")
    _room_notes(case, room, area, around)


def _fitting(size: joints.Position, joint: joints.Joint, what: str) -> Patch:
    """Return an opening as a piston in the room. Raises ValueError where it reaches through a wall."""
    patch = joints.patch_of(size, joint)
    try:
        patch.check_inside(size)
    except ValueError:
        at = " x ".join(f"{place:.3g}" for place in joint.position or ())
        room = " x ".join(f"{side:.3g}" for side in size)
        raise ValueError(f"{what} at {at} m reaches through a wall of the room of {room} m") from None
    return patch


def _mass_left(mouth: Mouth, patch: Patch, size: joints.Position) -> float:
    """Return the length [m] of the air before a mouth that the room's own near field lacks.

    In a wall of the room it lacks nothing. Away from the walls a patch breathes to both sides and brings half of a
    baffled piston's air; the box that the mouth is in keeps the air to one side.
    """
    axis = patch.normal
    if patch.centre[axis] in (0.0, size[axis]):
        return 0.0
    k = np.array([_AT_REST / mouth.section.radius])
    whole = float(mouth.specific_impedance(k).imag[0] / k[0])
    return max(0.0, whole - piston_length(patch.section) / 2)
