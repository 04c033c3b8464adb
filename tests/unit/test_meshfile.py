"""Mesh files: named groups become openings, and every bad mesh gets one message with a coordinate."""

import re
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import meshio
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airpath.errors import GeometryError
from airpath.field.finer import halved
from airpath.field.forms import assemble
from airpath.field.meshfile import load_field_mesh, read_mesh
from airpath.field.modes import standing_waves

MESHES = Path(__file__).parents[2] / "meshes"
PLANAR = {"kind": "planar", "depth_m": 0.1}
POINTS = np.array([[0, 0, 0], [0.1, 0, 0], [0.1, 0.1, 0], [0, 0.1, 0]])
TRIANGLES = np.array([[0, 1, 2], [0, 2, 3]])
LINES = np.array([[0, 1], [1, 2]])


def written(path, points=POINTS, triangles=TRIANGLES, lines=LINES, names=("in", "out"), cell="triangle"):
    tags = [np.full(len(triangles), 1), np.arange(2, 2 + len(lines))]
    mesh = meshio.Mesh(
        np.asarray(points, dtype=float), [(cell, np.asarray(triangles)), ("line", np.asarray(lines))],
        cell_data={"gmsh:physical": tags, "gmsh:geometrical": tags},
        field_data={"air": np.array([1, 2])} | {name: np.array([i, 1]) for i, name in enumerate(names, 2)},
    )  # fmt: skip
    meshio.gmsh.write(str(path), mesh, "2.2", binary=False)
    return path


def test_named_lines_of_a_triangle_mesh_are_openings():
    found = read_mesh(MESHES / "ticket-booth.msh", **PLANAR)
    assert found.kind == "planar"
    assert found.depth == 0.1
    p, facets = found.mesh.p, found.mesh.facets
    assert set(found.openings) == {"driver", "slot"}
    assert p[0, facets[:, found.openings["driver"]]].max() == 0.0
    assert p[1, facets[:, found.openings["driver"]]].max() == pytest.approx(0.08)
    assert p[0, facets[:, found.openings["slot"]]].min() == pytest.approx(0.24)
    assert len(found.walls) + 3 == len(found.mesh.boundary_facets())


def test_named_surfaces_of_a_tetrahedron_mesh_are_openings():
    found = read_mesh(MESHES / "lantern-slot.msh")
    assert found.kind == "solid"
    assert found.depth is None
    p, facets = found.mesh.p, found.mesh.facets
    corners = p[:, facets[:, found.openings["driver"]]]
    a, b = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    area = 0.5 * np.linalg.norm(np.cross(a.T, b.T), axis=1).sum()
    assert area == pytest.approx(2 / 3 * 0.1 * 0.133, rel=1e-5)
    assert len(found.walls) + 12 + 2 == len(found.mesh.boundary_facets())


def test_a_solid_is_cut_fine_enough_for_the_sweep():
    """Standing waves of a cuboid of 120 x 100 x 133 mm: c/2 sqrt((i/a)^2 + (j/b)^2 + (k/h)^2) (Rayleigh), to 0.1 %."""
    sides, c, top = np.array([0.12, 0.1, 0.133]), 343.0, 2000.0
    given = read_mesh(MESHES / "lantern-slot.msh")
    found = load_field_mesh(MESHES / "lantern-slot.msh", highest_hz=top, sound_speed=c)
    assert found.mesh.nelements == 8 * given.mesh.nelements
    orders = np.stack(np.meshgrid(*[np.arange(3)] * 3), axis=-1).reshape(-1, 3)
    exact = np.sort(0.5 * c * np.linalg.norm(orders / sides, axis=1))
    exact = exact[(exact > 1.0) & (exact < top)]
    off = []
    for mesh in (given, found):
        squares = standing_waves(assemble(mesh), 2 * np.pi * top / c).eigenvalue
        off.append(np.abs(np.sqrt(squares[1 : len(exact) + 1]) * c / (2 * np.pi) / exact - 1.0).max())
    assert off[0] > 4e-3  # as it comes
    assert off[1] < 1e-3


@pytest.mark.parametrize(("name", "more"), [("lantern-slot.msh", {}), ("ticket-booth.msh", PLANAR)])
def test_halved_meshes_keep_openings_and_stuffing(name, more):
    given = read_mesh(MESHES / name, **more)
    half = given.mesh.p.mean(axis=1)[0]
    given = replace(given, stuffed=np.flatnonzero(given.mesh.p[0, given.mesh.t].mean(axis=0) > half))
    finer = halved(given)
    was, now = assemble(given), assemble(finer)
    assert now.areas == pytest.approx(was.areas, rel=1e-12)
    assert now.stuffed_share == pytest.approx(was.stuffed_share, rel=1e-12)
    assert now.operators[0].sum() == pytest.approx(was.operators[0].sum(), abs=1e-9)
    for opening, facets in given.openings.items():
        assert len(finer.openings[opening]) == 2 ** (given.mesh.dim() - 1) * len(facets)


