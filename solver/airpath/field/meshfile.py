"""Meshes from files: named groups of boundary facets are the openings."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any, Literal

import numpy as np
import skfem
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from airpath.errors import GeometryError
from airpath.field.finer import fine_enough
from airpath.field.mesh import FieldMesh, IntArray, mesh_outline
from airpath.field.outline import LENGTH_UNITS, brief
from airpath.field.outlinefile import load_outline

FloatArray = NDArray[np.float64]

_WALL_GROUPS = {"wall", "walls", "axis"}  # groups of these names are not openings
_STUFFED_GROUP = "stuffed"  # cells of this group hold stuffing
_IGNORED_CELLS = {"vertex", "line", "triangle"}  # boundary parts of a mesh of one dimension more
_FLATTEST = 1e-8  # size of a cell over the same power of its longest edge, below which it is degenerate
_LARGEST_BYTES = 100_000_000


def load_field_mesh(
    path: Path | str, *, highest_hz: float, sound_speed: float, order: int = 4, refine: float = 1.0,
    kind: str | None = None, depth_m: float | None = None, unit: str | None = None,
) -> FieldMesh:  # fmt: skip
    """Return the mesh of an outline (.toml), a drawing (.dxf) or a mesh file (any other ending).

    Arguments as in :func:`airpath.field.mesh.mesh_outline`, :func:`airpath.field.outlinefile.load_outline`
    and :func:`read_mesh`. The cells of a mesh file are halved until they suit ``highest_hz``. Raises GeometryError.
    """
    path = Path(path)
    if path.suffix.lower() in (".toml", ".dxf"):
        outline = load_outline(path, kind=kind, depth_m=depth_m, unit=unit)
        make = partial(mesh_outline, outline, order=order, refine=refine)
    else:
        make = partial(fine_enough, read_mesh(path, kind=kind, depth_m=depth_m, unit=unit or "m"))
    try:
        return make(highest_hz=highest_hz, sound_speed=sound_speed)
    except GeometryError as error:
        raise GeometryError(f"{path.name}: {error}") from error


def read_mesh(path: Path | str, *, kind: str | None = None, depth_m: float | None = None, unit: str = "m") -> FieldMesh:
    """Return the mesh in a file of any format that meshio reads, by the file's ending.

    Three-node triangles with z = 0 (``kind`` "planar" with ``depth_m`` [m], or "axisymmetric") or four-node
    tetrahedra; ``unit`` of the coordinates. Openings are the named groups of boundary lines or surfaces;
    groups called "wall", "walls" or "axis" are not openings.
    Raises GeometryError with a coordinate in that unit.
    """
    path = Path(path)
    try:
        if unit not in LENGTH_UNITS:
            raise GeometryError(f"unit is {unit!r}; expected one of {', '.join(LENGTH_UNITS)}")
        return _build(_read(path), kind, depth_m, unit)
    except GeometryError as error:
        raise GeometryError(f"{path.name}: {error}") from error


def _read(path: Path) -> Any:
    """Return meshio's mesh through the reader of the file's ending (``meshio.read`` may end the process)."""
    import importlib

    import meshio

    formats = meshio.extension_to_filetypes.get(path.suffix.lower(), [])
    if not formats:
        raise GeometryError(f"no mesh format is known for the ending {path.suffix!r}")
    try:
        if path.stat().st_size > _LARGEST_BYTES:
            raise GeometryError(f"the mesh is larger than {_LARGEST_BYTES // 1_000_000} MB")
    except OSError as error:
        raise GeometryError(f"can't be read: {error.strerror or error}") from error
    reasons = []
    for name in sorted(formats, key=lambda each: each != "gmsh"):
        try:
            return importlib.import_module(f"meshio.{name}").read(str(path))
        except (Exception, SystemExit) as error:
            reasons.append(f"{name}: {brief(error)}")
    hint = "; save every cell in a named group or none" if "Incompatible cell data" in reasons[0] else ""
    raise GeometryError(f"not readable as a mesh ({'; '.join(reasons)}{hint})")


def _build(found: Any, kind: str | None, depth_m: float | None, unit: str) -> FieldMesh:
    cells = {block.type for block in found.cells}
    solid = "tetra" in cells
    main, shape = ("tetra", "solid") if solid else ("triangle", kind)
    unusable = cells - _IGNORED_CELLS - {"tetra"}
    if unusable or main not in cells:
        raise GeometryError(
            f"expected three-node triangles or four-node tetrahedra, found cells: {', '.join(sorted(cells)) or 'none'}"
        )
    resolved = _check_shape(shape, kind, depth_m, solid)
    t = np.concatenate([np.asarray(block.data) for block in found.cells if block.type == main]).astype(np.int64)
    raw = np.asarray(found.points, dtype=np.float64)
    used, flat = np.unique(t, return_inverse=True)
    if used.min() < 0 or used.max() >= len(raw):
        raise GeometryError("a cell refers to a point that does not exist")
    p, t = raw[used], flat.reshape(t.shape)
    p = _check_points(p, solid, unit, resolved)
    t = _check_cells(p, t, unit)
    mesh = (skfem.MeshTet1 if solid else skfem.MeshTri1)(np.ascontiguousarray(p.T), np.ascontiguousarray(t.T))
    number = np.full(len(raw), -1, dtype=np.int64)
    number[used] = np.arange(len(used))
    openings = _openings(found, mesh, number, "triangle" if solid else "line", unit, resolved)
    scaled = mesh.scaled(LENGTH_UNITS[unit])
    stuffed = _stuffed(found, mesh, number, main)
    return FieldMesh(mesh=scaled, kind=resolved, depth=depth_m, openings=openings, stuffed=stuffed)


def _check_shape(
    shape: str | None, kind: str | None, depth_m: float | None, solid: bool
) -> Literal["planar", "axisymmetric", "solid"]:
    if solid and kind not in (None, "solid"):
        raise GeometryError(f"the mesh holds tetrahedra, so it can't be {kind!r}")
    if shape == "planar" and depth_m is not None and 1e-3 <= depth_m <= 20.0:
        return "planar"
    if shape == "planar":
        raise GeometryError(f"a planar mesh needs its depth, 1 mm to 20 m; found {depth_m!r} m")
    if depth_m is not None:
        raise GeometryError("only a planar mesh takes a depth")
    if shape == "axisymmetric":
        return "axisymmetric"
    if shape == "solid" and solid:
        return "solid"
    if kind is None:
        raise GeometryError('a flat mesh can\'t say how deep it is: give outline_depth, as in "180 mm"')
    raise GeometryError(f'kind is {kind!r}; a mesh of triangles needs kind "planar" or "axisymmetric"')


def _check_points(p: FloatArray, solid: bool, unit: str, kind: str) -> FloatArray:
    """Return the points used, (n, 2) or (n, 3) in the file's unit; check size, plane, radius, repeats."""
    if not np.isfinite(p).all() or p.shape[1] < (3 if solid else 2):
        raise GeometryError("the mesh holds coordinates that are not usable numbers")
    span = np.ptp(p, axis=0)
    extent = float(span.max()) * LENGTH_UNITS[unit]
    if not 5e-3 <= extent <= 20.0:
        hint = "m" if extent < 5e-3 else "mm"
        raise GeometryError(
            f"the mesh is {extent:.4g} m across (unit {unit!r}), from {_at(p.min(axis=0), unit)} to "
            f"{_at(p.max(axis=0), unit)}; expected 5 mm to 20 m: is unit = {hint!r} meant?"
        )
    near = 1e-9 * float(span.max())
    if not solid and p.shape[1] > 2:
        k = int(np.abs(p[:, 2]).argmax())
        if abs(p[k, 2]) > near:
            raise GeometryError(f"a mesh of triangles lies in the plane z = 0; found {_at(p[k], unit)}")
    p = p[:, : 3 if solid else 2].copy()
    if kind == "axisymmetric":
        p[np.abs(p[:, 1]) < near, 1] = 0.0
        if p[:, 1].min() < 0.0:
            raise GeometryError(f"the axisymmetric mesh goes below its axis at {_at(p[p[:, 1].argmin()], unit)}")
    from scipy.spatial import cKDTree

    pairs = cKDTree(p).query_pairs(near, output_type="ndarray")
    if len(pairs):
        raise GeometryError(f"two points coincide at {_at(p[pairs[0, 0]], unit)}: the mesh is torn there; merge them")
    return p


