"""``airpath modes``: what it says of each chamber, its pressure maps, and the files it writes."""

from __future__ import annotations

import json
import os
import struct
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest

import airpath
from airpath.acoustics.viscothermal import chamber_compressibility
from airpath.cli.main import main
from airpath.errors import AirpathError, CaseError
from airpath.findings.maps import field_of, pressure_maps
from airpath.findings.modes import words
from airpath.report.figures import fields
from airpath.report.folder import write_whole
from airpath.report.pages.fieldfiles import write_modes
from case_texts import toml

DRIVER = {
    "fs": "92 Hz", "Qms": 4.1, "Qes": 0.52, "Vas": "1.3 L", "Sd": "55 cm^2", "Re": "3.4 ohm", "rear": "main",
}  # fmt: skip
NOSE = {"from": "main", "to": "outside", "length": "62 mm", "diameter": "34 mm"}
SIZED = {
    "driver": {**DRIVER, "rear_at": ["60 mm", "0 mm", "80 mm"]},
    "chambers": {"main": {"size": ["120 mm", "100 mm", "133 mm"]}},
    "ports": {"nose": {**NOSE, "from_at": ["0 mm", "50 mm", "25 mm"]}},
    "sweep": {"start": "20 Hz", "stop": "2.5 kHz", "points_per_octave": 12},
}
FOLD = """kind = "planar"
depth = "133 mm"
unit = "mm"
points = [[0, 0], [122, 0], [122, 102], [74, 102], [74, 38], [68, 38], [68, 102], [0, 102]]
[openings]
driver = [[0, 26], [0, 67.4]]
nose = [[122, 14], [122, 22.53]]
"""
DRAWN = {
    "driver": DRIVER, "chambers": {"main": {"outline": "fold.toml"}, "tail": {"volume": "1 L"}},
    "ports": {"nose": NOSE, "slit": {"from": "tail", "to": "outside", "length": "20 mm", "diameter": "9 mm"}},
    "sweep": {"start": "20 Hz", "stop": "2.5 kHz", "points_per_octave": 12},
}  # fmt: skip


