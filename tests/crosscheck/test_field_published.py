"""The field solver against closed forms and published values; the numbers and their sources are in
published/field.toml.
"""

import tomllib
from pathlib import Path

import numpy as np
import pytest
import skfem

from airpath.field.forms import assemble
from airpath.field.mesh import mesh_outline
from airpath.field.modes import standing_waves
from airpath.field.outline import make_outline
from airpath.field.reduce import reduce_field
from airpath.field.walls import Medium
from field_shapes import AIR, Shape, lines, named

PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "field.toml").read_text())
C = AIR.sound_speed


def drawn(points, opening, highest_hz, kind="axisymmetric", **more):
    """The mesh that the tool picks by itself for an outline with one opening."""
    outline = make_outline(kind=kind, points=points, openings={"end": opening}, **more)
    return mesh_outline(outline, highest_hz=highest_hz, sound_speed=C)


def cylinder(radius_m, length_m):
    points = [[0, 0], [length_m, 0], [length_m, radius_m], [0, radius_m]]
    return drawn(points, [[0, 0], [0, radius_m]], 1500.0), C


def annulus(inner_m, outer_m, length_m):
    points = [[0, inner_m], [length_m, inner_m], [length_m, outer_m], [0, outer_m]]
    return drawn(points, [[0, inner_m], [0, outer_m]], 1.05 * 6.32 * C / (2 * np.pi * inner_m)), 2 * np.pi * inner_m


def sphere(radius_m):
    angle = np.linspace(np.pi, 0, 201)
    points = np.column_stack([radius_m * np.cos(angle), radius_m * np.sin(angle)])
    points[[0, -1], 1] = 0.0
    return drawn(points, points[100:102], 4.6 * C / (2 * np.pi * radius_m)), 2 * np.pi * radius_m


@pytest.mark.parametrize("row", PUBLISHED["modes"], ids=lambda row: row["shape"])
def test_eigenfrequencies(row):
    mesh, scale = {"cylinder": cylinder, "annulus": annulus, "sphere": sphere}[row["shape"]](**row["inputs"])
    expected = np.array(row["values_hz"]) if "values_hz" in row else np.array(row["values_ka"]) * C / scale
    found = standing_waves(assemble(mesh), 2 * np.pi * 1.02 * expected[-1] / C).frequency_hz(C)
    assert found[1 : len(expected) + 1] == pytest.approx(expected, rel=row["tolerance"])


def test_rectangle_eigenfrequencies():
    # Rigid box 0.6 x 0.5 m: f = c/2 sqrt((m/0.6)^2 + (n/0.5)^2) (textbook; Kuttruff, Room Acoustics, ch. 3,
    # from memory)
    points = [[0, 0], [0.6, 0], [0.6, 0.5], [0, 0.5]]
    mesh = drawn(points, [[0, 0], [0, 0.1]], 2000.0, kind="planar", depth=0.4)
    found = standing_waves(assemble(mesh), 2 * np.pi * 2000.0 / C).frequency_hz(C)
    m, n = np.meshgrid(np.arange(9), np.arange(9))
    exact = np.sort(C / 2 * np.hypot(m / 0.6, n / 0.5).ravel())
    inside = np.count_nonzero(exact < 2000.0)
    assert found[1:inside] == pytest.approx(exact[1:inside], rel=1e-4)


def test_solid_cuboid_eigenfrequencies():
    # the first modes of the rigid 0.6 x 0.5 x 0.4 m box; quadratic tetrahedra, same code as in two dimensions
    mesh = skfem.MeshTet.init_tensor(*(np.linspace(0, side, 7) for side in (0.6, 0.5, 0.4)))
    shape = Shape(mesh=mesh, kind="solid", openings=named(mesh, end=((0, 0), (0, 0.5), (0, 0.4))))
    found = standing_waves(assemble(shape), 2 * np.pi * 450.0 / C).frequency_hz(C)
    assert found[1:5] == pytest.approx([286.0, 343.2, 429.0, 446.7463], rel=1e-3)


def test_thin_partition_leaves_the_waves_along_it():
    # A screen of no thickness at half the length of a box: every wave with no velocity through it stays,
    # (2m, n)
    mesh = skfem.MeshTri.init_tensor(lines(0, 0.3, 0.6, size=0.05), lines(0, 0.25, 0.4, size=0.05))
    p, t = mesh.p, mesh.t.copy()
    split = np.flatnonzero((np.abs(p[0] - 0.3) < 1e-9) & (p[1] < 0.25 - 1e-9))
    twin = np.arange(p.shape[1])
    twin[split] = p.shape[1] + np.arange(len(split))
    right = p[0, mesh.t].mean(axis=0) > 0.3
    t[:, right] = twin[t[:, right]]
    screened = skfem.MeshTri(np.hstack([p, p[:, split]]), t)
    shape = Shape(mesh=screened, kind="planar", depth=0.1, openings=named(screened, end=((0, 0), (0, 0.1))))
    found = standing_waves(assemble(shape), 2 * np.pi * 1300.0 / C).frequency_hz(C)
    m, n = np.meshgrid(np.arange(0, 6, 2), np.arange(5))
    exact = np.unique((C / 2 * np.hypot(m / 0.6, n / 0.4)).ravel().round(6))
    for value in exact[(exact > 0) & (exact < 1300.0)]:
        assert np.min(np.abs(found / value - 1)) < 1e-4
    # while the first wave through the screen, (1, 0) at 286 Hz without it, has come down well below
    assert found[1] < 0.9 * 286.0


