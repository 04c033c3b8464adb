"""The potential of drawn paths against conformal maps and closed forms; other numbers are in published/paths.toml."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
import skfem
from scipy.integrate import quad

from airpath.errors import GeometryError
from airpath.field.drawing import arc_points
from airpath.field.mesh import FieldMesh
from airpath.field.outline import make_outline
from airpath.field.outlinefile import load_outline
from airpath.field.potential import equivalent_horn, path_mesh

TABLE = tomllib.loads((Path(__file__).parents[1] / "published" / "paths.toml").read_text())
MESHES = Path(__file__).parents[2] / "meshes"
W, DEPTH = 0.1, 0.12  # width of the channels and depth [m]


def outline(points, throat, mouth, kind="planar", **more):
    depth = DEPTH if kind == "planar" else None
    return make_outline(kind=kind, points=points, openings={"throat": throat, "mouth": mouth}, depth=depth, **more)


def corner(a, b, leg):
    """A channel of width a that turns right-angled into one of width b; legs measured from the inner corner."""
    points = [[0, 0], [leg + b, 0], [leg + b, a + leg], [leg, a + leg], [leg, a], [0, a]]
    return outline(points, [[0, 0], [0, a]], [[leg, a + leg], [leg + b, a + leg]])


def flared(area, length, kind, count=160):
    """A symmetric (or turned) straight horn whose plane cross-section is ``area(x)``."""
    x = np.linspace(0.0, length, count)
    y = area(x) / DEPTH / 2 if kind == "planar" else np.sqrt(area(x) / np.pi)
    low = -y if kind == "planar" else 0.0 * y
    if kind == "axisymmetric":
        points = np.concatenate([[[0, 0], [length, 0]], np.stack([x, y], axis=1)[::-1]])
    else:
        points = np.concatenate([np.stack([x, low], axis=1), np.stack([x, y], axis=1)[::-1]])
    return outline(points, [[0, low[0]], [0, y[0]]], [[length, low[-1]], [length, y[-1]]], kind)


def test_straight_duct_returns_itself():
    drawn = outline([[0, 0], [1, 0], [1, W], [0, W]], [[0, 0], [0, W]], [[1, 0], [1, W]])
    horn = equivalent_horn(drawn)
    assert horn.distance_m[-1] == pytest.approx(1.0, rel=1e-9)
    assert horn.inertance_length_m == pytest.approx(1.0, rel=1e-9)
    assert horn.area_m2 == pytest.approx(np.full_like(horn.area_m2, W * DEPTH), rel=1e-6)
    assert horn.potential == pytest.approx(horn.distance_m, abs=1e-9)


@pytest.mark.parametrize("kind", ["planar", "axisymmetric"])
def test_gently_flared_horns_return_themselves(kind):
    length, throat = 1.2, 0.004
    conical = lambda x: throat * (1 + 0.6 * x) ** (1 if kind == "planar" else 2)  # noqa: E731
    exponential = lambda x: throat * np.exp(0.7 * x)  # noqa: E731
    for area in (conical, exponential):
        horn = equivalent_horn(flared(area, length, kind))
        assert horn.distance_m[-1] == pytest.approx(length, rel=1e-3)
        assert horn.area_m2 == pytest.approx(area(horn.distance_m), rel=1e-3)
        assert horn.volume_m3 == pytest.approx(quad(area, 0, length)[0], rel=1e-4)


def test_steep_cone_has_spherical_fronts():
    """Away from its flat ends the fronts are caps: S = 2 pi (1 - cos a) r^2 with r along the cone; plane cross-sections
    would be pi (x tan a)^2."""
    half, near, far = np.radians(25.0), 0.08, 0.7
    x = np.array([near, far]) * np.cos(half)
    r = np.array([near, far]) * np.sin(half)
    drawn = outline([[x[0], 0], [x[1], 0], [x[1], r[1]], [x[0], r[0]]], [[x[0], 0], [x[0], r[0]]],
                    [[x[1], 0], [x[1], r[1]]], "axisymmetric")  # fmt: skip
    horn = equivalent_horn(drawn)
    middle = slice(80, 130)
    slope = np.polyfit(horn.distance_m[middle], np.sqrt(horn.area_m2[middle]), 1)[0]
    assert slope == pytest.approx(np.sqrt(2 * np.pi * (1 - np.cos(half))), rel=1e-3)
    assert abs(slope / (np.sqrt(np.pi) * np.tan(half)) - 1) > 0.05  # what plane fronts would give


@pytest.mark.parametrize("ratio", [1.0, 1.6, 3.0])
def test_mitred_corner_against_its_conformal_map(ratio):
    """dz/dw = sqrt((w - p)/(w + 1))/w with p = (a/b)^2 takes the half plane to the corner; the potential is ln w.

    Equal widths: 1 - (2 ln 2)/pi squares, 0.4413 widths shorter than the centre line.
    """
    a, b, leg = W, W * ratio, 4 * W * ratio
    p = (a / b) ** 2
    far = quad(lambda t: 1 - np.sqrt((np.exp(t) - p) / (np.exp(t) + 1)), np.log(p), 60.0)[0]
    near = quad(lambda t: 1 - np.sqrt((p - np.exp(t)) / (np.exp(t) + 1)) / np.sqrt(p), -60.0, np.log(p))[0]
    squares = (far + near) / np.pi
    horn = equivalent_horn(corner(a, b, leg))
    found = horn.inertance_length_m / a - leg / a - leg / b
    if ratio == 1.0:
        assert squares == pytest.approx(1 - 2 * np.log(2) / np.pi, rel=1e-9)
        assert 1 - found == pytest.approx(2 * np.log(2) / np.pi, rel=1e-3)
    assert found == pytest.approx(squares, rel=1e-3)


@pytest.mark.parametrize("row", TABLE["septum"])
def test_turn_round_a_thin_septum(row):
    """One half of it: by symmetry the gap at the septum's tip is a level."""
    gap, leg = row["gap"] * W, 4 * W
    points = [[0, 0], [leg, 0], [leg + gap, 0], [leg + gap, W], [0, W]]
    horn = equivalent_horn(outline(points, [[0, 0], [0, W]], [[leg, 0], [leg + gap, 0]]))
    extra = (2 * horn.inertance_length_m - 2 * (leg + gap)) / W
    assert extra == pytest.approx(row["extra"], rel=row["tolerance"])


