"""Drawings: units, layers and arcs of DXF files, and one message for every bad one."""

import math
from contextlib import suppress
from pathlib import Path

import ezdxf
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from airpath.errors import GeometryError
from airpath.field.drawing import arc_points
from airpath.field.outlinefile import load_outline

MESHES = Path(__file__).parents[2] / "meshes"
BOX = [(0, 0), (120, 0), (120, 100), (0, 100)]


@pytest.fixture
def sheet(tmp_path):
    return Sheet(tmp_path / "box.dxf")


class Sheet:
    """A drawing of the box, to be spoilt and read back."""

    def __init__(self, path, units=4):
        self.path, self.document = path, ezdxf.new("R2010", units=units)
        self.space = self.document.modelspace()

    def walls(self, points=BOX, close=True, format="xy", **attributes):
        attributes["layer"] = "WALL"
        return self.space.add_lwpolyline(points, format, close=close, dxfattribs=attributes)

    def line(self, start=(0, 20), end=(0, 60), layer="nose"):
        return self.space.add_line(start, end, dxfattribs={"layer": layer})

    def read(self, **options):
        self.document.saveas(self.path)
        return load_outline(self.path, **{"depth_m": 0.133, **options})

    def message(self, **options):
        with pytest.raises(GeometryError) as caught:
            self.read(**options)
        return str(caught.value)


def test_the_drawn_horn_is_the_written_horn():
    written, drawn = (
        load_outline(MESHES / "fog-signal.toml"),
        load_outline(MESHES / "fog-signal.dxf", depth_m=0.18),
    )
    np.testing.assert_allclose(drawn.points, written.points, atol=1e-9)
    np.testing.assert_allclose(drawn.centreline, written.centreline, atol=1e-9)
    assert drawn.openings.keys() == written.openings.keys()
    assert drawn.flattened == 0.0


@pytest.mark.parametrize(("code", "metres"), [(1, 0.0254), (4, 1e-3), (5, 1e-2)])
def test_the_unit_comes_from_the_header(tmp_path, code, metres):
    sheet = Sheet(tmp_path / "u.dxf", units=code)
    sheet.walls()
    sheet.line()
    assert sheet.read().area() == pytest.approx(12000 * metres**2, rel=1e-12)


def test_a_unitless_drawing_needs_the_unit_said(tmp_path):
    sheet = Sheet(tmp_path / "u.dxf", units=0)
    sheet.walls()
    sheet.line()
    assert "$INSUNITS = 0" in sheet.message()
    assert sheet.read(unit="mm").area() == pytest.approx(0.012)


def test_lines_and_arcs_that_meet_end_to_end_are_a_wall(sheet):
    # a rectangle 100 x 60 with a half disc of radius 30 on its right
    for start, end in [((100, 0), (0, 0)), ((0, 0), (0, 60)), ((100, 60), (0, 60))]:
        sheet.line(start, end, "WALL")
    sheet.space.add_arc((100, 30), 30, 270, 90, dxfattribs={"layer": "WALL"})
    sheet.line()
    outline = sheet.read()
    assert outline.area() == pytest.approx((100 * 60 + math.pi * 30**2 / 2) * 1e-6, rel=1e-9)
    assert outline.flattened == 0.05e-3


@pytest.mark.parametrize("old", [False, True], ids=["LWPOLYLINE", "POLYLINE"])
def test_bulges_bend_to_the_left_of_their_way(sheet, old):
    # bulge 1 is a half circle; on a counter-clockwise outline it adds a half disc
    points = [(0, 0, 0), (100, 0, 1), (100, 60, 0), (0, 60, 0)]
    add = sheet.space.add_polyline2d if old else sheet.space.add_lwpolyline
    add(points, format="xyb", close=True, dxfattribs={"layer": "WALL"})
    sheet.line()
    assert sheet.read().area() == pytest.approx((6000 + math.pi * 30**2 / 2) * 1e-6, rel=1e-9)


def test_a_circle_inside_is_a_hole(sheet):
    sheet.walls()
    sheet.space.add_circle((60, 50), 20, dxfattribs={"layer": "wall"})
    sheet.line()
    outline = sheet.read()
    assert len(outline.holes) == 1
    assert outline.area() == pytest.approx((12000 - math.pi * 400) * 1e-6, rel=1e-9)


def test_a_mirrored_arc_is_drawn_where_the_drawing_shows_it(sheet):
    entity = sheet.walls([(0, 0), (-120, 0), (-120, 100), (0, 100)], extrusion=(0, 0, -1))
    assert entity.ocs().to_wcs((-120, 0, 0)).x == pytest.approx(120)
    sheet.line()
    assert sheet.read().points[:, 0].min() >= 0.0


