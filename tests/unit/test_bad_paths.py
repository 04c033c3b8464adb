"""Drawings that are no path: each gets one message that says where, exit status 2, and nothing is written."""

import ezdxf
import pytest

import airpath
from airpath.cli.main import main

PIPE = [(0, 0), (260, 0), (260, 132), (0, 132), (0, 72), (200, 72), (200, 60), (0, 60)]
THROAT, MOUTH = [(0, 0), (0, 60)], [(0, 72), (0, 132)]


def drawing(path, walls=((PIPE, True),), openings=(("throat", THROAT), ("mouth", MOUTH)), layer="WALL", units=4):
    ezdxf.options.write_fixed_meta_data_for_testing = True
    document = ezdxf.new("R2000", units=units)
    space = document.modelspace()
    for points, closed in walls:
        space.add_lwpolyline(points, close=closed, dxfattribs={"layer": layer})
    for name, segment in openings:
        space.add_line(*segment, dxfattribs={"layer": name})
    document.saveas(path)


def outline(path, points=PIPE, throat=THROAT, mouth=MOUTH, more=""):
    lists = [[list(point) for point in part] for part in (points, throat, mouth)]
    path.write_text(
        f'kind = "planar"\nunit = "mm"\ndepth = "60 mm"\npoints = {lists[0]}\n{more}\n'
        f"[openings]\nthroat = {lists[1]}\nmouth = {lists[2]}\n"
    )


def refusal(path, capsys, *options):
    out = path.parent / "out"
    assert main(["fold", str(path), "--out", str(out), *options]) == 2
    assert not out.exists()
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert path.name in said.err
    return said.err


def test_good_ones_pass(tmp_path):
    drawing(tmp_path / "pipe.dxf")
    outline(tmp_path / "pipe.toml")
    assert main(["fold", str(tmp_path / "pipe.dxf"), "--depth", "60 mm", "--json", "--quiet"]) == 0
    assert main(["fold", str(tmp_path / "pipe.toml"), "--json", "--quiet"]) == 0


def test_open_polyline(tmp_path, capsys):
    drawing(tmp_path / "open.dxf", walls=((PIPE[:-1], False),))
    said = refusal(tmp_path / "open.dxf", capsys, "--depth", "60 mm")
    assert "the outline is open at (200, 60) mm: the next end is 208.806 mm away" in said


def test_gap_of_a_tenth_of_a_millimetre_is_named_not_bridged(tmp_path, capsys):
    drawing(tmp_path / "gap.dxf", walls=(([*PIPE, (0, 0.1)], False),))
    said = refusal(tmp_path / "gap.dxf", capsys, "--depth", "60 mm")
    assert "the outline is open at (0, 0.1) mm: the next end is 0.1 mm away" in said


def test_slit_of_a_tenth_of_a_millimetre_is_named(tmp_path, capsys):
    """The board ends 0.1 mm before the far wall: neither a closed path nor a gap that can be modelled."""
    points = [(259.9, y) if x == 200 else (x, y) for x, y in PIPE]
    outline(tmp_path / "slit.toml", points)
    said = refusal(tmp_path / "slit.toml", capsys)
    assert "the outline comes within 0.1 mm of itself at (259.9, " in said


def test_self_crossing(tmp_path, capsys):
    points = [*PIPE[:5], (200, 60), (200, 72), *PIPE[7:]]
    outline(tmp_path / "crossed.toml", points)
    assert "crosses, touches or folds onto itself at (100, 66) mm" in refusal(tmp_path / "crossed.toml", capsys)


def test_walls_on_another_layer(tmp_path, capsys):
    drawing(tmp_path / "layer.dxf", layer="BOARDS")
    said = refusal(tmp_path / "layer.dxf", capsys, "--depth", "60 mm")
    assert "nothing is drawn on layer WALL" in said
    assert "BOARDS at (0, 0)" in said


def test_two_throats(tmp_path, capsys):
    openings = (("throat", THROAT), ("throat", [(260, 20), (260, 40)]), ("mouth", MOUTH))
    drawing(tmp_path / "twice.dxf", openings=openings)
    said = refusal(tmp_path / "twice.dxf", capsys, "--depth", "60 mm")
    assert "layer 'throat' holds 2 lines, one at (0, 0) mm and one at (260, 20) mm" in said
    outline(tmp_path / "twice.toml")
    text = (tmp_path / "twice.toml").read_text()
    (tmp_path / "twice.toml").write_text(text + "throat = [[260, 20], [260, 40]]\n")
    assert "line 9" in refusal(tmp_path / "twice.toml", capsys)


def test_throat_off_the_wall(tmp_path, capsys):
    outline(tmp_path / "off.toml", throat=[(10, 0), (10, 60)])
    said = refusal(tmp_path / "off.toml", capsys)
    assert "opening 'throat' (10, 0) mm to (10, 60) mm, leaves the outline between" in said
    outline(tmp_path / "away.toml", throat=[(-5, 0), (-5, 60)])
    assert "its end (-5, 0) mm is 5 mm away from the outline" in refusal(tmp_path / "away.toml", capsys)