def _check_cells(p: FloatArray, t: IntArray, unit: str) -> IntArray:
    """Return the cells turned the same way; refuse degenerate, inverted, overlapping or separate ones."""
    edges = p[t[:, 1:]] - p[t[:, :1]]
    size = np.linalg.det(edges)
    longest = np.linalg.norm(edges, axis=2).max(axis=1)
    flat = np.abs(size) < _FLATTEST * longest ** p.shape[1]
    if flat.any():
        raise GeometryError(f"the cell at {_at(p[t[flat.argmax()]].mean(axis=0), unit)} is degenerate: no size")
    inverted = size < 0.0
    if inverted.all():
        t = t[:, [1, 0, *range(2, t.shape[1])]]
    elif inverted.any():
        raise GeometryError(f"the cell at {_at(p[t[inverted.argmax()]].mean(axis=0), unit)} is inverted")
    facets = np.sort(np.concatenate([np.delete(t, i, axis=1) for i in range(t.shape[1])]), axis=1)
    unique, inverse, counts = np.unique(facets, axis=0, return_inverse=True, return_counts=True)
    if counts.max() > 2:
        place = p[unique[counts.argmax()]].mean(axis=0)
        raise GeometryError(f"more than two cells meet at the face {_at(place, unit)}: cells overlap")
    cell = np.tile(np.arange(len(t)), t.shape[1])
    incidence = coo_array((np.ones(len(cell)), (cell, inverse.ravel())), shape=(len(t), len(unique))).tocsr()
    parts, label = connected_components(incidence @ incidence.T, directed=False)
    if parts > 1:
        places = " and ".join(_at(p[t[(label == i).argmax()]].mean(axis=0), unit) for i in (0, 1))
        raise GeometryError(f"the mesh is in {parts} separate pieces, at {places}: no air passes between them")
    return np.asarray(t)


