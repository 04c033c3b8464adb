"""Outlines: measures against closed forms, and one clear message for every bad one."""

import tomllib
from contextlib import suppress
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from airpath.errors import GeometryError
from airpath.field.outline import make_outline
from airpath.field.outlinefile import _KEYS, load_outline, parse_outline

MESHES = Path(__file__).parents[2] / "meshes"
BOX = "[[0, 0], [120, 0], [120, 100], [0, 100]]"
HEAD = 'kind = "planar"\nunit = "mm"\ndepth = "133 mm"\n'
METRES = HEAD.replace('"mm"', '"m"')
HOLE = "[openings]\nnose = [[0, 20], [0, 60]]\n"


def text(points=BOX, head=HEAD, openings=HOLE, extra=""):
    return f"{head}points = {points}\n{extra}\n{openings}"


def refused(written):
    with pytest.raises(GeometryError) as caught:
        parse_outline(written)
    return str(caught.value)


def test_measures_of_a_planar_box_with_a_hole():
    outline = parse_outline(text(extra="holes = [[[40, 40], [60, 40], [60, 60], [40, 60]]]"))
    assert outline.area() == pytest.approx(0.12 * 0.1 - 0.02**2, rel=1e-12)
    assert outline.volume() == pytest.approx(outline.area() * 0.133, rel=1e-12)
    assert outline.opening_area("nose") == pytest.approx(0.04 * 0.133, rel=1e-12)


def test_measures_of_a_cone_frustum_are_the_textbook_ones():
    r1, r2, h = 0.03, 0.1, 0.2
    outline = make_outline(
        kind="axisymmetric", points=[[0, 0], [h, 0], [h, r2], [0, r1]],
        openings={"throat": [[0, 0], [0, r1]], "ring": [[h, 0.04], [h, 0.06]]},
    )  # fmt: skip
    assert outline.volume() == pytest.approx(np.pi * h / 3 * (r1**2 + r1 * r2 + r2**2), rel=1e-12)
    assert outline.opening_area("throat") == pytest.approx(np.pi * r1**2, rel=1e-12)
    assert outline.opening_area("ring") == pytest.approx(np.pi * (0.06**2 - 0.04**2), rel=1e-12)


def test_a_clockwise_or_explicitly_closed_polygon_is_the_same_outline():
    plain = parse_outline(text())
    for points in ("[[0, 100], [120, 100], [120, 0], [0, 0]]", BOX[:-1] + ", [0, 0]]"):
        assert parse_outline(text(points)).area() == pytest.approx(plain.area(), rel=1e-12)
    assert plain.area() > 0.0


def test_an_opening_splits_its_edge_and_may_run_over_collinear_corners():
    outline = parse_outline(text("[[0, 0], [120, 0], [120, 100], [0, 100], [0, 40]]"))
    assert len(outline.points) == 7
    assert outline.opening_area("nose") == pytest.approx(0.04 * 0.133)


def test_units_scale_the_same_shape():
    centimetres = text(
        "[[0, 0], [12, 0], [12, 10], [0, 10]]",
        HEAD.replace('"mm"', '"cm"'),
        "[openings]\nn = [[0, 2], [0, 6]]",
    )
    assert parse_outline(centimetres).area() == pytest.approx(0.012)


