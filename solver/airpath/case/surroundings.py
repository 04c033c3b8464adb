"""Checks of what is around the box: places in the open air, the room, its door, the listener."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations

from airpath.case.geometry import inside, sizes, written
from airpath.case.problem import Problem
from airpath.case.schema import Case, Room
from airpath.case.topology import OUTSIDE

_ON_WALL = 0.005  # of a side: so near to a wall is in it


def surroundings_problems(case: Case) -> list[Problem]:
    """Return openings outside that overlap, a room too small for what is in it, a listener in an opening."""
    ends, room = [*_drivers_place(case), *_outer_ends(case), *_overlaps(case)], case.room
    if room is None:
        return [*ends, *_listener_outside(case)]
    return [*ends, *_box_fits(case, room), *_door(room), *_leak(room), *_listener(case, room)]


def outer_places(case: Case) -> dict[str, tuple[str, str, tuple[float, float, float] | None, float]]:
    """Return everything that opens outside, by name: its table and key, the place it is given, its area [m^2]."""
    driver = case.driver
    found: dict[str, tuple[str, str, tuple[float, float, float] | None, float]] = {}
    for side, space, at in (("front", driver.front, driver.front_at), ("rear", driver.rear, driver.rear_at)):
        if space == OUTSIDE:
            name = "cone.rear" if "cone" in found else "cone"
            found[name] = ("driver", f"{side}_at", at, driver.Sd)
    for name, port in case.ports.items():
        if port.to == OUTSIDE and not port.covered:
            found[name] = (f"ports.{name}", "at", port.at, port.area)
    for name, horn in case.horns.items():
        if horn.to == OUTSIDE:
            area = horn.stations[-1][1] if horn.stations is not None else horn.mouth or 0.0
            found[name] = (f"horns.{name}", "at", horn.at, area)
    return found


def missing_places(case: Case) -> list[str]:
    """Return the keys that a room with a size still lacks before its standing waves can be solved."""
    room = case.room
    keys = [f"{table}.{key}" for table, key, at, _ in outer_places(case).values() if at is None]
    keys += ["listener.at"] if case.listener.at is None else []
    if room is not None and any(room.opening) and room.opening_at is None:
        keys.append("room.opening_at")
    return keys


def first_mode_length(room: Room) -> tuple[float, str]:
    """Return the length [m] of half a wave in the room's first standing wave, and what it is, in words."""
    if room.size is not None:
        return max(room.size), "its longest side"
    return room.known_volume ** (1 / 3), "the side of a cube of its volume"


def _drivers_place(case: Case) -> Iterator[Problem]:
    driver = case.driver
    for key, space, at in (("front_at", driver.front, driver.front_at), ("rear_at", driver.rear, driver.rear_at)):
        if space == OUTSIDE and at is not None and driver.count > 1:
            expected = f"a place outside is for one driver; these are {driver.count}, whose spacing is not known"
            yield Problem(table="driver", key=key, found=written(at), expected=expected)


def _outer_ends(case: Case) -> Iterator[Problem]:
    for kind, tables in (("ports", case.ports), ("horns", case.horns)):
        for name, opening in tables.items():
            if opening.at is not None and opening.to != OUTSIDE:
                expected = 'goes only with to = "outside"'
                yield Problem(table=f"{kind}.{name}", key="at", found=written(opening.at), expected=expected)
    for name, port in case.ports.items():
        if port.at is not None and port.count > 1:
            expected = "a place is for one opening (count = 1); give each port a table of its own"
            yield Problem(table=f"ports.{name}", key="at", found=written(port.at), expected=expected)
        if port.to == OUTSIDE and port.to_at is not None:
            expected = "goes with a chamber; the place of an outer end is at = [x, y, z]"
            yield Problem(table=f"ports.{name}", key="to_at", found=written(port.to_at), expected=expected)


def _overlaps(case: Case) -> Iterator[Problem]:
    placed = [(name, *entry) for name, entry in outer_places(case).items() if entry[2] is not None]
    for (one, _, _, a, first), (_, table, key, b, second) in combinations(placed, 2):
        assert a is not None
        assert b is not None
        apart, least = math.dist(a, b), math.sqrt(max(first, second) / math.pi)
        if apart < least:
            other = "the cone" if one == "cone" else f'"{one}"'
            expected = (
                f"expected a place clear of {other}, {least * 1e3:.3g} mm or more away (it is {apart * 1e3:.3g} mm)"
            )
            yield Problem(table=table, key=key, found=written(b), expected=expected)


