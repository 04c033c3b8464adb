"""The outline of a drawn chamber for the sketch: its walls, its stuffing, and where its openings are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from airpath.case.schema import Case
from airpath.network.meshed import read_drawn
from airpath.report.sketching.sheet import Point

Side = Literal["left", "right", "top", "bottom"]
Floats = NDArray[np.float64]
_SIDES: dict[tuple[int, int], Side] = {(0, -1): "left", (0, 1): "right", (1, -1): "bottom", (1, 1): "top"}


@dataclass(frozen=True, kw_only=True)
class Mouth:
    """An opening in the outline: its ``pieces`` as lines, its middle, and the side that it looks to."""

    pieces: list[list[Point]]
    at: Point
    side: Side


@dataclass(frozen=True, kw_only=True)
class Outlined:
    """A drawn chamber [m] from its lower left corner; one turned about an axis is whole, cut through that axis.

    ``air``, ``holes`` in it and ``stuffed`` are areas, ``walls`` lines, ``mouths`` the openings that something joins,
    by name; an opening that nothing joins is a wall. ``volume`` of the air [m^3].
    """

    width: float
    height: float
    volume: float
    air: list[list[Point]]
    holes: list[list[Point]]
    stuffed: list[list[Point]]
    walls: list[list[Point]]
    mouths: dict[str, Mouth]


@dataclass(frozen=True)
class Box:
    """A chamber on the sheet [m], with its outline if it has one."""

    name: str
    x: float
    y: float
    w: float
    h: float
    shape: Outlined | None = None

    def mouth(self, name: str) -> Mouth | None:
        """Return where an opening of a drawn chamber is on the sheet."""
        found = self.shape.mouths.get(name) if self.shape else None
        return None if found is None else replace(found, at=(self.x + found.at[0], self.y + found.at[1]))


def outlined(case: Case, chamber: str) -> Outlined | None:
    """Return the outline of a chamber, None if it is not drawn, or drawn as a solid. Raises GeometryError."""
    table = case.chambers[chamber]
    if table.outline is None:
        return None
    drawn = read_drawn(case, f"chambers.{chamber}", table)
    field = drawn.mesh
    if field.kind == "solid":
        return None
    mesh, turned = field.mesh, field.kind == "axisymmetric"
    points = np.array(mesh.p.T)
    low = points.min(axis=0) if not turned else np.array([points[:, 0].min(), -points[:, 1].max()])
    points = points - low
    mirror = -2 * low[1] if turned else None  # height of the whole

    def lines(pairs: NDArray[np.int64], *, largest: bool | None = None) -> list[list[Point]]:
        found = sorted((_straight(points[chain]) for chain in chains(pairs.T)), key=lambda line: -_spanned(line))
        found = found if largest is None else found[:1] if largest else found[1:]
        if mirror is not None:
            found += [line * (1, -1) + (0, mirror) for line in found]
        return [[(float(x), float(y)) for x, y in line] for line in found]

    boundary, used = mesh.boundary_facets(), _joined(case, chamber)
    mouths = {name: facets for name, facets in field.openings.items() if name in used}
    idle = [facets for name, facets in field.openings.items() if name not in used]
    return Outlined(
        width=float(points[:, 0].max()),
        height=float(points[:, 1].max()) if mirror is None else float(mirror),
        volume=drawn.volume,
        air=lines(mesh.facets[:, boundary], largest=True),
        holes=lines(mesh.facets[:, boundary], largest=False),
        stuffed=lines(_edge_of(mesh.t[:, field.stuffed])),
        walls=lines(mesh.facets[:, np.concatenate([field.walls, *idle])]),
        mouths={
            name: _mouth(mesh, points, facets, lines(mesh.facets[:, facets]), mirror)
            for name, facets in mouths.items()
        },
    )


def _joined(case: Case, chamber: str) -> set[str]:
    """Return what joins a chamber, by the names of its openings."""
    driver = {"driver"} if chamber in (case.driver.front, case.driver.rear) else set()
    ports = {name for name, port in case.ports.items() if chamber in (port.from_, port.to)}
    return driver | ports | {name for name, horn in case.horns.items() if chamber in (horn.from_, horn.to)}


def _mouth(
    mesh: Any, points: Floats, facets: NDArray[np.int64], pieces: list[list[Point]], mirror: float | None
) -> Mouth:  # fmt: skip
    ends = points[mesh.facets[:, facets]]
    middle = ends.mean(axis=0)
    inside = points[mesh.t[:, mesh.f2t[0, facets]]].mean(axis=0)
    along = ends[1] - ends[0]
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    normal *= np.sign(np.sum(normal * (middle - inside), axis=1))[:, None]
    outwards = normal.sum(axis=0)
    axis = int(np.abs(outwards).argmax())
    at = 0.5 * (ends.reshape(-1, 2).min(axis=0) + ends.reshape(-1, 2).max(axis=0))
    if mirror is not None and ends[..., 1].min() < mirror / 2 + 1e-9:  # a disc on the axis
        at[1] = mirror / 2
    return Mouth(pieces=pieces, at=(float(at[0]), float(at[1])), side=_SIDES[axis, 1 if outwards[axis] > 0 else -1])


def _edge_of(cells: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the edges (2, n) that only one of the triangles (3, m) has."""
    if not cells.size:
        return np.empty((2, 0), np.int64)
    edges = np.sort(np.hstack([cells[[0, 1]], cells[[1, 2]], cells[[2, 0]]]), axis=0)
    unique, count = np.unique(edges, axis=1, return_counts=True)
    return np.asarray(unique[:, count == 1], np.int64)


def chains(pairs: NDArray[np.int64]) -> list[list[int]]:
    """Return edges (n, 2) joined to lines as long as can be; a closed one ends where it began."""
    beside: dict[int, list[int]] = {}
    for a, b in pairs.tolist():
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    out: list[list[int]] = []
    for start in sorted(beside, key=lambda node: len(beside[node])):  # ends of open lines first
        while beside[start]:
            line = [start]
            while beside[line[-1]]:
                here = line[-1]
                there = beside[here].pop()
                beside[there].remove(here)
                line.append(there)
            out.append(line)
    return out


def _spanned(line: Floats) -> float:
    """Return the area of a closed line [m^2]."""
    (x, y), (after_x, after_y) = line.T, np.roll(line, -1, axis=0).T
    return float(abs(np.sum(x * after_y - after_x * y))) / 2


def _straight(line: Floats) -> Floats:
    """Return a line without the points that lie on the way between their neighbours."""
    before, after = line[1:-1] - line[:-2], line[2:] - line[1:-1]
    turn = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
    size = np.linalg.norm(before, axis=1) * np.linalg.norm(after, axis=1)
    kept: Floats = line[np.concatenate([[True], turn > 1e-6 * size, [True]])]
    return kept