@pytest.mark.parametrize(
    ("written", "words"),
    [
        (text("[[0, 0], [120, 100], [120, 0], [0, 100]]"), ["crosses", "(60, 50) mm"]),
        (text("[[0, 0], [120, 0], [120, 0], [120, 100], [0, 100]]"), ["twice", "(120, 0) mm"]),
        (text("[[0, 0], [120, 0], [120, 100], [120, 50], [0, 100]]"), ["folds", "(120, 100) mm"]),
        (text("[[0, 0], [120, 0], [120, 100], [60, 0.1], [0, 100]]"), ["within 0.1 mm", "(60, 0.1) mm"]),
        (text("[[0, 0], [120, 0], [120, 90], [60.2, 90], [60.2, 50], [60, 50], [60, 90], [0, 90]]"), ["0.2 mm"]),
        (text("[[0, 0], [20, 0], [20, 90], [12, 90], [10, 0.2], [8, 90], [0, 90]]"), ["0.2 mm", "(10, 0.2) mm"]),
        (text("[[0, 0], [120, 0], [60, 0]]"), ["folds"]),
        (text("[[0, 0], [0.12, 0], [0.12, 0.1], [0, 0.1]]"), ["0.00012 m across", 'unit = "m" meant']),
        (text("[[0, 0], [300, 0], [300, 100], [0, 100]]", METRES), ["300 m across", '"mm" meant']),
        (text(extra="holes = [[[40, 40], [140, 40], [140, 60], [40, 60]]]"), ["crosses", "(120, 40) mm"]),
        (text(extra="holes = [[[240, 40], [260, 40], [260, 60], [240, 60]]]"), ["hole", "outside", "mm"]),
        (text(extra="holes = [[[20, 20], [90, 20], [90, 90]], [[70, 30], [80, 30], [80, 40]]]"), ["another hole"]),
        (text(extra="holes = [[[40, 40], [60, 40]]]"), ["holes", "at least 3"]),
        (text(openings=""), ["no named opening"]),
        (text(openings='[openings]\n"" = [[0, 20], [0, 60]]'), ["(0, 20) mm", "empty name"]),
        (text(openings=HOLE + "slot = [[0, 60], [0, 20]]"), ["'nose'", "'slot'", "overlap", "(0, 40) mm"]),
        (text(openings=HOLE + "slot = [[0, 50], [0, 70]]"), ["overlap", "(0, 55) mm"]),
        (text(openings="[openings]\nnose = [[30, 20], [30, 60]]"), ["'nose'", "(30, 20) mm", "20 mm away"]),
        (text(openings="[openings]\nnose = [[0, 20], [60, 0]]"), ["'nose'", "leaves the outline"]),
        (text(openings="[openings]\nnose = [[0, 20], [0, 20]]"), ["'nose'", "(0, 20) mm"]),
        (text(openings="[openings]\nnose = [0, 20]"), ["'nose'", "pair"]),
        (text(openings="[openings]\nnose = [[0, 20], [0, 60], [0, 80]]"), ["'nose'", "3 points"]),
        (text(head=HEAD.replace("kind", "knid")), ["'knid'", "did you mean 'kind'"]),
        (text(head=HEAD.replace('unit = "mm"', "")), ["unit is missing"]),
        (text(head=HEAD.replace('kind = "planar"', "")), ["kind is missing"]),
        (text(head=HEAD.replace('depth = "133 mm"', "")), ["depth"]),
        (text(head=HEAD.replace('"133 mm"', "133")), ["depth is 133", "unit"]),
        (text(head=HEAD.replace('"133 mm"', '"133 kg"')), ["depth", "133 kg"]),
        (text(head=HEAD.replace('"133 mm"', '"-133 mm"')), ["depth"]),
        (text(head=HEAD.replace('"mm"', '"furlong"')), ["furlong", "mm, cm, m"]),
        (text(head=HEAD.replace("planar", "cubic")), ["cubic", "axisymmetric"]),
        (text(head=HEAD.replace("planar", "axisymmetric")), ["no depth"]),
        (text("[[0, 0], [120, 0], [nan, 100]]"), ["nan"]),
        (text("[[0, 0], [120, true], [1, 100]]"), ["item 2"]),
        (text("[[0, 0], [120, 0, 3], [1, 100]]"), ["item 2"]),
        (text('"none"'), ["points"]),
        ("points = [[", ["TOML"]),
        ("", ["missing"]),
    ],
)  # fmt: skip
def test_each_bad_outline_gets_one_message_that_says_where(written, words):
    message = refused(written)
    for word in words:
        assert word in message


def test_axisymmetric_outlines_stay_above_their_axis_and_open_off_it():
    head = 'kind = "axisymmetric"\nunit = "mm"\n'
    below = text("[[0, -5], [90, 0], [90, 50], [0, 50]]", head, "[openings]\nn = [[90, 10], [90, 20]]")
    assert "(0, -5) mm" in refused(below)
    on_axis = text("[[0, 0], [90, 0], [90, 50], [0, 50]]", head, "[openings]\nn = [[10, 0], [20, 0]]")
    assert "axis" in refused(on_axis)


