"""Changes of a box that a builder may not know of: a leak, a port forgotten, blocked or in another's place, chambers
the other way round, stuffing there or not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from airpath.case.parameters import parameters, with_places
from airpath.case.schema import Case, Chamber, Port
from airpath.case.spaces import Fill
from airpath.measured.fitting.freedom import Free
from airpath.network.graph import OUTSIDE

_LEAK, _HOLE = 3e-3, 25e-3  # m: where the search for a hole that the case lacks starts
_DEPTHS = {_LEAK: 10e-3, _HOLE: 60e-3}  # m: how deep it is at first
_FACTORS = {"diameter": 3.0, "length": 2.0}  # that it may be off by
_FAR = 0.3  # relative: how far an element may be off that isn't as drawn
_STUFFING = {"flow_resistivity": "5000 Pa*s/m^2", "fraction": 0.5}
_WHERE = ("from_", "to", "from_at", "to_at", "covered")  # what stays when two ports change places


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change: the ``case`` with it, the ``elements`` it concerns, what it is in words, and what it sets free.

    ``start``: where these begin, in prior widths, if not at 0; ``hole``: the name of a port that stands for a hole that
    the case lacks.
    """

    kind: str
    elements: tuple[str, ...]
    text: str
    case: Case
    extra: list[Free] = field(default_factory=list)
    start: list[float] = field(default_factory=list)
    hole: str = ""


def changes(case: Case) -> Iterator[Change]:
    """Yield every change of a case that is worth trying."""
    yield from _holes(case)
    yield from _ports(case)
    yield from _swaps(case)
    yield from _fillings(case)
    yield from _sizes(case)


def _holes(case: Case) -> Iterator[Change]:
    name = "hole"
    while name in case.ports or name in case.chambers or name in case.horns:
        name += " "
    spaces = [(chamber, OUTSIDE) for chamber in case.chambers] + list(combinations(case.chambers, 2))
    for start, end in spaces:
        for width in (_LEAK, _HOLE):
            table = {"from": start, "to": end, "length": f"{_DEPTHS[width]} m", "diameter": f"{width} m"}
            port = Port.model_validate(table).model_copy(
                update={"from_at": _somewhere(case, start), "to_at": _somewhere(case, end)}
            )
            changed = case.model_copy(update={"ports": {**case.ports, name: port}})
            known = parameters(changed)
            extra = [
                Free(parameter=known[f"ports.{name}.{key}"], width=known[f"ports.{name}.{key}"].value * np.log(factor))
                for key, factor in _FACTORS.items()
            ]
            inside = end != OUTSIDE
            text = f'a hole from "{start}" to "{end}"' if inside else f'a hole in "{start}"'
            yield Change(kind="hole", elements=(start, end) if inside else (start,), text=text, case=changed,
                         extra=extra, hole=name)  # fmt: skip


def _somewhere(case: Case, chamber: str) -> tuple[float, float, float] | None:
    """Return a place in a chamber where something joins already, so that its waves can still be followed."""
    driver = case.driver
    places = [at for space, at in ((driver.rear, driver.rear_at), (driver.front, driver.front_at)) if space == chamber]
    for port in case.ports.values():
        places += [at for space, at in ((port.from_, port.from_at), (port.to, port.to_at)) if space == chamber]
    return next((at for at in places if at is not None), None)


def _ports(case: Case) -> Iterator[Change]:
    def put(name: str, port: Port | None) -> Case:
        rest = {n: p for n, p in case.ports.items() if n != name or port is not None}
        return case.model_copy(update={"ports": rest if port is None else {**rest, name: port}})

    for name, port in case.ports.items():
        turned = port.model_copy(update={"covered": not port.covered})
        what = "open, not covered" if port.covered else f"blocked at its end to {_space(port.to)}"
        yield Change(kind="cover", elements=(name,), text=f'"{name}" is {what}', case=put(name, turned))
        if _joined(put(name, None), port):
            yield Change(kind="absent", elements=(name,), text=f'"{name}" is not there', case=put(name, None))