def test_units_missing(tmp_path, capsys):
    drawing(tmp_path / "unit.dxf", units=0)
    said = refusal(tmp_path / "unit.dxf", capsys, "--depth", "60 mm")
    assert "the drawing's unit is not set" in said
    assert "(0, 0) to (260, 132)" in said
    outline(tmp_path / "unit.toml")
    text = (tmp_path / "unit.toml").read_text()
    (tmp_path / "unit.toml").write_text(text.replace('unit = "mm"\n', ""))
    assert "unit is missing; expected one of mm, cm, m, in, ft" in refusal(tmp_path / "unit.toml", capsys)


def test_depth_missing(tmp_path, capsys):
    drawing(tmp_path / "flat.dxf")
    assert '--depth "180 mm"' in refusal(tmp_path / "flat.dxf", capsys)


def test_mouth_behind_a_closed_board(tmp_path, capsys):
    """A board from wall to wall, as part of the outline and as a piece of its own."""
    points = [(260, y) if x == 200 else (x, y) for x, y in PIPE]
    outline(tmp_path / "closed.toml", points)
    assert "crosses, touches or folds onto itself at (260, " in refusal(tmp_path / "closed.toml", capsys)
    outline(tmp_path / "board.toml", more="holes = [[[100, 0], [106, 0], [106, 60], [100, 60]]]")
    assert "crosses, touches or folds onto itself at (106, 0) mm" in refusal(tmp_path / "board.toml", capsys)


def test_mouth_that_is_not_there(tmp_path, capsys):
    drawing(tmp_path / "nose.dxf", openings=(("throat", THROAT), ("nose", MOUTH)))
    said = refusal(tmp_path / "nose.dxf", capsys, "--depth", "60 mm")
    assert 'no opening "mouth"' in said
    assert "nose at (0, 72) mm" in said


def test_throat_beside_mouth(tmp_path, capsys):
    square = [(0, 0), (100, 0), (100, 100), (0, 100)]
    outline(tmp_path / "touch.toml", square, [(0, 0), (100, 0)], [(100, 0), (100, 100)])
    said = refusal(tmp_path / "touch.toml", capsys)
    assert "throat and mouth touch at (100, 0) mm" in said


def test_centre_line_through_a_board_or_not_to_the_mouth(tmp_path, capsys):
    outline(tmp_path / "through.toml", more="centreline = [[0, 30], [100, 30], [100, 102], [0, 102]]")
    said = refusal(tmp_path / "through.toml", capsys)
    assert "the centre line leaves the path at (100, 60" in said
    outline(tmp_path / "short.toml", more="centreline = [[0, 30], [230, 30], [230, 102], [150, 102]]")
    said = refusal(tmp_path / "short.toml", capsys)
    assert "the centre line ends at (150, 102) mm, 150 mm from the mouth" in said


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ('throat = "36 cm^2"', "throat goes with a profile"),
        ('profile = "tractrix"', "profile is 'tractrix'; expected one of conical, exponential, hyperbolic"),
        ('profile = "conical"\nthroat = "36 cm^2"\nmouth = "36 cm^2"', "length is missing"),
        ('profile = "conical"\nthroat = 36\nmouth = "36 cm^2"\nlength = "1 m"', "throat is 36: expected a quantity"),
        ('profile = "conical"\nthroat = "36 mm"\nmouth = "36 cm^2"\nlength = "1 m"', "throat is '36 mm'"),
    ],
)
def test_intended_profile_that_is_none(tmp_path, capsys, more, said):
    outline(tmp_path / "meant.toml", more=more)
    assert said in refusal(tmp_path / "meant.toml", capsys)


def test_options_that_do_not_fit(tmp_path, capsys):
    outline(tmp_path / "pipe.toml")
    assert "states its own kind, depth and unit" in refusal(tmp_path / "pipe.toml", capsys, "--depth", "60 mm")
    assert 'leave out the horn "nose"' in refusal(tmp_path / "pipe.toml", capsys, "--horn", "nose")
    assert main(["fold", str(tmp_path / "pipe.toml"), "--at", "loud"]) == 2
    assert '--at "loud"' in capsys.readouterr().err
    said = refusal(tmp_path / "pipe.toml", capsys, "--at", "100 kHz")
    assert 'a pressure map at "100000 Hz" makes no sense here: choose from 1 Hz to 20000 Hz' in said
    for name in ("missing.toml", "missing.dxf"):
        assert main(["fold", str(tmp_path / name)]) == 2
        assert f"{name}: can't be read: " in capsys.readouterr().err


@pytest.mark.parametrize("depth", ["", 'outline_depth = "60 mm"'])
def test_a_drawing_without_depth_is_said_to_be_turned(depth, tmp_path):
    """A case may mean it; one who forgot the depth has to see it."""
    drawing(tmp_path / "pipe.dxf")
    (tmp_path / "try.toml").write_text(
        'tones = ["60 Hz"]\n[driver]\nfs = "62 Hz"\nQms = 4.1\nQes = 0.52\nVas = "1.9 L"\nSd = "55 cm^2"\n'
        'Re = "3.4 ohm"\n'
        f'rear = "main"\n[chambers.main]\nvolume = "6 L"\n[horns.bend]\nfrom = "main"\noutline = "pipe.dxf"\n{depth}\n'
    )
    warnings = airpath.predict(airpath.load(tmp_path / "try.toml"), ("lumped",)).warnings
    said = "Drawing: pipe.dxf (bend) is turned about y = 0, as it has no outline_depth; a flat one needs it."
    assert (said in warnings) is (not depth)