def test_too_many_points_are_refused_before_any_work():
    angle = np.linspace(0, 2 * np.pi, 5000, endpoint=False)
    with pytest.raises(GeometryError, match="5000 points"):
        make_outline(kind="planar", depth=0.1, points=np.c_[np.cos(angle), np.sin(angle)], openings={})


def test_a_small_bevel_is_not_a_gap():
    outline = parse_outline(text("[[0, 0], [120, 0], [120, 99.8], [119.8, 100], [0, 100]]"))
    assert outline.area() == pytest.approx(0.012 - 0.5 * 0.0002**2, rel=1e-12)


def test_the_horn_keeps_its_centre_line_and_intended_profile():
    outline = load_outline(MESHES / "fog-signal.toml")
    assert outline.intended == {
        "profile": "exponential",
        "throat": "60 cm^2",
        "mouth": "900 cm^2",
        "length": "1.4 m",
    }
    assert np.linalg.norm(np.diff(outline.centreline, axis=0), axis=1).sum() == pytest.approx(1.429, abs=1e-3)
    assert outline.opening_area("throat") == pytest.approx(60e-4, rel=1e-6)
    assert outline.opening_area("mouth") == pytest.approx(900e-4, rel=1e-12)


@pytest.mark.parametrize("name", sorted(path.name for path in MESHES.glob("*.toml")))
def test_every_outline_of_the_folder_reads(name):
    assert load_outline(MESHES / name).volume() > 0.0


def test_file_errors_name_the_file(tmp_path):
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    for name, words in (
        ("absent.toml", "can't be read"),
        ("bytes.toml", "UTF-8"),
        ("box.txt", "expected an outline"),
    ):
        with pytest.raises(GeometryError, match=f"{name}: .*{words}"):
            load_outline(tmp_path / name)


@given(st.text(max_size=300))
def test_any_text_gives_an_outline_or_one_error(written):
    with suppress(GeometryError):
        assert parse_outline(written).area() > 0.0


numbers = st.one_of(st.integers(-200, 200), st.floats(), st.booleans(), st.text(max_size=3))
paths = st.lists(st.lists(numbers, min_size=1, max_size=3), max_size=8)


@given(paths, st.lists(paths, max_size=2), paths)
def test_any_numbers_give_an_outline_or_one_error(points, holes, opening):
    written = text(str_of(points), extra=f"holes = {str_of(holes)}", openings=f"[openings]\nn = {str_of(opening)}")
    tomllib.loads(written)
    with suppress(GeometryError):
        assert parse_outline(written).area() > 0.0


def str_of(value):
    if isinstance(value, list):
        return "[" + ", ".join(map(str_of, value)) + "]"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        escaped = "".join(f"\\U{ord(c):08X}" if not 0xD800 <= ord(c) < 0xE000 else "?" for c in value)
        return f'"{escaped}"'
    return repr(value)


@given(st.lists(st.tuples(st.integers(0, 40), st.integers(0, 40)), min_size=3, max_size=7))
def test_an_accepted_polygon_has_the_area_that_counting_finds(corners):
    try:
        outline = make_outline(
            kind="planar", depth=0.1, points=np.array(corners) * 0.01,
            openings={"a": np.array([corners[0], corners[1]]) * 0.01},
        )  # fmt: skip
    except GeometryError:
        return
    x, y = np.meshgrid(np.arange(0.05, 40, 0.1), np.arange(0.05, 40, 0.1))
    from matplotlib.path import Path as Ring

    inside = Ring(corners).contains_points(np.c_[x.ravel(), y.ravel()]).sum() * 0.01 * 1e-4
    assert outline.area() == pytest.approx(inside, abs=20e-4)


def test_the_outline_in_the_readme_is_one():
    """Every key that an outline knows is in the example, and the example can be read."""
    readme = (Path(__file__).parents[2] / "meshes" / "README.md").read_text(encoding="utf-8")
    example = readme.split("```toml\n")[1].split("```")[0]
    outline = parse_outline(example)
    assert set(outline.openings) == {"throat", "mouth"}
    assert (len(outline.holes), len(outline.stuffed)) == (1, 1)
    assert outline.volume() == pytest.approx(0.18 * (0.5 * 0.22 - 0.4 * 0.02 - 0.03 * 0.02 / 2))
    missing = set(_KEYS) - set(tomllib.loads(example))
    assert missing == {"title", "notes", "T"}