def test_a_mesh_too_coarse_to_be_mended_is_refused(tmp_path):
    said = "the mesh has edges of up to 141 mm, good to 1043 Hz; the sweep goes to 5e+05 Hz"
    with pytest.raises(GeometryError, match=re.escape(said)):
        load_field_mesh(written(tmp_path / "two.msh"), highest_hz=5e5, sound_speed=343.0, **PLANAR)


def test_the_axis_is_neither_wall_nor_opening():
    found = read_mesh(MESHES / "ticket-booth.msh", kind="axisymmetric")
    on_axis = (found.mesh.p[1, found.mesh.facets] == 0.0).all(axis=0)
    assert on_axis.sum() == 6
    assert not on_axis[found.walls].any()


def test_the_unit_scales_the_mesh(tmp_path):
    path = written(tmp_path / "mm.msh", POINTS * 1000)
    assert read_mesh(path, unit="mm", **PLANAR).mesh.p.max() == pytest.approx(0.1)
    with pytest.raises(GeometryError, match=r"100 m across.*'mm' meant"):
        read_mesh(path, **PLANAR)


def test_a_mesh_all_clockwise_is_turned_round(tmp_path):
    found = read_mesh(written(tmp_path / "turned.msh", triangles=TRIANGLES[:, ::-1]), **PLANAR)
    assert {name: len(facets) for name, facets in found.openings.items()} == {"in": 1, "out": 1}


def test_wall_groups_are_no_openings(tmp_path):
    assert list(read_mesh(written(tmp_path / "w.msh", names=("Walls", "out")), **PLANAR).openings) == ["out"]


# The MSH 4.1 ASCII layout as its open format description gives it: named groups hang on the entities.
VERSION_4_1 = """$MeshFormat
4.1 0 8
$EndMeshFormat
$PhysicalNames
3
1 2 "in"
1 3 "out"
2 1 "air"
$EndPhysicalNames
$Entities
0 4 1 0
1 0 0 0 0.1 0 0 1 2 0
2 0.1 0 0 0.1 0.1 0 1 3 0
3 0 0.1 0 0.1 0.1 0 0 0
4 0 0 0 0 0.1 0 0 0
1 0 0 0 0.1 0.1 0 1 1 4 1 2 3 4
$EndEntities
$Nodes
1 4 1 4
2 1 0 4
1
2
3
4
0 0 0
0.1 0 0
0.1 0.1 0
0 0.1 0
$EndNodes
$Elements
3 4 1 4
1 1 1 1
1 1 2
1 2 1 1
2 2 3
2 1 2 2
3 1 2 3
4 1 3 4
$EndElements
"""


def test_groups_of_version_4_1_are_openings(tmp_path):
    (tmp_path / "v.msh").write_text(VERSION_4_1)
    found = read_mesh(tmp_path / "v.msh", **PLANAR)
    middle = {name: found.mesh.p[:, found.mesh.facets[:, f]].mean(axis=(1, 2)) for name, f in found.openings.items()}
    np.testing.assert_allclose(middle["in"], [0.05, 0.0])
    np.testing.assert_allclose(middle["out"], [0.1, 0.05])


def test_cells_in_no_group_beside_grouped_ones_are_refused_with_a_remedy(tmp_path):
    text = VERSION_4_1.replace("3 4 1 4\n1 1 1 1", "5 6 1 6\n1 3 1 1\n5 3 4\n1 4 1 1\n6 4 1\n1 1 1 1")
    (tmp_path / "v.msh").write_text(text)
    with pytest.raises(GeometryError, match="save every cell in a named group"):
        read_mesh(tmp_path / "v.msh", **PLANAR)


def test_binary_files_read_like_text(tmp_path):
    mesh = meshio.gmsh.read(str(MESHES / "ticket-booth.msh"))
    cells = [(block.type, block.data.astype(np.int32)) for block in mesh.cells]
    whole = meshio.Mesh(mesh.points, cells, cell_data=mesh.cell_data, field_data=mesh.field_data)
    meshio.gmsh.write(str(tmp_path / "b.msh"), whole, "2.2", binary=True)
    assert set(read_mesh(tmp_path / "b.msh", **PLANAR).openings) == {"driver", "slot"}


def bad(tmp_path, options=PLANAR, **changes):
    with pytest.raises(GeometryError) as caught:
        read_mesh(written(tmp_path / "bad.msh", **changes), **options)
    assert str(caught.value).startswith("bad.msh: ")
    return str(caught.value)