def _listener_outside(case: Case) -> Iterator[Problem]:
    at = case.listener.at
    if at is None:
        return
    places = outer_places(case)
    if places and all(place is None for _, _, place, _ in places.values()):
        keys = ", ".join(f"{table}.{key}" for table, key, _, _ in places.values())
        expected = f"goes with the place of what opens outside ({keys}); expected distance instead"
        yield Problem(table="listener", key="at", found=written(at), expected=expected)
    yield from _in_an_opening(case, at)


def _in_an_opening(case: Case, at: tuple[float, float, float]) -> Iterator[Problem]:
    for name, (_, _, place, area) in outer_places(case).items():
        if place is not None and math.dist(at, place) < math.sqrt(area / math.pi):
            what = "the cone" if name.startswith("cone") else f'"{name}"'
            expected = f"expected a listener farther from {what} than half its width"
            yield Problem(table="listener", key="at", found=written(at), expected=expected)


def _key(room: Room) -> tuple[str, object]:
    if room.size is not None:
        return "size", written(room.size)
    return "volume", f"{room.known_volume:g} m^3"


def _box_fits(case: Case, room: Room) -> Iterator[Problem]:
    key, found = _key(room)
    held = sum(chamber.known_volume or 0.0 for chamber in case.chambers.values())
    if held >= room.known_volume:
        expected = f"expected a room larger than the box in it, whose chambers hold {held * 1e3:.4g} L"
        yield Problem(table="room", key=key, found=found, expected=expected)
        return
    for name, chamber in case.chambers.items():
        if chamber.size is None or room.size is None:
            continue
        if any(a > b for a, b in zip(sorted(chamber.size), sorted(room.size), strict=True)):
            expected = f'expected a room that chamber "{name}" fits in, which measures {sizes(chamber.size)}'
            yield Problem(table="room", key=key, found=found, expected=expected)


def _door(room: Room) -> Iterator[Problem]:
    if room.opening_at is not None and room.size is None:
        yield Problem(table="room", key="opening_at", found=written(room.opening_at), expected="goes with a size")
        return
    walls, where = _walls(room)
    if room.opening_at is not None and not walls:
        assert room.size is not None
        expected = f"expected a place in a wall of the room, which measures {sizes(room.size)}"
        yield Problem(table="room", key="opening_at", found=written(room.opening_at), expected=expected)
        return
    for area in room.opening:
        height = room.opening_height
        fits = any(
            area <= a * b and (height is None or height <= max(a, b)) for a, b in walls
        )
        if not fits:
            expected = f"expected an opening that fits {where}"
            height_text = "" if height is None else f", {height:g} m high"
            yield Problem(table="room", key="opening", found=f"{area:g} m^2{height_text}", expected=expected)


def _leak(room: Room) -> Iterator[Problem]:
    side = room.known_volume ** (1 / 3) if room.size is None else min(room.size)
    if room.leak is not None and room.leak.diameter > side:
        expected = f"expected a hole that fits a wall of the room, {side:.3g} m wide"
        yield Problem(table="room.leak", key="diameter", found=f"{room.leak.diameter:g} m", expected=expected)


def _walls(room: Room) -> tuple[list[tuple[float, float]], str]:
    """Return the sides [m] of the walls that the door can be in, and words for them."""
    if room.size is None:
        side = room.known_volume ** (1 / 3)
        largest = 2 * side**2  # no wall of a room of usual shape is larger
        return [(largest / side, side)], f"a wall: a room of {room.known_volume:g} m^3 has none of that size"
    axes = [axis for axis in range(3) if room.opening_at is None or _touches(room, axis)]
    walls = [(room.size[(axis + 1) % 3], room.size[(axis + 2) % 3]) for axis in axes]
    if room.opening_at is not None and not inside(room.opening_at, room.size):
        walls = []
    text = " or ".join(f"{a:g} m x {b:g} m" for a, b in walls)
    return walls, f"a wall of the room, {text}"


def _touches(room: Room, axis: int) -> bool:
    assert room.size is not None
    assert room.opening_at is not None
    place, side = room.opening_at[axis], room.size[axis]
    return min(place, side - place) <= _ON_WALL * side


def _listener(case: Case, room: Room) -> Iterator[Problem]:
    at, distance = case.listener.at, case.listener.distance
    if at is None:
        if room.size is not None and "distance" in case.listener.model_fields_set and distance > math.hypot(*room.size):
            expected = f"expected a listener in the room, which measures {sizes(room.size)}"
            yield Problem(table="listener", key="distance", found=f"{distance:g} m", expected=expected)
        return
    if room.size is None:
        yield Problem(
            table="listener", key="at", found=written(at), expected="goes with a size of the room, which has none"
        )
    elif not inside(at, room.size):
        expected = f"expected a place inside the room, which measures {sizes(room.size)}"
        yield Problem(table="listener", key="at", found=written(at), expected=expected)
    else:
        yield from _in_an_opening(case, at)