def case_file(folder: Path, data: dict) -> Path:
    (folder / "fold.toml").write_text(FOLD, encoding="utf-8")
    path = folder / "try.toml"
    path.write_text(toml(data), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def sized(tmp_path_factory):
    return airpath.modes(airpath.load(case_file(tmp_path_factory.mktemp("sized"), SIZED)))


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    return airpath.modes(airpath.load(case_file(tmp_path_factory.mktemp("drawn"), {**DRAWN, "driver": DRIVER})))


def test_modes_of_a_drawn_chamber_have_shapes_of_maximum_one(drawn):
    chamber = drawn.chambers["main"]
    field = field_of(chamber, drawn.network.air)
    assert len(chamber.rows) >= 3
    for i, row in enumerate(chamber.rows):
        shape = field.shape(i, field.whole)
        assert shape.max() == pytest.approx(1.0, abs=2e-3)
        assert row.order is None and 0 < row.frequency_hz <= 2500
        assert set(row.coupling) == {"cone", "nose"}


def test_coupling_of_a_drawn_chamber_is_the_mean_along_the_opening(drawn):
    # mean of the drawn field over the cone's edge x = 0, by the trapezium rule on the picture's own points
    chamber = drawn.chambers["main"]
    field = field_of(chamber, drawn.network.air)
    x, y, _ = field.whole.points.T
    on = np.flatnonzero((x < 1e-9) & (y >= 0.026 - 1e-9) & (y <= 0.0674 + 1e-9))
    on = on[np.argsort(y[on])]
    for i, row in enumerate(chamber.rows):
        mean = np.trapezoid(field.shape(i, field.whole)[on], y[on]) / 0.0414
        assert row.coupling["cone"] == pytest.approx(mean, abs=3e-3)


def test_openings_are_found_again_on_the_section(drawn):
    edges = field_of(drawn.chambers["main"], drawn.network.air).openings
    length = {name: np.linalg.norm(e[:, 1] - e[:, 0], axis=1).sum() for name, e in edges.items()}
    assert length == pytest.approx({"driver": 0.0414, "nose": 0.00853})
    assert np.all(edges["nose"][..., 0] == pytest.approx(0.122))


def test_a_chamber_without_a_shape_says_why(drawn, tmp_path):
    assert drawn.chambers["tail"].rows == ()
    assert "volume but not its shape" in drawn.chambers["tail"].note
    nowhere = {**SIZED, "ports": {"nose": NOSE}}
    table = airpath.modes(airpath.load(case_file(tmp_path, nowhere)))
    assert table.chambers["main"].note == 'acts as one pressure: the case gives no position for "nose"'
    assert pressure_maps(table, [100.0]) == []


@pytest.mark.parametrize(
    ("coupling", "expected"),
    [
        ({"cone": 0.8, "a": -0.6, "b": 0.5}, 'the cone drives it; "a" and "b" hear it'),
        ({"cone": 0.01, "a": 0.6}, 'the cone can\'t drive it: it sits on its pressure node; "a" hears it'),
        ({"cone": -0.9, "a": 0.0}, 'the cone drives it; "a" can\'t hear it: it sits on its pressure node'),
        ({"cone": -0.9, "a": 0.0, "b": 0.04},
         'the cone drives it; "a" and "b" can\'t hear it: they sit on its pressure node'),
        ({"cone front": 0.1, "cone rear": 0.4}, "the cone's front drives it weakly; the cone's rear drives it"),
        ({"a": 0.0, "b": 0.0}, 'nothing drives or hears it: "a" and "b" sit on its pressure node'),
        ({"conduit": 0.2, "b": 0.7}, '"b" hears it; "conduit" hears it weakly'),
    ],
)  # fmt: skip
def test_words(coupling, expected):
    assert words(coupling) == expected


def mean_over(grid, values):
    """Mean over a grid of cells: the corners' mean, weighted with the cell's size."""
    corners = grid.points[grid.cells]
    flat = grid.cell == "triangle"
    sides = corners[:, 1:, :2] - corners[:, :1, :2] if flat else corners[:, [1, 3, 4]] - corners[:, :1]
    size = np.abs(np.linalg.det(sides))
    return np.sum(values[grid.cells].mean(axis=1) * size) / size.sum()


@pytest.mark.parametrize("which", ["sized", "drawn"])
def test_mean_of_a_map_is_what_the_flows_compress(which, request):
    # the air takes up all that flows in: sum(U) = j w kappa V p, with Kuttruff's layer on the walls in kappa
    table = request.getfixturevalue(which)
    field = field_of(table.chambers["main"], table.network.air)
    volume, surface = (0.12 * 0.1 * 0.133, 2 * (0.012 + 0.0133 + 0.01596))
    if which == "drawn":
        area = 0.122 * 0.102 - 0.006 * 0.064
        volume, surface = area * 0.133, 2 * area + 0.133 * (2 * (0.122 + 0.102) + 2 * 0.064) - 0.133 * 0.04993
    for found in pressure_maps(table, [40.0, 200.0]):
        omega = 2 * np.pi * np.array([found.frequency_hz])
        kappa = chamber_compressibility(volume, surface, omega, table.network.air)[0]
        expected = found.flows.sum() / (1j * omega[0] * kappa * volume)
        assert found.mean == pytest.approx(expected, rel=1e-3)
        assert mean_over(field.whole, field.pressure(found, field.whole)) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(("which", "highest", "within"), [("sized", 1300.0, 1e-9), ("drawn", 300.0, 1e-3)])
def test_mean_of_a_map_is_the_chamber_pressure_of_the_network(which, highest, within, request):
    # the network's mean takes the walls' layers to see the mean pressure; near a drawn chamber's first mode, where the
    # walls see another pressure, the two differ by the loss there (0.2 % at 800 Hz)
    table = request.getfixturevalue(which)
    expected = airpath.solve(table.case, "field", [40.0, 200.0, highest]).chambers["main"]
    found = [m.mean for m in pressure_maps(table, [40.0, 200.0, highest])]
    assert found == pytest.approx(list(expected), rel=within)


@pytest.mark.parametrize("shape", [{"size": ["120 mm", "100 mm", "133 mm"]}, {"outline": "fold.toml"}])
def test_a_closed_chamber_small_against_the_wavelength_has_one_pressure(shape, tmp_path):
    # only the cone moves air; what the pressure differs by is the inertia of that air, and grows with w^2
    driver = SIZED["driver"] if "size" in shape else DRIVER
    sweep = {"start": "8 Hz", "stop": "1 kHz", "points_per_octave": 6}
    data = {**SIZED, "driver": driver, "chambers": {"main": shape}, "ports": {}, "sweep": sweep}
    case = airpath.load(case_file(tmp_path, data))
    table = airpath.modes(case)
    field = field_of(table.chambers["main"], table.network.air)
    found = pressure_maps(table, [8.0, 16.0])
    apart = [np.abs(field.pressure(m, field.whole) / m.mean - 1).max() for m in found]
    assert apart[0] < 1e-3
    assert apart[1] / apart[0] == pytest.approx(4.0, rel=0.02)
    # and it is the pressure that the network gives to the lumped box, whose cone moves as freely
    lumped = airpath.solve(case, "lumped", [8.0]).chambers["main"][0]
    assert found[0].mean == pytest.approx(lumped, rel=1e-3)


@pytest.mark.parametrize("frequency", [19.0, 2501.0])
def test_a_map_outside_the_sweep_is_refused(sized, frequency):
    with pytest.raises(CaseError, match=r"outside the sweep: choose from 20 Hz to 2500 Hz"):
        pressure_maps(sized, [100.0, frequency])


@pytest.mark.parametrize("which", ["sized", "drawn"])
def test_vtu_reads_back(which, request, tmp_path):
    import meshio

    table = request.getfixturevalue(which)
    files = write_modes(table, pressure_maps(table, [160.0]), tmp_path / "out", vtu=True)
    (path,) = [file for file in files if file.suffix == ".vtu"]
    back, chamber = meshio.read(path), table.chambers["main"]
    field = field_of(chamber, table.network.air)
    assert back.points == pytest.approx(field.whole.points)
    assert len(back.point_data) == len(chamber.rows) + 2
    first = back.point_data[f"mode 1, {chamber.rows[0].frequency_hz:.6g} Hz"]
    assert first == pytest.approx(field.shape(0, field.whole))
    corners = back.points[back.cells[0].data]
    if which == "sized":  # right-handed hexahedra that fill the chamber
        sides = corners[:, [1, 3, 4]] - corners[:, :1]
        assert np.linalg.det(sides).sum() == pytest.approx(0.12 * 0.1 * 0.133)
    else:
        area = np.abs(np.linalg.det(corners[:, 1:, :2] - corners[:, :1, :2])).sum() / 2
        assert area == pytest.approx(0.122 * 0.102 - 0.006 * 0.064)


def test_the_command_writes_pictures_and_says_what_drives_what(tmp_path, capsys):
    out = tmp_path / "report"
    arguments = ["modes", str(case_file(tmp_path, SIZED)), "--at", "160 Hz", "--at", "1.3 kHz", "--out", str(out)]
    assert main(arguments) == 0
    printed = capsys.readouterr()
    assert printed.err == ""
    assert 'the cone drives it' in printed.out
    names = {file.name for file in out.iterdir()}
    assert names == {"modes.json", "main-modes-1.png", "main-map-160-hz.png", "main-map-1300-hz.png"}
    for name in names - {"modes.json"}:
        data = (out / name).read_bytes()
        assert data.startswith(b"\x89PNG") and min(struct.unpack(">II", data[16:24])) > 300
    assert [m["frequency_hz"] for m in json.loads((out / "modes.json").read_text())["maps"]] == [160.0, 1300.0]


def test_a_solid_mesh_has_fields_but_no_pictures(tmp_path, capsys):
    mesh = Path(__file__).parents[2] / "meshes" / "lantern-slot.msh"
    data = {**SIZED, "driver": DRIVER, "chambers": {"main": {"outline": str(mesh)}}, "ports": {"nose": NOSE},
            "sweep": {"start": "20 Hz", "stop": "1.4 kHz", "points_per_octave": 6}}  # fmt: skip
    out = tmp_path / "report"
    assert main(["modes", str(case_file(tmp_path, data)), "--at", "160 Hz", "--vtu", "--out", str(out)]) == 0
    assert {file.name for file in out.iterdir()} == {"modes.json", "main-fields.vtu"}
    assert "a solid mesh has no section to picture" in capsys.readouterr().out


@pytest.mark.parametrize(("changes", "sentence"), [
    ({"chambers": {"main": {"volume": "1.6 L"}}, "ports": {"nose": NOSE}}, "No chamber has a shape, so there is no"),
    ({"driver": {**DRIVER, "rear": "line"}, "chambers": {}, "ports": {}, "horns": {
        "line": {"profile": "conical", "throat": "60 cm^2", "mouth": "90 cm^2", "length": "900 mm"}}},
     "The case has no chamber"),
])  # fmt: skip
def test_nothing_to_show_is_said(changes, sentence, tmp_path, capsys):
    path = case_file(tmp_path, {**DRAWN, **changes})
    assert main(["modes", str(path), "--at", "160 Hz", "--out", str(tmp_path / "report")]) == 0
    assert sentence in capsys.readouterr().out


def test_a_sheet_is_as_large_as_its_pictures(drawn):
    """One mode alone gets no empty columns; a section lower than wide leaves no band below it."""
    chamber = drawn.chambers["main"]
    (_, whole), *_ = fields.mode_figures(chamber, field_of(chamber, drawn.network.air))
    (_, alone), *_ = fields.mode_figures(replace(chamber, rows=chamber.rows[:1]), field_of(chamber, drawn.network.air))
    assert len(alone.axes) == 1
    lines = -(-len(whole.axes) // 3)
    assert whole.get_size_inches()[1] < 2.3 * lines + 0.9


def test_json_alone_writes_nothing(tmp_path, capsys, monkeypatch):
    path = case_file(tmp_path, SIZED)
    monkeypatch.chdir(tmp_path)
    before = set(tmp_path.iterdir())
    assert main(["modes", str(path), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    (mode, *_) = result["chambers"]["main"]["modes"]
    assert mode["order"] == [0, 0, 1] and set(mode["coupling"]) == {"cone", "nose"}
    assert set(tmp_path.iterdir()) == before


@pytest.mark.parametrize(
    ("at", "message"),
    [("19 Hz", "outside the sweep"), ("160", "frequency"), ("160 mm", "frequency"), ("loud", "frequency")],
)
def test_wrong_frequencies_get_one_message_and_no_folder(at, message, tmp_path, capsys):
    out = tmp_path / "report"
    assert main(["modes", str(case_file(tmp_path, SIZED)), "--at", at, "--out", str(out)]) == 2
    error = capsys.readouterr().err
    assert message in error and error.count("\n") == 1
    assert not out.exists()


def test_at_most_forty_modes_are_pictured(tmp_path, capsys, monkeypatch):
    path = case_file(tmp_path, {**SIZED, "sweep": {"start": "20 Hz", "stop": "8 kHz", "points_per_octave": 6}})
    table = airpath.modes(airpath.load(path))
    chamber = table.chambers["main"]
    assert len(chamber.rows) > fields.PICTURED
    sheets = list(fields.mode_figures(chamber, field_of(chamber, table.network.air)))
    shown = [panel for _, figure in sheets for panel in figure.axes if panel.get_visible()]
    assert len(shown) == fields.PICTURED == 40
    assert f"37 to 40 of {len(chamber.rows)}" in sheets[-1][1].get_suptitle()
    monkeypatch.chdir(tmp_path)
    assert main(["modes", str(path), "--json"]) == 0
    assert len(json.loads(capsys.readouterr().out)["chambers"]["main"]["modes"]) == len(chamber.rows)


def test_pictures_leave_the_settings_of_others_alone(drawn, tmp_path):
    before = dict(mpl.rcParams)
    write_modes(drawn, [], tmp_path / "out")
    assert dict(mpl.rcParams) == before


def test_a_folder_is_written_whole_or_not_at_all(tmp_path):
    out = tmp_path / "out"
    write_whole({"a.txt": b"1"}, out)
    (out / "b.txt").mkdir()
    with pytest.raises(AirpathError, match=r"b\.txt is a folder"):
        write_whole({"a.txt": b"2", "b.txt": b"2"}, out)
    assert (out / "a.txt").read_bytes() == b"1"
    assert sorted(file.name for file in out.iterdir()) == ["a.txt", "b.txt"]
    with pytest.raises(AirpathError, match="not a folder"):
        write_whole({"x": b""}, out / "a.txt")


def test_what_is_no_file_is_not_replaced(tmp_path):
    """A device or a pipe named as a target would be gone: `--out` of driver and scale names a file."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(AirpathError, match="pipe is no file there"):
        write_whole({"pipe": b"1"}, tmp_path)
    assert (tmp_path / "pipe").is_fifo()
    assert [path.name for path in tmp_path.iterdir()] == ["pipe"]


def test_standing_waves_are_of_the_field_model(tmp_path, capsys):
    sized = str(case_file(tmp_path, SIZED))
    assert main(["modes", sized, "--model", "field", "--json"]) == 0
    table = json.loads(capsys.readouterr().out)
    assert main(["modes", sized, "--json"]) == 0
    assert table == json.loads(capsys.readouterr().out)
    assert main(["modes", sized, "--model", "line", "--json"]) == 2
    assert 'those of the field model, not of "line"' in capsys.readouterr().err
