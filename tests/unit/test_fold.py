"""``airpath fold``: folds found, areas compared, boards moved and solved again, words, page and result."""

import json
from pathlib import Path

import numpy as np
import pytest

import airpath
import airpath.findings.folding.boards as boards_module
import airpath.findings.folding.fold as fold_module
from airpath.cli.main import main
from airpath.errors import CaseError
from airpath.field.centreline import middle_line
from airpath.field.folds import bends
from airpath.field.outline import make_outline
from airpath.field.outlinefile import load_outline
from airpath.field.potential import horn_of, path_mesh, solve_potential
from airpath.field.reshape import moved
from airpath.field.sides import sides_of
from airpath.field.stretch import cut_out, reflection
from airpath.findings.folding.boards import mean_areas
from airpath.findings.folding.expansion import fits, flare_rate, stretch_rates
from airpath.findings.folding.ways import field_way

MESHES = Path(__file__).parents[2] / "meshes"
CASES = Path(__file__).parents[2] / "cases"


@pytest.fixture(scope="module")
def fog():
    return airpath.fold(MESHES / "fog-signal.toml", at=[110.0])


@pytest.fixture(scope="module")
def pipe():
    return airpath.fold(MESHES / "u-bend.toml")


def study(outline):
    sides, mesh = sides_of(outline), path_mesh(outline)
    found = solve_potential(mesh)
    horn = horn_of(found, outline.opening_area("throat"), outline.opening_area("mouth"))
    return sides, found, middle_line(sides, mesh, found, horn.potential)


def planar(points, throat, mouth, **more):
    return make_outline(kind="planar", depth=0.1, points=points, openings={"throat": throat, "mouth": mouth}, **more)


def test_three_folds_are_numbered_from_the_throat(fog):
    assert [row.number for row in fog.rows] == [1, 2, 3]
    assert [row.turn_deg > 0 for row in fog.rows] == [True, False, True]
    assert all(a.at_m < b.at_m for a, b in zip(fog.rows, fog.rows[1:], strict=False))
    tips = [row.restored.move.place * 1e3 for row in fog.rows]
    assert np.array(tips) == pytest.approx(np.array([[345, 54.6], [110, 145.7], [140, 317.5]]), abs=0.1)


def test_drawn_centre_line_overstates_the_path(fog):
    assert fog.centreline.drawn
    assert fog.centreline.length_m == pytest.approx(1.4289, abs=2e-4)  # the sum of its seven drawn pieces
    assert fog.horn.distance_m[-1] < 0.9 * fog.centreline.length_m
    for row in fog.rows:
        assert row.length_m < row.centre_length_m
        assert row.area_m2 > row.centre_area_m2  # air stands still in the outer corners


def test_boards_restore_the_intended_areas(fog):
    """Solved here once more: the outline with all boards moved has the areas that the rows say."""
    boards = [row.restored for row in fog.rows]
    changed = moved(fog.source.outline, [b.move for b in boards], [b.by_m for b in boards])
    found = solve_potential(path_mesh(changed, 1.5))
    for row, turn, board in zip(fog.rows, fog.turns, boards, strict=True):
        ends = np.stack([np.interp(turn.levels, fog.middle.potential, fog.middle.points[:, i]) for i in (0, 1)], axis=1)
        area = mean_areas(found, found.at(ends)[None])[0]
        assert area == pytest.approx(board.area_m2, rel=2e-3)
        assert area == pytest.approx(row.meant_m2, rel=0.015)
        assert abs(row.area_error) > 0.1  # it was off before
        assert f"{abs(board.by_m) * 1e3:.0f} mm" in row.text
        assert "Lengthen the board" in row.text


def test_a_board_never_chokes_its_turn(tmp_path):
    """Two turns much wider than meant: in far enough for the area, the boards would leave gaps so narrow that they turn
    back more sound than the drawing does. Where the boards stop they turn back less.
    """
    (tmp_path / "steps.toml").write_text("""kind = "planar"\ndepth = "200 mm"\nunit = "mm"
points = [[0, 55], [430, 55], [430, 125], [100, 125], [100, 140], [500, 140], [500, 435], [0, 435],
          [0, 265], [360, 265], [360, 250], [0, 250]]
profile = "conical"\nthroat = "140 cm^2"\nmouth = "220 cm^2"\nlength = "1.5 m"
[openings]\nthroat = [[430, 55], [430, 125]]\nmouth = [[0, 265], [0, 435]]\n""")
    found = airpath.fold(tmp_path / "steps.toml")
    boards, air = [row.restored for row in found.rows], found.source.air
    after = study(moved(found.source.outline, [board.move for board in boards], [board.by_m for board in boards]))
    for row, turn, board in zip(found.rows, found.turns, boards, strict=True):
        assert turn.gap_m - board.by_m >= 0.749 * turn.leg_m
        assert board.area_m2 < row.area_m2
        ends = np.stack([np.interp(turn.levels, found.middle.potential, found.middle.points[:, i]) for i in (0, 1)], 1)
        tones = np.linspace(0.1, 0.4, 4) * 343.0 / 0.34
        was = np.abs(reflection(cut_out(found.sides, found.potential, turn.levels), tones, air))
        now = np.abs(reflection(cut_out(after[0], after[1], tuple(after[1].at(ends))), tones, air))
        assert np.all(now < was)
    assert "further in it would choke the turn" in found.rows[-1].text