@pytest.mark.parametrize("row", TABLE["turn"])
def test_turn_round_a_thick_septum(row):
    t, leg = row["thickness"] * W, 4 * W
    top = 2 * W + t
    points = [[0, 0], [leg + W, 0], [leg + W, top], [0, top], [0, W + t], [leg, W + t], [leg, W], [0, W]]
    horn = equivalent_horn(outline(points, [[0, 0], [0, W]], [[0, W + t], [0, top]]))
    shorter = (2 * leg + 2 * W + t - horn.inertance_length_m) / W
    assert shorter == pytest.approx(row["shorter"], rel=row["tolerance"])


def bend(inner, outer, angle, leg):
    inside = arc_points(np.zeros(2), inner, -np.pi / 2, angle, 2e-6)
    outside = arc_points(np.zeros(2), outer, -np.pi / 2, angle, 2e-6)
    along = np.array([np.cos(angle), np.sin(angle)])
    start, end = np.array([-leg, 0.0]), along * leg
    points = [*([outside[0] + start] if leg else []), *outside, *([outside[-1] + end] if leg else [])]
    points += [*([inside[-1] + end] if leg else []), *inside[::-1], *([inside[0] + start] if leg else [])]
    throat = [outside[0] + start, inside[0] + start]
    return outline(points, throat, [inside[-1] + end, outside[-1] + end])


@pytest.mark.parametrize("angle", [np.pi / 2, 1.5 * np.pi])
def test_annular_bend_without_legs(angle):
    """Levels are radii: the flux is depth ln(Ro/Ri)/angle (separation of Laplace's equation in polar coordinates)."""
    inner, outer = 0.05, 0.15
    horn = equivalent_horn(bend(inner, outer, angle, 0.0))
    assert horn.flux == pytest.approx(DEPTH * np.log(outer / inner) / angle, rel=1e-3)
    assert horn.volume_m3 == pytest.approx(DEPTH * angle * (outer**2 - inner**2) / 2, rel=1e-6)


