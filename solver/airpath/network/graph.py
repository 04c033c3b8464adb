"""The graph that a case becomes: branches between nodes, with the driver as one of the branches."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from airpath.air import Air
from airpath.elements.base import Element
from airpath.elements.cone import Cone

OUTSIDE = "outside"  # the reference node, p = 0, unless a room stands around the box
OPEN_AIR = "outside.air"  # beyond the room's door; the reference node then

Places = tuple[tuple[float, float], ...]  # share of a way's air before a place, area there [m^2]
Role = Literal["chamber", "port", "horn", "leak", "mouth", "driver", "room"]


@dataclass(frozen=True, kw_only=True)
class Branch:
    """One element between ``nodes`` (one per terminal); ``owner`` is the part of the case that it belongs to.

    A chamber's node has the chamber's name; every other has a dot in its own, which no name of a case has.
    ``owners``: of each terminal, where an element serves several parts.
    """

    owner: str
    role: Role
    element: Element
    nodes: tuple[str, ...]
    owners: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Opening:
    """Where air moves through a part: ``outflow`` is the branch whose last terminal it leaves by.

    ``inflow`` is the branch whose first terminal it enters by, None for the cone; ``places``: where its air may be
    fastest. ``radiates``: it ends outside; then, except for leaks, ``outflow`` is what it ends in and ``terminal`` that
    branch's terminal. ``node``: where it is heard from; ``at`` [m]: its place if known; ``radius`` [m] of the flanged
    piston that it is, or 0.
    """

    name: str
    inflow: int | None
    outflow: int
    places: Places
    radiates: bool
    terminal: int | None = None
    node: str = OUTSIDE
    at: tuple[float, float, float] | None = None
    radius: float = 0.0

    @property
    def area(self) -> float:
        """Area of the narrowest place [m^2], all of its parallel ducts together."""
        return min(area for _, area in self.places)


def both_ends(area: float) -> Places:
    """Return the places of a way of one ``area`` [m^2]: its ends, where waves in it move the most air."""
    return ((0.0, area), (1.0, area))


@dataclass(frozen=True, kw_only=True)
class Network:
    """All branches of a box; ``driver`` is the index of the driver's branch.

    ``chambers``: the branches of each chamber; ``volumes``: its volume [m^3]; ``notes``: what was assumed, one
    sentence each.
    """

    air: Air
    branches: tuple[Branch, ...]
    driver: int
    openings: tuple[Opening, ...]
    chambers: dict[str, tuple[int, ...]] = field(default_factory=dict)
    volumes: dict[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    room: bool = False

    @property
    def cone(self) -> Cone:
        """The driver's element."""
        element = self.branches[self.driver].element
        assert isinstance(element, Cone)
        return element

    @property
    def nodes(self) -> list[str]:
        """Unknown pressures, in the order in which the branches name them, without the reference."""
        names = dict.fromkeys(node for branch in self.branches for node in branch.nodes)
        names.pop(OPEN_AIR if self.room else OUTSIDE, None)
        return list(names)
