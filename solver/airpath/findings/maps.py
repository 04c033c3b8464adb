"""Fields inside a chamber on points to look at: the shapes of its modes, and its pressure at chosen tones."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.patch import shapes_at
from airpath.air import Air
from airpath.elements.base import ComplexArray
from airpath.elements.cuboid import Cuboid
from airpath.errors import CaseError
from airpath.findings.modes import ChamberModes, ModeTable, peaks
from airpath.findings.wording import sig
from airpath.network.build import label
from airpath.network.respond import respond
from airpath.network.solve import solve_network

if TYPE_CHECKING:
    from airpath.field.reduced import ReducedField

Floats = NDArray[np.float64]
_FINE = 3  # halvings of each finite element before it is drawn
_ALONG = 41  # points along the longest side of a cuboid's wall


@dataclass(frozen=True, kw_only=True)
class Grid:
    """Points (n, 3) [m] and the cells (m, corners) between them, of meshio's cell type ``cell``."""

    points: Floats
    cells: NDArray[np.int64]
    cell: str


@dataclass(frozen=True, kw_only=True)
class ChamberMap:
    """Pressure in one chamber at one frequency [Hz] with the case's drive: ``flows`` into it at each terminal.

    ``flows`` [m^3/s RMS] (terminals,); ``mean`` [Pa RMS] is the mean over the chamber's volume.
    """

    chamber: str
    frequency_hz: float
    flows: ComplexArray
    mean: complex