def test_finer_meshes_change_no_printed_digit(fog, monkeypatch):
    """Half of the last digit shown: lengths 1 mm, areas three digits; boards to the millimetre that they are cut to."""
    for module in (fold_module, boards_module):
        monkeypatch.setattr(module, "path_mesh", lambda outline, refine=1.0, *sharp: path_mesh(outline, 1.7 * refine))
    monkeypatch.setattr(fold_module, "field_way", lambda outline, f, air: field_way(outline, f, air, 1.5))
    fine = airpath.fold(MESHES / "fog-signal.toml", at=[110.0])
    assert fine.horn.distance_m[-1] == pytest.approx(fog.horn.distance_m[-1], abs=0.5e-3)
    assert fine.horn.inertance_length_m == pytest.approx(fog.horn.inertance_length_m, abs=0.5e-3)
    assert fine.profiles[0].cutoff_hz == pytest.approx(fog.profiles[0].cutoff_hz, abs=0.05)
    for new, old in zip(fine.rows, fog.rows, strict=True):
        assert (new.length_m, new.centre_length_m) == pytest.approx((old.length_m, old.centre_length_m), abs=0.5e-3)
        assert (new.area_m2, new.meant_m2) == pytest.approx((old.area_m2, old.meant_m2), rel=2e-3)
        assert new.restored.by_m == pytest.approx(old.restored.by_m, abs=1.01e-3)
    assert np.abs(fine.field.way.impedance / fog.field.way.impedance - 1)[fog.frequency < 343].max() < 3e-3


def test_straight_duct_has_no_fold():
    sides, found, middle = study(planar([[0, 0], [1, 0], [1, 0.1], [0, 0.1]], [[0, 0], [0, 0.1]], [[1, 0], [1, 0.1]]))
    assert bends(sides, found, middle) == []
    assert middle.length_m == pytest.approx(1.0, rel=1e-6)
    assert middle.points[:, 1] == pytest.approx(np.full(len(middle.points), 0.05), abs=1e-6)
    assert middle.area_m2 == pytest.approx(np.full(len(middle.points), 0.01), rel=1e-6)


@pytest.mark.parametrize("mirror", [1, -1])
def test_mitred_corner_gets_a_board_across_its_outer_corner(tmp_path, mirror):
    points = [[0, 0], [0.5, 0], [0.5, 0.5], [0.4, 0.5], [0.4, 0.1], [0, 0.1]]
    text = f"""kind = "planar"\ndepth = "100 mm"\nunit = "m"\npoints = {[[x, mirror * y] for x, y in points]}
[openings]\nthroat = [[0, 0], [0, {mirror * 0.1}]]\nmouth = [[0.4, {mirror * 0.5}], [0.5, {mirror * 0.5}]]\n"""
    (tmp_path / "corner.toml").write_text(text)
    (row,) = airpath.fold(tmp_path / "corner.toml").rows
    assert row.turn_deg == pytest.approx(mirror * 90, abs=8)
    assert row.restored.move.kind == "bevel"
    assert row.restored.move.place == pytest.approx([0.5, 0.0])
    assert 0.01 < row.restored.by_m < 0.1
    assert row.restored.area_m2 == pytest.approx(row.meant_m2, rel=0.015)
    assert "Set a board across the outer corner at (0.5, 0) m" in row.text
    assert ("to the left" if mirror > 0 else "to the right") in row.text