@pytest.mark.parametrize("row", TABLE["round_bend"])
def test_round_bend_with_legs(row):
    inner, outer, angle = row["inner"] * W, row["outer"] * W, np.radians(row["angle_deg"])
    horn = equivalent_horn(bend(inner, outer, angle, 4 * W))
    shorter = (8 * W + angle * (inner + outer) / 2 - horn.inertance_length_m) / W
    assert shorter == pytest.approx(row["shorter"], rel=row["tolerance"])


def test_tetrahedra_give_the_same_horn():
    """A cuboid's own length and area; a corner in tetrahedra against the same corner in the plane."""
    mesh = skfem.MeshTet.init_tensor(np.linspace(0, 0.5, 8), np.linspace(0, 0.1, 3), np.linspace(0, 0.12, 3))
    ends = {"throat": mesh.facets_satisfying(lambda x: x[0] < 1e-9),
            "mouth": mesh.facets_satisfying(lambda x: x[0] > 0.5 - 1e-9)}  # fmt: skip
    horn = equivalent_horn(FieldMesh(mesh=mesh, kind="solid", openings=ends))
    assert horn.distance_m[-1] == pytest.approx(0.5, rel=1e-9)
    assert horn.area_m2 == pytest.approx(np.full_like(horn.area_m2, 0.012), rel=1e-6)
    steps = np.linspace(0, 0.3, 13)
    solid = skfem.MeshTet.init_tensor(steps, steps, np.linspace(0, DEPTH, 3))
    middle = solid.p[:, solid.t].mean(axis=1)
    solid = solid.remove_elements(np.flatnonzero((middle[0] < 0.2) & (middle[1] > 0.1)))
    ends = {"throat": solid.facets_satisfying(lambda x: x[0] < 1e-9),
            "mouth": solid.facets_satisfying(lambda x: x[1] > 0.3 - 1e-9)}  # fmt: skip
    found = equivalent_horn(FieldMesh(mesh=solid, kind="solid", openings=ends))
    flat = equivalent_horn(corner(0.1, 0.1, 0.2))
    assert found.inertance_length_m == pytest.approx(flat.inertance_length_m, rel=5e-3)
    assert found.area_m2[::20] == pytest.approx(flat.area_m2[::20], rel=0.02)


@pytest.fixture(scope="module")
def fog():
    drawn = load_outline(MESHES / "fog-signal.toml")
    return drawn, equivalent_horn(drawn)


def test_volume_and_inertance_are_kept_slice_by_slice(fog):
    drawn, horn = fog
    assert horn.volume_m3 == pytest.approx(drawn.volume(), rel=1e-12)
    step = np.diff(horn.distance_m)
    assert np.sum(horn.slice_area_m2 * step) == pytest.approx(horn.volume_m3, rel=1e-12)
    assert np.sum(step / horn.slice_area_m2) == pytest.approx(1 / horn.flux, rel=1e-12)
    assert np.ptp(step) < 0.01 * step.mean()
    assert np.trapezoid(horn.area_m2, horn.distance_m) == pytest.approx(horn.volume_m3, rel=1e-3)


def test_a_finer_mesh_changes_no_printed_digit(fog):
    drawn, horn = fog
    fine = equivalent_horn(path_mesh(drawn, 2.0))
    assert horn.inertance_length_m == pytest.approx(fine.inertance_length_m, abs=0.05e-3)
    assert horn.distance_m[-1] == pytest.approx(fine.distance_m[-1], abs=0.1e-3)
    assert horn.area_m2 == pytest.approx(fine.area_m2, rel=2e-3)


def test_opening_that_is_not_there():
    with pytest.raises(GeometryError, match='no opening "nose"; it has mouth, throat'):
        equivalent_horn(corner(0.1, 0.1, 0.2), mouth="nose")