class CuboidField:
    """Fields in a cuboid, on its three walls through the origin or throughout."""

    def __init__(self, chamber: Cuboid, air: Air, orders: Sequence[tuple[int, int, int] | None]) -> None:
        self.chamber, self.air = chamber, air
        self.orders = np.array([order for order in orders if order is not None], dtype=np.int64).reshape(-1, 3)

    @cached_property
    def walls(self) -> tuple[Grid, Grid, Grid]:
        """The walls x = 0, y = 0 and z = 0 as triangles."""
        first, second, third = (self._wall(axis) for axis in range(3))
        return first, second, third

    @cached_property
    def whole(self) -> Grid:
        """The whole chamber as hexahedra, points along x, y, z with z quickest."""
        counts = self._counts(_ALONG // 2)
        axes = [np.linspace(0.0, side, n) for side, n in zip(self.chamber.size, counts, strict=True)]
        points = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
        index = np.arange(len(points)).reshape(counts)
        low, high = slice(None, -1), slice(1, None)
        square = ((low, low), (high, low), (high, high), (low, high))
        corners = [index[a, b, c].ravel() for c in (low, high) for a, b in square]
        return Grid(points=points, cells=np.stack(corners, axis=1), cell="hexahedron")

    def shape(self, mode: int, grid: Grid) -> Floats:
        """Return a mode's shape, maximum 1, on the points of a grid."""
        return np.asarray(shapes_at(grid.points, self.chamber.size, self.orders[mode : mode + 1])[0], dtype=np.float64)

    def pressure(self, found: ChamberMap, grid: Grid) -> ComplexArray:
        """Return the pressure [Pa RMS] on the points of a grid."""
        omega = np.array([2 * np.pi * found.frequency_hz])
        return np.asarray(self.chamber.pressure(omega, self.air, found.flows[None], grid.points)[0])

    def _counts(self, most: int) -> list[int]:
        longest = max(self.chamber.size)
        return [max(5, int(np.ceil(most * side / longest))) for side in self.chamber.size]

    def _wall(self, axis: int) -> Grid:
        a, b = (i for i in range(3) if i != axis)
        counts = self._counts(_ALONG)
        u, v = (np.linspace(0.0, self.chamber.size[i], counts[i]) for i in (a, b))
        points = np.zeros((counts[a] * counts[b], 3))
        points[:, a], points[:, b] = (part.ravel() for part in np.meshgrid(u, v, indexing="ij"))
        index = np.arange(len(points)).reshape(counts[a], counts[b])
        p, q, r, s = (part.ravel() for part in (index[:-1, :-1], index[1:, :-1], index[1:, 1:], index[:-1, 1:]))
        cells = np.concatenate([np.stack([p, q, r], axis=1), np.stack([p, r, s], axis=1)])
        return Grid(points=points, cells=cells, cell="triangle")


class DrawnField:
    """Fields in a drawn space, each finite element cut fine so that straight cells show its curved field."""

    def __init__(self, model: ReducedField) -> None:
        self.model = model
        basis = self.model.matrices.basis
        self.solid = basis.mesh.dim() == 3
        self._fine = type(basis.mesh).init_refdom().refined(1 if self.solid else _FINE)
        self._local = np.stack([basis.elem.lbasis(self._fine.p, i)[0] for i in range(basis.Nbfun)])

    @cached_property
    def whole(self) -> Grid:
        """The chamber as triangles or tetrahedra; each element has points of its own."""
        basis = self.model.matrices.basis
        flat = basis.mapping.F(self._fine.p)
        points = np.zeros((flat[0].size, 3))
        points[:, : len(flat)] = flat.reshape(len(flat), -1).T
        first = np.arange(basis.nelems)[:, None, None] * self._fine.p.shape[1]
        cells = (self._fine.t.T[None] + first).reshape(-1, len(self._fine.t))
        return Grid(points=points, cells=cells.astype(np.int64), cell="tetra" if self.solid else "triangle")

    def shape(self, mode: int, grid: Grid) -> Floats:
        """Return a mode's shape, maximum 1, on the points of the grid; mode 0 is the lowest above the uniform one."""
        column = self.model.modes.shapes[:, mode + 1 : mode + 2]
        return np.asarray(self.on_grid(column[:, 0] / peaks(column)[0]), dtype=np.float64)

    def pressure(self, found: ChamberMap, grid: Grid) -> ComplexArray:
        """Return the pressure [Pa RMS] on the points of the grid."""
        return self.on_grid(self.model.pressure(2 * np.pi * found.frequency_hz, found.flows))

    @property
    def axis_names(self) -> tuple[str, str]:
        """What the two axes of a section are."""
        return ("x", "y") if self.model.medium.depth is not None else ("along the axis", "radius")

    @property
    def openings(self) -> dict[str, Floats]:
        """Edges (n, 2, 2) [m] of each opening of a section."""
        matrices = self.model.matrices
        boundary = matrices.basis.mesh.boundary_facets()
        inner = matrices.basis.facet_dofs[:, boundary]  # unknowns inside an edge count for its own opening only
        return {
            name: self._edges(boundary[np.all(mean[inner] != 0.0, axis=0)])
            for name, mean in zip(matrices.names, matrices.means.T, strict=True)
        }

    @property
    def edges(self) -> Floats:
        """Edges (n, 2, 2) [m] all around a section, its axis included."""
        return self._edges(self.model.matrices.basis.mesh.boundary_facets())

    def _edges(self, facets: NDArray[np.int64]) -> Floats:
        mesh = self.model.matrices.basis.mesh
        return np.asarray(mesh.p[:, mesh.facets[:, facets]].transpose(2, 1, 0), dtype=np.float64)

    def on_grid(self, values: NDArray[Any]) -> NDArray[Any]:
        """Return a field, given by its unknowns, on the points of the whole."""
        return np.asarray(values[self.model.matrices.basis.element_dofs].T @ self._local).ravel()


def field_of(chamber: ChamberModes, air: Air) -> CuboidField | DrawnField | None:
    """Return what evaluates fields in a chamber; None where it acts as one pressure."""
    if chamber.element is None:
        return None
    if isinstance(chamber.element, Cuboid):
        return CuboidField(chamber.element, air, [row.order for row in chamber.rows])
    return DrawnField(chamber.element.model)


def pressure_maps(table: ModeTable, frequencies_hz: Sequence[float]) -> list[ChamberMap]:
    """Return the maps of every chamber with a shape at each frequency [Hz], from the network's solution.

    Raises CaseError for a frequency outside the case's sweep, for which the chambers were not prepared.
    """
    case, sweep = table.case, table.case.sweep
    for f in frequencies_hz:
        if not sweep.start * (1 - 1e-9) <= f <= sweep.stop * (1 + 1e-9):
            raise CaseError(
                f'{label(case)}: a pressure map at "{sig(f, 6)} Hz" lies outside the sweep: choose from '
                f"{sig(sweep.start, 6)} Hz to {sig(sweep.stop, 6)} Hz, or widen [sweep] start and stop"
            )
    shaped = [name for name, chamber in table.chambers.items() if chamber.element is not None]
    if not frequencies_hz or not shaped:
        return []
    omega = 2 * np.pi * np.asarray(frequencies_hz, dtype=float)
    state = solve_network(table.network, omega)
    response = respond(case, table.network, state, table.model)
    volts = response.cone_velocity / state.velocity  # at each driver
    return [
        _map(table, name, float(f), volts[i] * state.flow[table.network.chambers[name][0]][i])
        for name in shaped
        for i, f in enumerate(frequencies_hz)
    ]


def _map(table: ModeTable, name: str, frequency_hz: float, flows: ComplexArray) -> ChamberMap:
    element, omega = table.chambers[name].element, 2 * np.pi * frequency_hz
    if isinstance(element, Cuboid):
        mean = flows.sum() / element.storage(np.array([omega]), table.network.air)[0]
    else:
        assert element is not None
        matrices = element.model.matrices
        mean = (matrices.operators[1] @ element.model.pressure(omega, flows)).sum() / matrices.volume
    return ChamberMap(chamber=name, frequency_hz=frequency_hz, flows=flows, mean=complex(mean))


def result(table: ModeTable, maps: Sequence[ChamberMap]) -> dict[str, Any]:
    """Return modes and maps under the names of ``modes.json``."""
    return {
        **table.to_dict(),
        "maps": [
            {
                "chamber": m.chamber, "frequency_hz": m.frequency_hz,
                "mean_pressure_pa": {"re": m.mean.real, "im": m.mean.imag},
            }
            for m in maps
        ],
    }  # fmt: skip