def test_two_corners_with_a_leg_between_are_two_folds():
    """Right-angled twice in one direction, 0.4 m apart: two; back to back round a board: one."""
    apart = planar([[0, 0], [0.5, 0], [0.5, 0.6], [0, 0.6], [0, 0.5], [0.4, 0.5], [0.4, 0.1], [0, 0.1]],
                   [[0, 0], [0, 0.1]], [[0, 0.5], [0, 0.6]])  # fmt: skip
    found = bends(*study(apart))
    assert [round(turn.turn_deg, -1) for turn in found] == [90, 90]
    near = planar([[0, 0], [0.5, 0], [0.5, 0.21], [0, 0.21], [0, 0.11], [0.4, 0.11], [0.4, 0.1], [0, 0.1]],
                  [[0, 0], [0, 0.1]], [[0, 0.11], [0, 0.21]])  # fmt: skip
    assert len(bends(*study(near))) == 1


def test_a_post_in_the_way_keeps_its_own_streamline():
    """Air passes on both sides; no streamline turns round the post, so the middle line is the shorter way past it."""
    post = [[0.45, 0.02], [0.55, 0.02], [0.55, 0.05], [0.45, 0.05]]
    drawn = planar([[0, 0], [1, 0], [1, 0.1], [0, 0.1]], [[0, 0], [0, 0.1]], [[1, 0], [1, 0.1]], holes=[post])
    _, found, middle = study(drawn)
    assert np.all(np.diff(middle.points[:, 0]) > 0)
    beside = middle.points[np.abs(middle.points[:, 0] - 0.5) < 0.05]
    assert beside[:, 1].min() > 0.05
    assert found.volume == pytest.approx(0.1 * (0.1 - 0.1 * 0.03), rel=1e-12)


def test_turned_path_folds_in_its_half_section(tmp_path):
    """A pipe on the axis into a ring around it: half of the flow turns outwards and back."""
    text = """kind = "axisymmetric"\nunit = "mm"
points = [[0, 0], [300, 0], [300, 75], [0, 75], [0, 45], [260, 45], [260, 40], [0, 40]]
[openings]\nthroat = [[0, 0], [0, 40]]\nmouth = [[0, 45], [0, 75]]\n"""
    (tmp_path / "ring.toml").write_text(text)
    found = airpath.fold(tmp_path / "ring.toml")
    (row,) = found.rows
    assert row.turn_deg > 120
    assert found.horn.volume_m3 == pytest.approx(found.source.outline.volume(), rel=1e-9)
    assert found.horn.area_m2[0] == pytest.approx(np.pi * 0.04**2, rel=0.01)
    assert found.horn.area_m2[-1] == pytest.approx(np.pi * (0.075**2 - 0.045**2), rel=0.01)
    assert found.middle.area_m2[-1] == pytest.approx(np.pi * (0.075**2 - 0.045**2), rel=0.02)


def test_a_path_that_narrows_is_called_so(tmp_path):
    (tmp_path / "wedge.toml").write_text("""kind = "planar"\ndepth = "150 mm"\nunit = "mm"
points = [[0, 0], [900, 0], [900, 80], [0, 140]]
[openings]\nthroat = [[0, 0], [0, 140]]\nmouth = [[900, 0], [900, 80]]\n""")
    words = " ".join(airpath.fold(tmp_path / "wedge.toml").text)
    assert "The path narrows from 210 cm² to 120 cm²: it is no horn, and has no cut-off." in words
    assert "hardly widens" not in words
    assert "folds" not in words


def test_profiles_find_themselves():
    x = np.linspace(0, 1.5, 151)
    c = 343.0
    exponential, hyperbolic, conical = fits(x, 0.005 * np.exp(1.8 * x), c)
    assert exponential.misfit < 1e-9
    assert exponential.cutoff_hz == pytest.approx(1.8 * c / (4 * np.pi))
    assert abs(hyperbolic.T - 1.0) < 0.01
    assert conical.misfit > 0.05
    assert flare_rate(x, 0.005 * np.exp(1.8 * x)) == pytest.approx(np.full(151, 1.8), rel=1e-6)
    _, hyperbolic, _ = fits(x, 0.004 * (np.cosh(1.2 * x) + 0.5 * np.sinh(1.2 * x)) ** 2, c)
    assert abs(hyperbolic.T - 0.5) < 1e-3
    assert hyperbolic.cutoff_hz == pytest.approx(1.2 * c / (2 * np.pi), rel=1e-3)
    *_, conical = fits(x, 0.004 * (1 + 1.7 * x) ** 2, c)
    assert conical.misfit < 1e-6
    assert conical.cutoff_hz is None
    assert fits(x, np.full(151, 0.004), c)[0].cutoff_hz is None