def _joined(case: Case, port: Port) -> bool:
    """Whether the chambers of a port that is gone still join something."""
    driver = case.driver
    ends = [driver.front, driver.rear, *(h.from_ for h in case.horns.values()), *(h.to for h in case.horns.values())]
    ends += [space for p in case.ports.values() for space in (p.from_, p.to)]
    return all(space == OUTSIDE or space in ends for space in (port.from_, port.to))


def _space(name: str) -> str:
    return "the outside" if name == OUTSIDE else f'"{name}"'


def _swaps(case: Case) -> Iterator[Change]:
    for a, b in combinations(case.chambers, 2):
        one, other = case.chambers[a], case.chambers[b]
        if one.outline is None and other.outline is None:
            turned = case.model_copy(update={"chambers": {**case.chambers, a: other, b: one}})
            turned = _places(turned, {a: (one, other), b: (other, one)})
            yield Change(kind="swap", elements=(a, b), text=f'"{a}" and "{b}" have changed places', case=turned)
    for a, b in combinations(case.ports, 2):
        first, second = case.ports[a], case.ports[b]
        ports = {**case.ports, a: _as(first, second), b: _as(second, first)}
        if ports[a] != first:
            yield Change(kind="swap", elements=(a, b), text=f'"{a}" and "{b}" have changed places',
                         case=case.model_copy(update={"ports": ports}))  # fmt: skip


def _as(port: Port, other: Port) -> Port:
    """Return a port with the tube of another one, where it was."""
    return other.model_copy(update={key: getattr(port, key) for key in _WHERE})


def _places(case: Case, resized: dict[str, tuple[Chamber, Chamber]]) -> Case:
    """Return the case with the places in resized chambers in proportion; none where a size isn't known."""

    def moved(at: tuple[float, float, float] | None, space: str | None) -> tuple[float, ...] | None:
        if at is None or space not in resized:
            return at
        was, now = (table.size for table in resized[space])
        if was is None or now is None:
            return None
        return tuple(x * b / a for x, a, b in zip(at, was, now, strict=True))

    return with_places(case, moved)


def _fillings(case: Case) -> Iterator[Change]:
    for name, chamber in case.chambers.items():
        def put(key: str, value: object, name: str = name, chamber: Chamber = chamber) -> Case:
            table = chamber.model_copy(update={key: value})
            return case.model_copy(update={"chambers": {**case.chambers, name: table}})

        if chamber.leak is not None:
            yield Change(kind="tight", elements=(name,), text=f'"{name}" has no leak', case=put("leak", None))
        if chamber.fill is not None:
            text = f'the stuffing of "{name}" is missing'
            yield Change(kind="unstuffed", elements=(name,), text=text, case=put("fill", None))
            continue
        stuffed = put("fill", Fill.model_validate(_STUFFING))
        known = parameters(stuffed)
        extra = []
        for key in ("flow_resistivity", "fraction"):
            one = known[f"chambers.{name}.fill.{key}"]
            extra.append(Free(parameter=one, width=one.value * float(np.log(2))))
        text = f'stuffing in "{name}" that the case does not have'
        yield Change(kind="stuffed", elements=(name,), text=text, case=stuffed, extra=extra)


def _sizes(case: Case) -> Iterator[Change]:
    """Yield each element with its own dimensions wide open, and the driver with all its values."""
    own: dict[str, list[Free]] = {}
    for parameter in parameters(case).values():
        if parameter.kind in ("dimension", "driver") and parameter.value != 0:  # what is zero has no factor
            element = "driver" if parameter.path[0] == "driver" else str(parameter.path[1])
            own.setdefault(element, []).append(Free(parameter=parameter, width=_FAR * parameter.value))
    for name, free in own.items():
        text = "the driver is another than its values say" if name == "driver" else f'"{name}" is not as drawn'
        for start in (0.0,) if name == "driver" else (0.0, -0.8, 0.8):  # one search rarely finds both ways
            yield Change(kind="size", elements=(name,), text=text, case=case, extra=free, start=_wider(free, start))


def _wider(free: list[Free], start: float) -> list[float]:
    """Return a start for the values of an element that makes it wider (or narrower), not longer."""
    return [start if one.parameter.path[-1] != "length" else 0.0 for one in free]
