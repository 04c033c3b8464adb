"""Drawn chambers in the sketch: the outline itself, its openings where they are, what joins them in its place."""

from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.case import load
from airpath.findings.predict import predict
from airpath.report.cells import caption
from airpath.report.sketching.drawnspace import chains, outlined
from airpath.report.sketching.sheet import LETTER, LINE
from airpath.report.sketching.sketch import sheet_of, sketch
from airpath.report.style import styled

CASES = Path(__file__).parents[2] / "cases"
BOXES = sorted(Path(airpath.__file__).parent.glob("live/boxes/*.toml"))
ODD = {
    "odd.toml": """
rear = "a"
[chambers.a]
outline = "outline.toml"
fill = { flow_resistivity = "5000 Pa*s/m^2", fraction = 0.5 }
[chambers.b]
volume = "3 L"
[ports.low]
from = "a"
to = "b"
length = "80 mm"
diameter = "38 mm"
[ports.aside]
from = "a"
to = "outside"
length = "60 mm"
diameter = "30 mm"
""",
    "outline.toml": """
kind = "planar"
depth = "100 mm"
unit = "mm"
points = [[0, 0], [200, 0], [260, 120], [150, 200], [0, 160]]
holes = [[[100, 60], [140, 60], [120, 110]]]
[openings]
driver = [[30, 168], [100, 186.666666667]]
low = [[120, 0], [140, 0]]
aside = [[0, 20], [0, 40]]
idle = [[170, 0], [190, 0]]
""",
}
HEAD = '[driver]\nfs = "70 Hz"\nQms = 4.0\nQes = 0.5\nVas = "3.2 L"\nSd = "55 cm^2"\nRe = "3.6 ohm"\n'


@pytest.fixture
def odd(tmp_path):
    for name, text in ODD.items():
        (tmp_path / name).write_text((HEAD if name == "odd.toml" else "") + text, encoding="utf-8")
    return load(tmp_path / "odd.toml")


def corners(loop):
    return {(round(x * 1e3, 3), round(y * 1e3, 3)) for x, y in loop}


def test_planar_outline_is_the_file_s(odd):
    """The polygon and the hole as written, with the ends of the openings on it; an idle opening is a wall."""
    shape = outlined(odd, "a")
    assert {(0, 0), (200, 0), (260, 120), (150, 200), (0, 160)} <= corners(shape.air[0])
    assert corners(shape.holes[0]) == {(100, 60), (140, 60), (120, 110)}
    assert {name: mouth.side for name, mouth in shape.mouths.items()} == {
        "driver": "top", "low": "bottom", "aside": "left",
    }  # fmt: skip
    assert shape.mouths["low"].at == pytest.approx((0.130, 0.0))
    assert shape.mouths["aside"].at == pytest.approx((0.0, 0.030))
    walls = np.concatenate([np.array(line) for line in shape.walls])
    assert (np.abs(walls - (0.130, 0.0)).max(axis=1) > 0.009).all()  # none inside the opening
    x, y = np.array([[0, 0], [200, 0], [260, 120], [150, 200], [0, 160]]).T
    area = 0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) - 0.5 * 40 * 50  # the hole is a triangle
    assert shape.volume == pytest.approx(area * 100e-9, rel=1e-9)


def test_turned_outline_is_whole_with_its_axis_in_the_middle():
    case = load(CASES / "drum-post.toml")
    shape = outlined(case, "drum")
    assert (shape.width, shape.height) == pytest.approx((0.090, 0.240))
    assert len(shape.air) == 2
    assert shape.mouths["nose"].at == pytest.approx((0.090, 0.120))
    assert shape.mouths["nose"].side == "right"
    assert shape.mouths["driver"].at == pytest.approx((0.0, 0.120))
    assert not any(abs(y - 0.120) < 1e-6 and 0 < x < 0.090 for line in shape.walls for x, y in line)  # the axis


def test_what_joins_stands_at_its_opening():
    sheet = sheet_of(load(CASES / "partition-seat.toml"))
    nose = np.concatenate([np.array(points) for points, _, part in sheet.strokes if part == "nose"])
    assert nose[:, 0].min() == pytest.approx(0.122)
    assert (nose[:, 1].min() + nose[:, 1].max()) / 2 == pytest.approx((14 + 22.53) / 2e3)
    throat = np.concatenate([np.array(points) for points, _, part in sheet.strokes if part == "throat"])
    assert any(np.allclose(point, (0.0975, 0.102)) for point in throat)


def test_names_are_on_the_sheet_and_apart(odd):
    for case in (odd, load(CASES / "partition-seat.toml"), load(CASES / "drum-post.toml")):
        with styled():
            figure = sketch(case)
            figure.canvas.draw()
            boxes = [text.get_window_extent(figure.canvas.get_renderer()) for text in figure.axes[0].texts]
        wide, tall = figure.canvas.get_width_height()
        assert all(b.x0 >= -1 and b.x1 <= wide + 1 and b.y0 >= -1 and b.y1 <= tall + 1 for b in boxes)
        assert not any(a.overlaps(b) for i, a in enumerate(boxes) for b in boxes[:i])


@pytest.mark.parametrize("path", [*BOXES, *sorted(CASES.glob("*.toml"))], ids=lambda path: path.stem)
def test_names_are_apart_on_the_small_sheet_of_the_live_page(path):
    sheet = sheet_of(load(path), 4.2)
    boxes = []
    for x, y, words, style, _ in sheet.texts:
        lines = words.split("\n")
        wide = max(map(len, lines)) * 0.9 * LETTER * sheet.inch * style["fontsize"] / 8
        tall = len(lines) * LINE * sheet.inch
        left = x - {"left": 0.0, "center": 0.5, "right": 1.0}[style["ha"]] * wide
        low = y - {"bottom": 0.0, "center": 0.5, "top": 1.0}[style["va"]] * tall
        boxes.append((words, left, left + wide, low, low + tall))
    over = [
        (a[0], b[0]) for i, a in enumerate(boxes) for b in boxes[:i]
        if a[1] < b[2] and b[1] < a[2] and a[3] < b[4] and b[3] < a[4]
    ]  # fmt: skip
    assert over == []


def test_a_path_that_ends_as_it_begins_has_one_area():
    words = [text for _, _, text, _, part in sheet_of(load(CASES / "bent-pipe.toml")).texts if part == "bend"]
    assert any("\n36 cm² × 499 mm" in text for text in words), words
    words = [text for _, _, text, _, part in sheet_of(load(CASES / "fog-signal.toml")).texts if part == "horn"]
    assert any("60–900 cm²" in text for text in words), words


def test_caption_says_what_is_drawn():
    prediction = predict(load(CASES / "partition-seat.toml"), ("lumped",))
    assert "has its outline, with what joins it at its openings" in caption(prediction, "sketch")
    assert "plain square" not in caption(prediction, "sketch")
    plain = predict(load(CASES / "ticket-booth.toml"), ("lumped",))
    assert "outline" not in caption(plain, "sketch")


def test_edges_join_to_lines_and_loops():
    square = np.array([[0, 1], [2, 1], [2, 3], [3, 0], [7, 8], [9, 8]])
    found = sorted(chains(square), key=len)
    assert [len(line) for line in found] == [3, 5]
    assert found[1][0] == found[1][-1]
    assert {found[0][0], found[0][-1]} == {7, 9}
