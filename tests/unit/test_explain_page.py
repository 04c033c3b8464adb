"""The page of ``explain``: the same numbers in picture, chart and table, colours that all eyes tell apart."""

import json
import re
from html.parser import HTMLParser
from itertools import combinations
from typing import get_args

import numpy as np
import pytest

from airpath.case import Case
from airpath.findings.explaining.causes import Type
from airpath.findings.explaining.explanation import explanation
from airpath.report.figures.causes import parts_of
from airpath.report.pages import explained
from airpath.report.pages.explained import flagged_charts, flags
from airpath.report.style import CAUSES, plain, styled, tidy

DRIVER = {
    "fs": "58 Hz", "Qms": 3.9, "Qes": 0.46, "Vas": "8.5 L", "Sd": "88 cm^2", "Re": "5.7 ohm", "Le": "0.45 mH",
    "rear": "box",
}  # fmt: skip
HOSTILE = "<b>$v$</script>"
VENT = {"from": "box", "to": "outside", "length": "500 mm", "diameter": "52 mm"}


@pytest.fixture(scope="module")
def found():
    case = Case.model_validate({
        "title": HOSTILE, "driver": DRIVER, "tones": ["69 Hz", "150 Hz"], "chambers": {"box": {"volume": "8 L"}},
        "ports": {HOSTILE: VENT}, "sweep": {"start": "20 Hz", "stop": "2 kHz"},
    })  # fmt: skip
    return explanation(case)


@pytest.fixture(scope="module")
def folder(found, tmp_path_factory):
    folder = tmp_path_factory.mktemp("explained")
    (folder / "advice-99-1.png").write_text("of another time")
    explained.write_explanation(found, folder)
    return folder


class Table(HTMLParser):
    """Rows of the page's tables by their id, and all that is read."""

    def __init__(self):
        super().__init__()
        self.rows, self.row, self.tags, self.words, self.hushed = {}, None, [], [], False

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.hushed = tag in ("style", "script")
        if tag == "tr":
            self.row = dict(attrs).get("id")

    def handle_endtag(self, tag):
        self.hushed = self.hushed and tag not in ("style", "script")

    def handle_data(self, data):
        if not self.hushed:
            self.words.append(data)
            self.rows.setdefault(self.row, []).append(data)


@pytest.fixture(scope="module")
def read(folder):
    table = Table()
    table.feed((folder / "explain.html").read_text("utf-8"))
    return table


def test_there_is_something_to_number(found):
    assert len(found.features) >= 6
    assert len({feature.cause.type for feature in found.features}) >= 4


def test_folder_holds_page_result_and_every_picture_twice(folder, found):
    names = {path.name for path in folder.iterdir()}
    pictures = set(explained.pictures(found))
    assert {"impedance-explained", "energy", "work"} <= pictures
    assert names == {"explain.html", "explain.json"} | {f"{p}.{k}" for p in pictures for k in ("png", "svg")}
    assert json.loads((folder / "explain.json").read_text("utf-8")) == json.loads(json.dumps(found.to_dict()))


def test_every_feature_has_the_same_number_in_picture_chart_and_table(found, read):
    with styled():
        figure = explained.numbered_impedance(found)
    in_picture = {int(t.get_text()) for t in figure.axes[0].texts if t.get_text().isdigit()}
    in_chart = {flag.number: flag for flag in flagged_charts(found).flags}
    assert in_picture == set(in_chart) == set(range(1, len(found.features) + 1))
    for number, feature in enumerate(found.features, 1):
        row = " ".join(read.rows[f"feature-{number}"])
        assert feature.cause.text in row
        assert f"{tidy(feature.frequency_hz, 4)} Hz" in row
        assert f"{plain(feature.impedance_ohm)} Ω" in row
        assert in_chart[number].frequency == feature.frequency_hz
        assert in_chart[number].words == feature.cause.text
        assert in_chart[number].colour == CAUSES[feature.cause.type].colour


def test_first_sentence_counts_them(found, read):
    kinds = [feature.kind for feature in found.features]
    lead = next(words for words in read.words if words.startswith("What makes the"))
    for kind in set(kinds):
        assert f"{kinds.count(kind)} {kind}" in lead
    assert "1 peaks" not in lead and "1 dips" not in lead


def test_numbers_lie_apart_and_inside(found):
    with styled():
        figure = explained.numbered_impedance(found)
        figure.canvas.draw()
        renderer = figure.canvas.get_renderer()
        labels = [t for t in figure.axes[0].texts if t.get_text().isdigit()]
        boxes = [label.get_bbox_patch().get_window_extent(renderer) for label in labels]
        edge = figure.axes[0].get_window_extent(renderer)
    assert not any(a.overlaps(b) for a, b in combinations(boxes, 2))
    assert all(edge.x0 <= box.x0 and box.x1 <= edge.x1 and box.y1 <= edge.y1 for box in boxes)