def test_flare_outside_folds():
    x = np.linspace(0, 1, 101)
    area = 0.005 * np.exp(np.where(x < 0.5, 2.0 * x, 1.0 + 3.0 * (x - 0.5)))
    assert stretch_rates(x, area, [(0.4, 0.6)]) == pytest.approx([2.0, 3.0])
    assert stretch_rates(x, area, [(0.4, 0.6), (0.62, 1.0)]) == pytest.approx([2.0])  # too short to have a rate


def test_result_keeps_its_contract(fog):
    found = json.loads(json.dumps(fog.to_dict(), allow_nan=False))
    assert found["volume_m3"] == pytest.approx(0.0429, rel=0.01)
    assert len(found["area_m2"]) == len(found["distance_m"])
    assert found["cutoff_hz"] > 0
    assert found["inertance_length_m"] > 0
    assert {"at_m", "area_error", "text"} <= found["folds"][0].keys()
    curves = found["throat_impedance"]
    count = len(curves["frequency_hz"])
    assert 390 <= count <= 410
    for name in ("line", "field", "centreline"):
        assert len(curves[name]["re"]) == len(curves[name]["im"]) == count


def test_pressure_map_starts_from_one_at_the_throat(fog):
    (drawn,) = fog.maps
    matrices = fog.field.model.matrices
    assert drawn.frequency_hz == 110.0
    assert abs(matrices.means[:, matrices.names.index("throat")] @ drawn.pressure) == pytest.approx(1.0)


def test_equivalent_horn_is_nearer_to_the_field_than_the_centre_line(fog, pipe):
    """Below the cross-modes; and the bent pipe rings where its field does, to 1 %."""
    for found in (fog, pipe):
        low = found.frequency < 0.4 * found.cut_on_hz
        off = {
            name: np.abs(np.log(np.abs(way.impedance[low] / found.field.way.impedance[low]))).mean()
            for name, way in (("centre", found.centre), ("line", found.line))
        }
        assert off["line"] < 0.5 * off["centre"]
    low = pipe.frequency < 250
    peaks = [pipe.frequency[np.abs(way.impedance[low]).argmax()] for way in (pipe.line, pipe.field.way)]
    assert peaks[0] == pytest.approx(peaks[1], rel=0.012)


def test_sentences_have_units_and_are_true_for_a_duct(pipe):
    text = " ".join([*pipe.text, *(row.text for row in pipe.rows)])
    assert "it is a duct of 0.499 m" in text
    assert "has no cut-off" in text
    assert "Intended are 0.532 m from 36 cm² to 36 cm²; to the air the path is 6 % shorter than that." in text
    assert "horn of 0" not in text


def test_command_prints_and_writes(tmp_path, capsys):
    assert main(["fold", str(MESHES / "u-bend.toml"), "--out", str(tmp_path / "out"), "--at", "160 Hz"]) == 0
    printed = capsys.readouterr().out
    assert "U-bent pipe" in printed
    assert "Lengthen the board that ends at (200, 66) mm" in printed
    names = {file.name for file in (tmp_path / "out").iterdir()}
    assert {"fold.json", "fold.html", "fold-path.png", "fold-areas.svg", "fold-map-160-hz.png"} <= names
    page = (tmp_path / "out" / "fold.html").read_text()
    assert "http://" not in page
    assert "https://" not in page
    assert "Lengthen the board that ends at (200, 66) mm" in page


def test_json_alone_on_standard_output(capsys):
    assert main(["fold", str(MESHES / "fog-signal.dxf"), "--depth", "180 mm", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert len(found["folds"]) == 3
    assert found["centreline_length_m"] == pytest.approx(1.4289, abs=2e-4)


def test_case_with_a_drawn_horn(fog):
    found = airpath.fold(CASES / "fog-signal-folded.toml")
    assert found.source.horn == "horn"
    assert [drawn.frequency_hz for drawn in found.maps] == [70.0, 110.0, 180.0, 260.0]
    assert found.frequency[0] == pytest.approx(30.0)
    assert found.horn.area_m2 == pytest.approx(fog.horn.area_m2)
    assert [row.restored.by_m for row in found.rows] == [row.restored.by_m for row in fog.rows]


def test_case_without_a_drawn_horn():
    with pytest.raises(CaseError, match=r"rumble-bench\.toml: has no horn with an outline"):
        airpath.fold(CASES / "rumble-bench.toml")
    assert main(["fold", str(CASES / "rumble-bench.toml")]) == 2


def test_outline_of_the_bent_pipe_is_checked():
    assert load_outline(MESHES / "u-bend.toml").opening_area("throat") == pytest.approx(36e-4)
