"""The field in drawn paths: a straight horn against its closed form, folded ones against NGSolve on finer meshes."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from airpath.acoustics.radiation import baffled_rectangle
from airpath.air import air_at
from airpath.elements.horn import horn_profile
from airpath.field.mesh import mesh_outline
from airpath.field.outline import make_outline
from airpath.field.outlinefile import load_outline
from airpath.field.potential import equivalent_horn, sharpened
from airpath.findings.folding.ways import field_way, line_way, loaded, mouth_of
from ngsolve_fields import impedances

MESHES = Path(__file__).parents[2] / "meshes"
AIR = air_at()
DEPTH, THROAT, MOUTH, LENGTH = 0.15, 0.006, 0.012, 2.4


@pytest.fixture(scope="module")
def straight():
    """An exponential horn so slender (0.7 degrees at its mouth) that its fronts are plane to 1e-4."""
    x = np.linspace(0, LENGTH, 100)
    y = THROAT * (MOUTH / THROAT) ** (x / LENGTH) / DEPTH / 2
    points = np.concatenate([np.stack([x, -y], axis=1), np.stack([x, y], axis=1)[::-1]])
    openings = {"throat": [[0, y[0]], [0, -y[0]]], "mouth": [[LENGTH, -y[-1]], [LENGTH, y[-1]]]}
    return make_outline(kind="planar", depth=DEPTH, points=points, openings=openings)


def test_straight_exponential_horn_against_its_closed_form(straight):
    frequency = np.geomspace(20, AIR.sound_speed * DEPTH / (2 * MOUTH), 200)  # up to the first cross-mode
    omega = 2 * np.pi * frequency
    closed = replace(horn_profile("exponential", THROAT, MOUTH, LENGTH), depth=DEPTH)
    expected = loaded(closed.admittance(omega, AIR), mouth_of(straight), omega, AIR)
    found = field_way(straight, frequency, AIR).way
    assert np.abs(found.impedance / expected.impedance - 1).max() < 0.005
    assert np.abs(found.transfer / expected.transfer - 1).max() < 0.005


def test_mouth_loads_a_tube_as_transmission_line_theory_says():
    """Zin = Zc (ZL + j Zc tan kL)/(Zc + j ZL tan kL), U2/U1 = Zc/(Zc cos kL + j ZL sin kL); Kinsler et al., ch. 10."""
    length, height, still = 0.7, 0.04, AIR.lossless()
    points = [[0, 0], [length, 0], [length, height], [0, height]]
    openings = {"throat": [[0, 0], [0, height]], "mouth": [[length, 0], [length, height]]}
    tube = make_outline(kind="planar", depth=DEPTH, points=points, openings=openings)
    k = np.geomspace(0.5, 20, 40)
    characteristic = still.density * still.sound_speed / (height * DEPTH)
    load = characteristic * baffled_rectangle(k, DEPTH, height)
    found = line_way(equivalent_horn(tube), tube, k * still.sound_speed, still)
    turn = np.tan(k * length)
    seen = characteristic * (load + 1j * characteristic * turn) / (characteristic + 1j * load * turn)
    assert found.impedance == pytest.approx(seen, rel=1e-6)
    out = characteristic / (characteristic * np.cos(k * length) + 1j * load * np.sin(k * length))
    assert found.transfer == pytest.approx(out, rel=1e-6)


def test_equivalent_horn_of_a_straight_horn_sounds_like_it(straight):
    """The short ducts of the line keep volume and inertance; below 400 Hz that is all there is."""
    omega = 2 * np.pi * np.geomspace(20, 400, 60)
    closed = replace(horn_profile("exponential", THROAT, MOUTH, LENGTH), depth=DEPTH)
    expected = loaded(closed.admittance(omega, AIR), mouth_of(straight), omega, AIR)
    found = line_way(equivalent_horn(straight), straight, omega, AIR)
    assert np.abs(found.impedance / expected.impedance - 1).max() < 0.01


@pytest.mark.parametrize("name", ["fog-signal", "u-bend"])
def test_folded_path_against_ngsolve(name):
    """Losses on both sides; the other mesh is four times finer, and 0.2 mm at every re-entrant corner."""
    pytest.importorskip("ngsolve")
    outline = load_outline(MESHES / f"{name}.toml")
    frequency = np.array([25.0, 60.0, 104.0, 150.0, 210.0, 300.0, 420.0, 600.0, 850.0, 1000.0])
    omega = 2 * np.pi * frequency
    fine = mesh_outline(outline, highest_hz=1000.0, sound_speed=AIR.sound_speed, refine=4.0)
    shape = sharpened(outline, fine, 2e-4)
    order = [list(shape.openings).index(end) for end in ("throat", "mouth")]
    other = impedances(shape, 5, frequency, AIR)[:, order][:, :, order]
    expected = loaded(np.linalg.inv(other), mouth_of(outline), omega, AIR)
    found = field_way(outline, frequency, AIR).way
    assert np.abs(found.impedance / expected.impedance - 1).max() < 1e-3
    off = np.abs(found.transfer - expected.transfer)  # at 1 kHz a twentieth of the flow at the throat reaches the mouth
    assert (off / np.maximum(1.0, np.abs(expected.transfer))).max() < 1e-3