def _groups(found: Any, cell: str) -> dict[str, IntArray]:
    """Return the cells (n, k) of one type in every named group."""
    groups: dict[str, list[IntArray]] = {}
    dimension = {"line": 1, "triangle": 2, "tetra": 3}[cell]
    names = {int(tag): name for name, (tag, dim) in found.field_data.items() if int(dim) == dimension}
    for block, tags in zip(found.cells, found.cell_data.get("gmsh:physical", []), strict=False):
        for tag in np.unique(tags) if block.type == cell else []:
            if int(tag) in names:
                groups.setdefault(names[int(tag)], []).append(np.asarray(block.data)[tags == tag])
    for name, members in found.cell_sets.items():
        for block, chosen in zip(found.cells, members, strict=False):
            if block.type == cell and chosen is not None and len(chosen) and not name.startswith("gmsh:"):
                groups.setdefault(name, []).append(np.asarray(block.data)[np.asarray(chosen, dtype=np.int64)])
    return {name: np.unique(np.concatenate(parts), axis=0).astype(np.int64) for name, parts in groups.items()}


def _openings(found: Any, mesh: Any, number: IntArray, cell: str, unit: str, kind: str) -> dict[str, IntArray]:
    try:
        groups = _groups(found, cell)
    except (TypeError, ValueError, IndexError, AttributeError) as error:
        raise GeometryError(f"the named groups of the mesh can't be read: {brief(error)}") from error
    boundary = mesh.boundary_facets()
    index = {tuple(nodes): int(k) for k, nodes in zip(boundary, mesh.facets[:, boundary].T.tolist(), strict=True)}
    owner: dict[int, str] = {}
    openings: dict[str, IntArray] = {}
    for name, members in groups.items():
        if name.strip().lower() in _WALL_GROUPS:
            continue
        if not name.strip():
            raise GeometryError("a named group of the mesh has an empty name")
        nodes = np.sort(number[members], axis=1)
        facets = [index.get(tuple(row), -1) for row in nodes.tolist()]
        if -1 in facets:
            place = np.asarray(found.points)[members[facets.index(-1)]].mean(axis=0)
            raise GeometryError(f"opening {name!r} is not on the boundary of the mesh at {_at(place, unit)}")
        for k in facets:
            if owner.setdefault(k, name) != name:
                place = mesh.p[:, mesh.facets[:, k]].mean(axis=1)
                raise GeometryError(f"openings {owner[k]!r} and {name!r} overlap at {_at(place, unit)}")
        chosen = np.unique(np.array(facets, dtype=np.int64))
        if kind == "axisymmetric" and not mesh.p[1, mesh.facets[:, chosen]].any():
            raise GeometryError(f"opening {name!r} lies on the axis: it has no area")
        openings[name] = chosen
    if not openings:
        raise GeometryError("the mesh has no named opening: name a group of boundary lines (in 3D: surfaces)")
    return openings


def _stuffed(found: Any, mesh: Any, number: IntArray, cell: str) -> IntArray:
    """Return the cells of the group called "stuffed"."""
    groups = {name.strip().lower(): members for name, members in _groups(found, cell).items()}
    members = groups.get(_STUFFED_GROUP)
    if members is None:
        return np.empty(0, np.int64)
    index = {tuple(sorted(nodes)): k for k, nodes in enumerate(mesh.t.T.tolist())}
    return np.array([index[tuple(sorted(row))] for row in number[members].tolist()], dtype=np.int64)


def _at(point: FloatArray, unit: str) -> str:
    return f"({', '.join(f'{float(v):.6g}' for v in point)}) {unit}"
