"""Checks of sizes against each other: positions inside their chamber, openings no larger than its walls."""

from __future__ import annotations

import math
from collections.abc import Iterator

from airpath.case.openings import Port
from airpath.case.problem import Problem
from airpath.case.schema import Case
from airpath.case.topology import OUTSIDE

_Triple = tuple[float, float, float]


def geometry_problems(case: Case) -> list[Problem]:
    """Return positions outside their space, openings wider than its walls, flares longer than their port."""
    return [*_positions(case), *_drivers_fit(case), *_ports_fit(case), *_throats_fit(case), *_flares(case)]


def _size(case: Case, space: str | None) -> _Triple | None:
    """Interior of a space; None if it has no size."""
    if space == OUTSIDE:
        return case.room.size if case.room is not None else None
    chamber = case.chambers.get(space) if space is not None else None
    return chamber.size if chamber is not None else None


def _positions(case: Case) -> Iterator[Problem]:
    driver = case.driver
    places: list[tuple[str, str, str | None, _Triple | None]] = [
        ("driver", "front_at", driver.front, driver.front_at),
        ("driver", "rear_at", driver.rear, driver.rear_at),
    ]
    for name, port in case.ports.items():
        places.append((f"ports.{name}", "from_at", port.from_, port.from_at))
        inner = port.to != OUTSIDE
        places.append((f"ports.{name}", "to_at" if inner else "at", port.to, port.to_at if inner else port.at))
    for name, horn in case.horns.items():
        places.append((f"horns.{name}", "from_at", horn.from_, horn.from_at))
        if horn.to == OUTSIDE:
            places.append((f"horns.{name}", "at", horn.to, horn.at))
    for table, key, space, position in places:
        if position is None or (space == OUTSIDE and case.room is None):
            continue
        size = _size(case, space)
        if size is None:
            where = f'"{space}" has none' if space is not None else "it starts in no chamber"
            where = "the room has none" if space == OUTSIDE else where
            yield Problem(
                table=table,
                key=key,
                found=written(position),
                expected=f"goes only with a space with a size; {where}",
            )
        elif not inside(position, size):
            where = "the room" if space == OUTSIDE else f'"{space}"'
            expected = f"expected a place inside {where}, which measures {sizes(size)}"
            yield Problem(table=table, key=key, found=written(position), expected=expected)


def inside(position: tuple[float, ...], size: _Triple) -> bool:
    """Whether a place lies in a cuboid, walls included."""
    return all(-1e-9 <= place <= length * (1.0 + 1e-9) for place, length in zip(position, size, strict=True))


def written(position: tuple[float, ...]) -> list[str]:
    """Return lengths [m] as a case file would have them."""
    return [f"{length * 1e3:.6g} mm" for length in position]


def sizes(size: _Triple) -> str:
    """Return a cuboid in words."""
    return " x ".join(f"{length * 1e3:.6g}" for length in size) + " mm"


def _faces(size: _Triple, position: _Triple | None) -> list[tuple[float, float]]:
    """Return the walls (shorter, longer side) that an opening can be in: the one it touches, else all."""
    walls = {axis: sorted(size[:axis] + size[axis + 1 :]) for axis in range(3)}
    if position is not None:
        touched = [axis for axis in range(3) if min(position[axis], size[axis] - position[axis]) < 1e-6 * size[axis]]
        walls = {axis: walls[axis] for axis in touched} or walls
    return [(short, long) for short, long in walls.values()]


def _drivers_fit(case: Case) -> Iterator[Problem]:
    driver = case.driver
    for space, position in ((driver.front, driver.front_at), (driver.rear, driver.rear_at)):
        size = _size(case, space)
        area = driver.Sd * driver.count
        if size is not None and area > max(a * b for a, b in _faces(size, position)):
            expected = (
                f'expected a cone area (times count) that fits a wall of "{space}", which measures {sizes(size)}'
            )
            yield Problem(table="driver", key="Sd", found=f"{driver.Sd * 1e4:g} cm^2", expected=expected)


def _ports_fit(case: Case) -> Iterator[Problem]:
    for name, port in case.ports.items():
        for space, position in ((port.from_, port.from_at), (port.to, port.to_at)):
            size = _size(case, space)
            if size is None:
                continue
            key, found, short, long = _opening(port)
            fits = any(
                short <= low and long <= high and port.count * port.area <= low * high
                for low, high in _faces(size, position)
            )
            if not fits:
                expected = (
                    f'expected an opening (times count) that fits a wall of "{space}", which measures {sizes(size)}'
                )
                yield Problem(table=f"ports.{name}", key=key, found=found, expected=expected)


def _opening(port: Port) -> tuple[str, object, float, float]:
    """Return key and value that set a port's opening, and its shorter and longer side [m]."""
    if port.width is not None and port.height is not None:
        key = "width" if port.width >= port.height else "height"
        short, long = sorted((port.width, port.height))
        return key, f"{long * 1e3:g} mm", short, long
    if port.diameter is not None:
        return "diameter", f"{port.diameter * 1e3:g} mm", port.diameter, port.diameter
    side = math.sqrt(port.area)
    return "stations", f"{port.area * 1e4:g} cm^2 at the narrowest", side, side


def _throats_fit(case: Case) -> Iterator[Problem]:
    for name, horn in case.horns.items():
        size = _size(case, horn.from_)
        throat = horn.stations[0][1] if horn.stations is not None else horn.throat
        if size is None or throat is None:
            continue
        if throat > max(a * b for a, b in _faces(size, horn.from_at)):
            key = "stations" if horn.stations is not None else "throat"
            expected = f'expected a throat no larger than the wall of "{horn.from_}", which measures {sizes(size)}'
            yield Problem(table=f"horns.{name}", key=key, found=f"{throat * 1e4:g} cm^2", expected=expected)


def _flares(case: Case) -> Iterator[Problem]:
    for name, port in case.ports.items():
        if port.flare_radius is None:
            continue
        flared = (port.from_end, port.to_end).count("flared")
        if flared * port.flare_radius > port.length:
            found = f"{port.flare_radius * 1e3:g} mm"
            expected = f"expected flares that fit the port's length of {port.length * 1e3:g} mm"
            yield Problem(table=f"ports.{name}", key="flare_radius", found=found, expected=expected)
