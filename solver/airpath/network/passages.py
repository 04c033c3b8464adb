"""Ports, horns and leaks of a case as chains of elements, and the end corrections that belong to them."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from airpath.acoustics.ends import flanged_length, free_length
from airpath.acoustics.porous import Fill
from airpath.acoustics.viscothermal import Section
from airpath.case.schema import Port
from airpath.elements.base import Element
from airpath.elements.duct import Duct
from airpath.elements.horn import LOSS_PIECES, Horn, horn_profile
from airpath.elements.passage import Passage
from airpath.elements.plug import Plug
from airpath.network.graph import Places, both_ends

_FLARE_STEPS = 8


def port_section(port: Port) -> Section:
    """Return the section of one duct of a uniform port."""
    if port.diameter is not None:
        return Section(height=port.diameter)
    if port.stations is not None:
        return Section.round(min(area for _, area in port.stations))
    assert port.width is not None and port.height is not None
    return Section(height=port.height, width=port.width)


def end_section(port: Port, end: str) -> Section:
    """Return the section in which an end ("from" or "to") of one duct opens: that of its flare if it has one."""
    if port.stations is not None:
        return Section.round(port.stations[0 if end == "from" else -1][1])
    section = port_section(port)
    if end_kind(port, end) != "flared":
        return section
    grown = 2 * (port.flare_radius or 0.0)
    width = None if section.width is None else section.width + grown
    return Section(height=section.height + grown, width=width)


def end_kind(port: Port, end: str) -> str:
    """Return "flanged", "free" or "flared"."""
    return port.from_end if end == "from" else port.to_end


def inner_end_length(port: Port, end: str, share: float | None) -> float:
    """Return the end correction [m] of a port's end inside a chamber.

    ``share``: what is left there of that in an endless wall, edges that mirror a slot included; None if not known.
    """
    section = end_section(port, end)
    if end_kind(port, end) == "free":
        return free_length(section, port.along_wall)
    return flanged_length(section, port.along_wall) if share is None else flanged_length(section) * share


def body(port: Port, lumped: bool) -> list[Element]:
    """Return the stages of a port from its ``from`` end to its ``to`` end, without end corrections."""
    if port.stations is not None:
        return profile(pieces(port.stations, port.count), lumped)
    flares = [port.from_end == "flared", port.to_end == "flared"]
    radius = port.flare_radius or 0.0
    section = port_section(port)
    straight = port.length - sum(flares) * radius
    stages: list[Element] = []
    if flares[0]:
        stages += profile(_flare(section, radius, port.count, outward=False), lumped)
    if straight > 0:
        kind = Plug if lumped else Duct
        stages.append(kind(section=section, length=straight, count=port.count))
    if flares[1]:
        stages += profile(_flare(section, radius, port.count, outward=True), lumped)
    return stages


def _flare(section: Section, radius: float, count: int, outward: bool) -> list[Horn]:
    """Return a quarter-round flare as short cones, each of the plane area at its ends."""
    x = radius * np.sin(np.linspace(0, np.pi / 2, _FLARE_STEPS + 1))
    grown = 2 * (radius - np.sqrt(np.maximum(radius**2 - x**2, 0.0)))
    areas = [
        Section(height=section.height + g, width=None if section.width is None else section.width + g).area
        for g in grown
    ]
    stations = list(zip(x.tolist(), areas, strict=True))
    if not outward:
        stations = [(radius - d, a) for d, a in reversed(stations)]
    return pieces(tuple(stations), count)


def pieces(stations: tuple[tuple[float, float], ...], count: int = 1, fill: Fill | None = None) -> list[Horn]:
    """Return cones through ``stations`` of (distance, area) [m, m^2]."""
    cones = [
        horn_profile("conical", a1, a2, x2 - x1, count=count, fill=fill)
        for (x1, a1), (x2, a2) in pairwise(stations)
    ]
    share = max(1, LOSS_PIECES // len(cones))
    return [Horn(**{**cone.__dict__, "pieces": share}) for cone in cones]


def places(horns: list[Horn], mouth: float) -> Places:
    """Return where the air may be fastest: both ends and the narrowest joint of a chain that ends in ``mouth`` [m^2].

    Each place is the share of the chain's air before it and the area there [m^2], of all ducts together.
    """
    air = np.cumsum([0.0, *(horn.volume for horn in horns)])
    areas = [*(horn.throat * horn.count for horn in horns), mouth * horns[-1].count]
    found = {0, int(np.argmin(areas)), len(horns)}
    return tuple((float(air[i] / air[-1]), float(areas[i])) for i in sorted(found))


def port_places(port: Port) -> Places:
    """Return where the air of a port may be fastest: both ends of a straight one, the narrowest place of a tapered."""
    if port.stations is not None:
        return places(pieces(port.stations, port.count), port.stations[-1][1])
    return both_ends(port.area * port.count)


def port_volume(port: Port) -> float:
    """Return the air in a port without its flares [m^3], of all its ducts together."""
    if port.stations is not None:
        return sum(piece.volume for piece in pieces(port.stations, port.count))
    return port.length * port.area * port.count


def stretch(horns: list[Horn], first: float, last: float) -> list[Horn]:
    """Return the part of a chain of horns between two distances [m] from its start."""
    out, start = [], 0.0
    for horn in horns:
        a, b = max(first, start), min(last, start + horn.length)
        if b - a > 1e-9:
            out.append(horn.part(a - start, b - start))
        start += horn.length
    return out


def profile(horns: list[Horn], lumped: bool) -> list[Element]:
    """Return horns as they are, or as plugs with the same inertance and friction piece by piece."""
    if not lumped:
        return list(horns)
    plugs: list[Element] = []
    for horn in horns:
        edges = np.linspace(0, horn.length, horn.pieces + 1)
        for a, b in pairwise(edges):
            node, weight = np.polynomial.legendre.leggauss(8)
            area = horn.area(a + (b - a) * (node + 1) / 2)
            middle = float(horn.area(np.array([(a + b) / 2]))[0])
            length = float((weight / 2 / area).sum() * (b - a) * middle)
            plugs.append(Plug(section=Section.round(middle), length=length, count=horn.count))
    return plugs


def end_plug(section: Section, length: float, count: int = 1) -> list[Element]:
    """Return an end correction as a stage, or nothing if it has no length."""
    return [Plug(section=section, length=length, count=count, friction=False)] if length > 0 else []


def chain(stages: list[Element]) -> Element:
    """Return stages as one element."""
    return stages[0] if len(stages) == 1 else Passage(stages=tuple(stages))