@pytest.mark.parametrize(("order", "cells"), [(1, (8, 16)), (2, (4, 8)), (3, (3, 6)), (4, (3, 6))])
def test_eigenvalues_converge_with_twice_the_order(order, cells):
    # Theory (Babuska & Osborn 1991): eigenvalue error ~ h^(2p). Second wave along a 1 x 0.7 m rectangle
    errors = []
    for count in cells:
        mesh = skfem.MeshTri.init_tensor(np.linspace(0, 1, count + 1), np.linspace(0, 0.7, count + 1))
        shape = Shape(mesh=mesh, kind="planar", depth=1.0, openings=named(mesh, end=((0, 0), (0, 0.7))))
        found = standing_waves(assemble(shape, order), 2.2 * np.pi).eigenvalue
        errors.append(np.min(np.abs(found - (2 * np.pi) ** 2)))
    assert np.log2(errors[0] / errors[1]) == pytest.approx(2 * order, abs=0.35)


def expansion(pipe_m, chamber_m, length_m):
    """A round chamber between two pipes, each kept for one diameter, lossless; Z (n, 2, 2) and the pipe's
    impedance.
    """
    a, b = pipe_m / 2, chamber_m / 2
    x1, x2 = pipe_m, pipe_m + length_m
    end = x2 + pipe_m
    points = [[0, 0], [end, 0], [end, a], [x2, a], [x2, b], [x1, b], [x1, a], [0, a]]
    openings = {"in": [[0, 0], [0, a]], "out": [[end, 0], [end, a]]}
    outline = make_outline(kind="axisymmetric", points=points, openings=openings)
    return mesh_outline(outline, highest_hz=2500.0, sound_speed=C), AIR.density * C / (np.pi * a**2)


def plane_wave_loss(pipe_m, chamber_m, length_m, frequency):
    """TL = 10 log10(1 + (m - 1/m)^2 sin^2(kL)/4) (Munjal, Acoustics of Ducts and Mufflers)."""
    ratio = (chamber_m / pipe_m) ** 2
    return 10 * np.log10(1 + ((ratio - 1 / ratio) * np.sin(2 * np.pi * frequency / C * length_m)) ** 2 / 4)


@pytest.mark.parametrize("row", PUBLISHED["transmission_loss"], ids=lambda row: f"L={row['inputs']['length_m']}")
def test_expansion_chamber(row):
    frequency = np.array(row["frequency_hz"], dtype=float)
    mesh, pipe = expansion(**row["inputs"])
    _, sweep = reduce_field(assemble(mesh), Medium(air=AIR.lossless()), frequency)
    z = sweep.impedance
    through = 2 * z[:, 1, 0] * pipe / ((z[:, 0, 0] + pipe) * (z[:, 1, 1] + pipe) - z[:, 0, 1] * z[:, 1, 0])
    found = -20 * np.log10(np.abs(through))
    assert found == pytest.approx(np.array(row["values_db"]), rel=row["tolerance"])
    # the higher waves that the plane-wave formula misses: several dB at the top of the band
    missed = np.abs(found - plane_wave_loss(**row["inputs"], frequency=frequency))
    assert missed[:2].max() < 0.2
    assert missed[-3:].max() > 3.0


def duct(section, radius_m=0.0, width_m=0.0, depth_m=None):
    """A uniform duct 0.8 m long, open at both ends."""
    height = radius_m or width_m
    mesh = skfem.MeshTri.init_tensor(lines(0, 0.8, size=0.1), lines(0, height, size=height / 2))
    ends = named(mesh, left=((0, 0), (0, height)), right=((0.8, 0.8), (0, height)))
    kind = "axisymmetric" if section == "round" else section
    return Shape(mesh=mesh, kind=kind, depth=depth_m, openings=ends)


@pytest.mark.parametrize("row", PUBLISHED["attenuation"], ids=lambda row: f"{row['section']}-{row['inputs']}")
def test_duct_attenuation(row):
    inputs = dict(row["inputs"])
    frequency = inputs.pop("frequency_hz")
    shape = duct(row["section"], **inputs)
    medium = Medium(air=AIR, depth=shape.depth)
    _, sweep = reduce_field(assemble(shape), medium, np.linspace(frequency / 2, 2 * frequency, 4))
    z = sweep.impedance[np.argmin(np.abs(sweep.frequency - frequency))]
    gamma = np.arccosh(z[0, 0] / z[1, 0]) / 0.8
    assert sweep.frequency[1] == pytest.approx(frequency)
    assert abs(gamma.real) == pytest.approx(row["value_np_m"], rel=row["tolerance"])
