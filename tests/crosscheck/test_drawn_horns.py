"""A drawn horn in the network: its areas where it is straight, shorter than its centre line where it bends."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airpath.air import air_at
from airpath.case import load
from airpath.elements.base import cascade
from airpath.elements.horn import Horn, horn_profile
from airpath.errors import AirpathError
from airpath.findings.explaining.explain import explain
from airpath.network.build import models_for
from airpath.network.horns import horn_way
from airpath.network.respond import solve

DEPTH, LENGTH, THROAT, MOUTH = 0.15, 0.6, 0.003, 0.0066
DRIVER = """
[driver]
fs = "60 Hz"
Qms = 4
Qes = 0.5
Vas = "3 L"
Sd = "55 cm^2"
Re = "3.4 ohm"
"""
SWEEP = '[sweep]\nstart = "40 Hz"\nstop = "800 Hz"\n'


def outline(points: list[list[float]], throat: list, mouth: list) -> str:
    return (
        f'kind = "planar"\ndepth = "{DEPTH * 1e3} mm"\nunit = "mm"\npoints = {points}\n'
        f"[openings]\nmouth = {mouth}\nthroat = {throat}\n"
    )


def straight_horn() -> str:
    x = np.linspace(0, LENGTH, 61)
    half = THROAT * (MOUTH / THROAT) ** (x / LENGTH) / DEPTH / 2
    lower, upper = np.column_stack([x, -half]) * 1e3, np.column_stack([x, half])[::-1] * 1e3
    return outline([*lower.tolist(), *upper.tolist()], [upper[-1].tolist(), lower[0].tolist()],
                   [lower[-1].tolist(), upper[0].tolist()])  # fmt: skip


def bent_pipe() -> str:
    """A pipe 40 mm wide with two legs of 300 mm beside each other and a sharp turn over a 10 mm board."""
    points = [[0, 0], [300, 0], [300, 90], [0, 90], [0, 50], [260, 50], [260, 40], [0, 40]]
    return outline(points, [[0, 40], [0, 0]], [[0, 90], [0, 50]])


def box(folder: Path, drawing: str, horn: str, *, feed: str = 'rear = "back"\nfront = "outside"') -> Path:
    (folder / "path.toml").write_text(drawing, encoding="utf-8")
    case = folder / "box.toml"
    chamber = '[chambers.back]\nvolume = "4 L"\n' if '"back"' in feed + horn else ""
    case.write_text(f"{DRIVER}{feed}\n{chamber}[horns.path]\n{horn}\n{SWEEP}", encoding="utf-8")
    return case


DRAWN = 'from = "back"\noutline = "path.toml"'


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    return load(box(tmp_path_factory.mktemp("straight"), straight_horn(), DRAWN))


def test_a_straight_drawing_returns_its_areas(drawn):
    """Exponential profile: Salmon 1946, the element checked against closed forms in published/horns."""
    air, omega = air_at(), 2 * np.pi * np.geomspace(20, 800, 200)
    way = horn_way(drawn, "path")
    assert way.length == pytest.approx(LENGTH, rel=1e-3)
    assert way.throat.area == pytest.approx(THROAT, rel=1e-9)
    assert way.mouth.area == pytest.approx(MOUTH, rel=1e-9)
    got = cascade([piece.admittance(omega, air) for piece in way.pieces])
    exact = horn_profile("exponential", THROAT, MOUTH, LENGTH)
    wanted = Horn(**{**exact.__dict__, "depth": DEPTH}).admittance(omega, air)
    z, z0 = np.linalg.inv(got), np.linalg.inv(wanted)
    assert np.median(np.linalg.norm(z - z0, axis=(1, 2)) / np.linalg.norm(z0, axis=(1, 2))) < 2e-3


def test_the_field_of_a_straight_horn_is_its_line(drawn):
    assert models_for(drawn) == ("lumped", "line", "field")
    line, field = solve(drawn, "line"), solve(drawn, "field")
    assert np.abs(field.spl_db - line.spl_db).max() < 0.1
    assert np.abs(np.abs(field.impedance / line.impedance) - 1).max() < 0.01


def test_a_bent_pipe_is_shorter_than_its_centre_line(tmp_path):
    """A mitred corner of equal widths takes off (2 ln 2)/pi widths (conformal map); this turn is two of them."""
    case = load(box(tmp_path, bent_pipe(), DRAWN))
    centre = 0.28 + 0.28 + 0.05
    way = horn_way(case, "path")
    assert 0.3 * 0.04 < centre - way.length < 1.2 * 0.04
    line, field = solve(case, "line"), solve(case, "field")
    assert np.abs(field.spl_db - line.spl_db)[line.frequency < 260].max() < 0.05
    near = np.abs(line.frequency - 280) < 15  # a sharp resonance: 0.1 % beside it is 0.5 dB
    tops = [np.average(r.frequency[near], weights=10 ** (r.spl_db[near] / 10)) for r in (line, field)]
    assert tops[0] == pytest.approx(tops[1], rel=1e-3)
    lumped = solve(case, "lumped")
    assert np.abs(field.spl_db - lumped.spl_db)[line.frequency > 200].max() > 3


def test_the_ducts_of_a_drawn_path_keep_its_volume_and_its_inertance(tmp_path):
    """By the definition of the equivalent horn, S dx = dV and dx/S = dphi/q; areas read off at points keep neither."""
    way = horn_way(load(box(tmp_path, bent_pipe(), DRAWN)), "path")
    volume = sum(piece.throat * piece.length for piece in way.pieces)
    assert volume == pytest.approx(way.drawn.volume, rel=1e-9)
    inertance = sum(piece.length / piece.throat for piece in way.pieces)
    assert inertance == pytest.approx(1 / way.drawn.equivalent.flux, rel=1e-9)
    assert len(way.pieces) <= 64


def test_a_driver_feeds_a_drawn_throat_and_explain_names_the_path(tmp_path):
    case = load(box(tmp_path, bent_pipe(), 'outline = "path.toml"', feed='front = "path"\nrear = "back"'))
    response = solve(case, "field")
    assert response.imbalance < 1e-6
    assert any(f.cause.type == "horn" and f.cause.element == "path" for f in explain(case))


def test_a_driver_along_a_drawn_horn_takes_the_equivalent_horn_and_says_so(tmp_path):
    from airpath.findings.predict import predict

    feed = 'front = "path"\nfront_along = "200 mm"\nrear = "outside"'
    case = load(box(tmp_path, bent_pipe(), 'outline = "path.toml"', feed=feed))
    assert any("equivalent horn" in note for note in predict(case, ("field",)).notes)
    line, field = solve(case, "line"), solve(case, "field")
    np.testing.assert_allclose(field.impedance, line.impedance)


@pytest.mark.parametrize(("drawing", "extra", "words"), [
    (bent_pipe().replace("mouth", "exit"), "", 'two openings, "throat" and "mouth"; this one has throat, exit'),
    (bent_pipe(), 'outline_depth = "10 cm"', "outline_depth"),
    ("kind = 3", "", "path.toml"),
])  # fmt: skip
def test_a_wrong_drawing_is_one_message(tmp_path, drawing, extra, words):
    path = box(tmp_path, drawing, f"{DRAWN}\n{extra}")
    with pytest.raises(AirpathError, match=r"horns\.path") as error:
        solve(load(path), "line")
    assert words in str(error.value)