@pytest.mark.parametrize("count", [1, 15, 40])
def test_many_features_stay_readable(found, count):
    from dataclasses import replace

    places = np.geomspace(300.0, 420.0, count)
    crowd = [replace(found.features[0], frequency_hz=float(f)) for f in places]
    test_numbers_lie_apart_and_inside(replace(found, features=crowd))


def test_a_flag_stands_on_its_point_of_the_curve(found):
    line = found.responses[found.model]
    for flag in flags(found.features):
        on_curve = np.interp(flag.frequency, line.frequency, np.abs(line.impedance))
        assert flag.impedance == pytest.approx(on_curve, rel=0.02)


def test_bars_fill_to_one_and_name_every_part(found):
    with styled():
        axes = explained.energy_bars(found).axes[0]
    for row, feature in enumerate(found.features):
        pieces = [p for p in axes.patches if abs(p.get_y() + p.get_height() / 2 - row) < 0.1]
        assert sum(p.get_width() for p in pieces) == pytest.approx(100 if feature.shares else 0, abs=0.1)
    assert parts_of(found) == ["driver", "box", HOSTILE]


def test_tones_are_told_with_who_moves_the_air(found, read):
    words = " ".join(read.words)
    for tone in found.tones:
        assert tone.text in words
    assert "in step" in words or "against it" in words


def test_page_is_text_and_fetches_nothing(folder, read):
    assert read.tags.count("script") == 4
    assert HOSTILE in read.words
    page = (folder / "explain.html").read_text("utf-8").replace(explained.scripts(), "")
    assert not re.search(r"https?:|@import|url\(|<link|<iframe", re.sub(r'src="data:[^"]*"', "", page))
    assert "follow local rules" in page


def test_every_kind_of_cause_has_its_own_colour_and_sign():
    assert set(CAUSES) == set(get_args(Type))
    for key in ("colour", "sign", "marker", "words"):
        assert len({getattr(style, key) for style in CAUSES.values()}) == len(CAUSES)


# Linear RGB to cone responses, and what a dichromat sees: Vienot, Brettel & Mollon 1999, Color Res. Appl. 24, 243,
# equations 4 to 6; the numbers are from memory.
_CONES = np.array([[17.8824, 43.5161, 4.11935], [3.45565, 27.1554, 3.86714], [0.0299566, 0.184309, 1.46709]])
_EYES = {
    "all cones": np.eye(3),
    "no long cones": np.array([[0, 2.02344, -2.52581], [0, 1, 0], [0, 0, 1]]),
    "no middle cones": np.array([[1, 0, 0], [0.494207, 0, 1.24827], [0, 0, 1]]),
}
_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])  # IEC 61966-2-1


def seen(colour, eye):
    """Return a colour in CIELAB (1976) as an eye sees it."""
    rgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    linear = np.linalg.inv(_CONES) @ _EYES[eye] @ _CONES @ linear
    t = _XYZ @ np.clip(linear, 0, 1) / np.array([0.9505, 1.0, 1.089])
    x, y, z = np.where(t > 0.008856, np.cbrt(t), 7.787 * t + 16 / 116)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


@pytest.mark.parametrize("eye", _EYES)
def test_colours_of_causes_are_told_apart_by_every_eye(eye):
    """A difference of 2.3 is just seen (Mahy et al. 1994); small signs need several times that."""
    colours = [seen(style.colour, eye) for style in CAUSES.values()]
    assert min(float(np.linalg.norm(a - b)) for a, b in combinations(colours, 2)) > 15


def test_colours_of_causes_are_seen_on_white():
    """Contrast of at least 3:1 for graphics: WCAG 2.1, 1.4.11."""
    for style in CAUSES.values():
        lightness = seen(style.colour, "all cones")[0]
        luminance = ((lightness + 16) / 116) ** 3
        assert 1.05 / (luminance + 0.05) > 3


def test_one_opening_alone_needs_no_picture_of_shares():
    case = Case.model_validate({"driver": DRIVER, "chambers": {"box": {"volume": "8 L"}}, "sweep": {"stop": "500 Hz"}})
    found = explanation(case)
    drawn = explained.pictures(found)
    assert "work" not in drawn and "energy" in drawn
    page = explained.explain_page(found, dict.fromkeys(drawn, b"<svg/>"))
    assert "Where the energy is</h2>" in page and "moves the air</h2>" not in page


def test_a_share_over_all_of_the_energy_is_not_printed_as_a_percentage():
    assert explained._part(0.996) == "100 %"
    assert explained._part(1.0203) == "nearly all (another resonance overlaps)"