def test_inverted_degenerate_and_overlapping_cells_are_named(tmp_path):
    assert "(0.0333333, 0.0666667) m is inverted" in bad(tmp_path, triangles=[[0, 1, 2], [0, 3, 2]])
    middle = np.vstack([POINTS, [0.05, 0.05, 0]])
    assert "(0.05, 0.05) m is degenerate" in bad(tmp_path, points=middle, triangles=[[0, 1, 2], [0, 2, 3], [0, 2, 4]])
    assert "overlap" in bad(tmp_path, triangles=[[0, 1, 2], [0, 2, 3], [0, 2, 3]])


def test_torn_and_separate_meshes_are_named(tmp_path):
    torn = np.vstack([POINTS, POINTS[[0, 2]]])
    assert "(0, 0) m: the mesh is torn" in bad(tmp_path, points=torn, triangles=[[0, 1, 2], [4, 5, 3]])
    apart = np.vstack([POINTS, POINTS + np.array([0.5, 0, 0])])
    assert "2 separate pieces" in bad(tmp_path, points=apart, triangles=[*TRIANGLES, *(TRIANGLES + 4)])


def test_openings_lie_on_the_boundary_have_names_and_do_not_overlap(tmp_path):
    assert "'in' is not on the boundary of the mesh at (0.05, 0.05, 0) m" in bad(tmp_path, lines=[[0, 2], [1, 2]])
    assert "overlap at (0.05, 0) m" in bad(tmp_path, lines=[[0, 1], [1, 0]])
    assert "no named opening" in bad(tmp_path, names=())
    assert "on the axis" in bad(tmp_path, {"kind": "axisymmetric"})


def test_meshes_off_the_plane_below_the_axis_or_of_other_cells_are_named(tmp_path):
    bent = POINTS + np.array([[0, 0, 0], [0, 0, 0], [0, 0, 0.01], [0, 0, 0]])
    assert "z = 0; found (0.1, 0.1, 0.01)" in bad(tmp_path, points=bent)
    assert "below its axis at (0, -0.05) m" in bad(tmp_path, {"kind": "axisymmetric"}, points=POINTS - [0, 0.05, 0])
    assert "found cells: line, quad" in bad(tmp_path, triangles=[[0, 1, 2, 3]], cell="quad")
    assert "usable numbers" in bad(tmp_path, points=POINTS * np.nan)


def test_kind_and_depth_must_fit_the_mesh(tmp_path):
    assert 'give outline_depth, as in "180 mm"' in bad(tmp_path, {})
    assert "depth" in bad(tmp_path, {"kind": "planar"})
    assert "only a planar mesh" in bad(tmp_path, {"kind": "axisymmetric", "depth_m": 0.1})
    with pytest.raises(GeometryError, match="tetrahedra"):
        read_mesh(MESHES / "lantern-slot.msh", **PLANAR)


@pytest.mark.parametrize("name", ["x.msh", "x.vtu", "x.vtk", "x.inp", "x.su2", "x.nas", "x.off", "x.unknown"])
@pytest.mark.parametrize("content", [b"", b"\x00\x01\xff" * 9, b"$MeshFormat\n2.2 0 8\n", b"$PhysicalNames\n9\n"])
def test_files_that_are_no_mesh_are_refused(tmp_path, name, content):
    (tmp_path / name).write_bytes(content)
    with pytest.raises(GeometryError, match=rf"^{name}: "):
        read_mesh(tmp_path / name, **PLANAR)


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_damaged_meshes_give_a_mesh_or_one_error(tmp_path, data):
    whole = (MESHES / "ticket-booth.msh").read_bytes()
    start = data.draw(st.integers(0, len(whole) - 1))
    junk = data.draw(st.one_of(st.binary(max_size=20), st.text("0123456789.-\n ", max_size=20).map(str.encode)))
    path = tmp_path / "damaged.msh"
    path.write_bytes(whole[:start] + junk + whole[start + data.draw(st.integers(0, 200)) :])
    with suppress(GeometryError):
        assert read_mesh(path, **PLANAR).openings


def test_every_truncation_ends(tmp_path):
    whole = (MESHES / "ticket-booth.msh").read_bytes()
    path = tmp_path / "cut.msh"
    for stop in range(0, len(whole) - 20, 37):
        path.write_bytes(whole[:stop])
        with pytest.raises(GeometryError, match=r"^cut\.msh: "):
            read_mesh(path, **PLANAR)


def test_one_call_loads_outlines_drawings_and_meshes():
    common = {"highest_hz": 1000.0, "sound_speed": 343.0}
    assert load_field_mesh(MESHES / "drum.toml", **common).kind == "axisymmetric"
    assert set(load_field_mesh(MESHES / "fog-signal.dxf", depth_m=0.18, **common).openings) == {
        "throat",
        "mouth",
    }
    assert load_field_mesh(MESHES / "lantern-slot.msh", **common).kind == "solid"