@pytest.mark.parametrize("sweep", [0.3, math.pi / 2, 3.0, -2.0])
def test_chords_keep_the_area_and_stay_near_the_arc(sweep):
    chord = 0.05
    points = arc_points(np.zeros(2), 30.0, 0.4, sweep, chord)
    fan = 0.5 * np.sum(points[:-1, 0] * points[1:, 1] - points[1:, 0] * points[:-1, 1])
    assert fan == pytest.approx(0.5 * 30.0**2 * sweep, rel=1e-12)
    middles = 0.5 * (points[1:] + points[:-1])
    off = np.abs(np.linalg.norm(np.concatenate([points, middles]), axis=1) - 30.0)
    assert off.max() <= chord
    np.testing.assert_allclose(np.linalg.norm(points[[0, -1]], axis=1), 30.0)


def test_annotation_and_helper_points_are_no_openings(sheet):
    sheet.walls()
    sheet.line()
    sheet.space.add_text("throat here", dxfattribs={"layer": "notes"})
    sheet.line((5, 5), (6, 6), "Defpoints")
    assert list(sheet.read().openings) == ["nose"]


def test_axisymmetric_drawings_take_no_depth(sheet):
    sheet.walls()
    sheet.line()
    outline = sheet.read(kind="axisymmetric", depth_m=None)
    assert outline.volume() == pytest.approx(math.pi * 0.1**2 * 0.12, rel=1e-12)
    assert "needs its depth" in sheet.message(depth_m=None)


def spoil_gap(s):
    s.walls([*BOX, (0, 0.1)], close=False)


def spoil_two_boundaries(s):
    s.walls()
    s.walls([(200, 0), (260, 0), (260, 50)])


def spoil_two_throats(s):
    s.walls()
    s.line(layer="throat")
    s.line((120, 20), (120, 60), layer="throat")


def spoil_wrong_layer(s):
    s.space.add_lwpolyline(BOX, close=True, dxfattribs={"layer": "boards"})


def spoil_spline(s):
    s.walls()
    s.space.add_spline([(0, 0), (50, 20), (80, 0)], dxfattribs={"layer": "WALL"})


def spoil_bent_opening(s):
    s.walls()
    s.space.add_lwpolyline([(0, 20), (5, 40), (0, 60)], dxfattribs={"layer": "mouth"})


def spoil_off_wall(s):
    s.walls()
    s.line((30, 20), (30, 60))


def spoil_layer_zero(s):
    s.walls()
    s.line(layer="0")


def spoil_no_opening(s):
    s.walls()


def spoil_crossing(s):
    s.walls([(0, 0), (120, 100), (120, 0), (0, 100)])
    s.line()


def spoil_huge_arc(s):
    s.walls([(0, 0, 1e-9), (120, 0, 0), (120, 100, 1e12)], format="xyb")


def spoil_centre(s):
    s.walls()
    s.line()
    s.line((10, 10), (20, 20), "CENTRE")
    s.line((30, 30), (40, 40), "CENTRE")


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (spoil_gap, ["open at (0, 0.1) mm", "0.1 mm away"]),
        (spoil_two_boundaries, ["two outer boundaries", "(200, 0) mm"]),
        (spoil_two_throats, ["'throat' holds 2 lines", "(120, 20) mm"]),
        (spoil_wrong_layer, ["nothing is drawn on layer WALL", "boards"]),
        (spoil_spline, ["SPLINE", "'WALL'"]),
        (spoil_bent_opening, ["'mouth'", "(0, 20) mm", "one straight line"]),
        (spoil_off_wall, ["'nose'", "(30, 20) mm", "away"]),
        (spoil_layer_zero, ["layer 0", "(0, 20) mm"]),
        (spoil_no_opening, ["no named opening"]),
        (spoil_crossing, ["crosses", "(60, 50) mm"]),
        (spoil_huge_arc, ["'WALL'", "an arc of radius"]),
        (spoil_centre, ["CENTRE", "(20, 20) mm"]),
    ],
)
def test_each_bad_drawing_gets_one_message_that_says_where(sheet, spoil, words):
    spoil(sheet)
    message = sheet.message()
    assert message.startswith("box.dxf: ")
    for word in words:
        assert word in message


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_damaged_drawings_give_an_outline_or_one_error(tmp_path, data):
    whole = (MESHES / "fog-signal.dxf").read_bytes()
    start = data.draw(st.integers(0, len(whole) - 1))
    junk = data.draw(st.one_of(st.binary(max_size=30), st.text("0123456789.-\n ", max_size=30).map(str.encode)))
    path = tmp_path / "damaged.dxf"
    path.write_bytes(whole[:start] + junk + whole[start + data.draw(st.integers(0, 200)) :])
    with suppress(GeometryError):
        assert load_outline(path, depth_m=0.18).area() > 0.0


@pytest.mark.parametrize("content", [b"", b"\x00" * 50, b"nonsense", b"AutoCAD Binary DXF\r\n\x1a\x00\x00"])
def test_files_that_are_no_drawing_are_refused(tmp_path, content):
    (tmp_path / "x.dxf").write_bytes(content)
    with pytest.raises(GeometryError, match=r"^x\.dxf: not readable as a DXF drawing"):
        load_outline(tmp_path / "x.dxf", depth_m=0.1)
