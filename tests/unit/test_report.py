"""The report folder: what is in it, that it says what the prediction says, and that a failure leaves nothing behind."""

import csv
import json
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from airpath.case import Case
from airpath.errors import AirpathError
from airpath.findings.predict import predict
from airpath.report import files
from airpath.report.figures.frame import _tone_rows, frequency_ticks, spread
from airpath.report.pages import write
from airpath.report.style import plain, png, shortened, svg, tidy
from airpath.report.templating import scripts

DRIVER = {
    "fs": "62 Hz", "Qms": 4.1, "Qes": 0.52, "Vas": "1.9 L", "Sd": "55 cm^2", "Re": "3.4 ohm", "xmax": "4 mm",
    "rear": "main",
}  # fmt: skip
HOSTILE = '<script>alert("x")</script> & <img src=x onerror=y> $\\frac$'
SPARSE = {"start": "20 Hz", "stop": "1 kHz", "points_per_octave": 12}


def double_chamber(**more):
    port = {"from": "main", "to": "outside", "length": "120 mm", "diameter": "38 mm"}
    return Case.model_validate({
        "title": HOSTILE, "scale": 4.0, "tones": ["112 Hz", "160 Hz"], "driver": DRIVER, "sweep": SPARSE,
        "drive": {"voltage": "12 V"},
        "chambers": {"main": {"volume": "1.6 L", "leak": {"diameter": "1 mm"}}, "side": {"volume": "0.9 L"}},
        "ports": {
            "nose": port,
            "bridge": {**port, "to": "side", "from_end": "flared", "flare_radius": "8 mm"},
            "tail": {**port, "from": "side", "count": 2},
            "capped": {**port, "from": "side", "covered": True},
        },
        **more,
    })  # fmt: skip


@pytest.fixture(scope="module")
def prediction():
    return predict(double_chamber())


@pytest.fixture(scope="module")
def folder(prediction, tmp_path_factory):
    folder = tmp_path_factory.mktemp("report") / "new" / "deeper"
    written = write.write_report(prediction, folder)
    assert sorted(written) == sorted(folder.iterdir())
    return folder


class Text(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.words, self.images, self.hushed = [], [], [], False

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.hushed = tag in ("style", "script")
        if tag == "img":
            self.images.append(dict(attrs))
        assert not any(name.startswith("on") for name, _ in attrs)

    def handle_endtag(self, tag):
        self.hushed = self.hushed and tag not in ("style", "script")

    def handle_data(self, data):
        if not self.hushed:
            self.words.append(data)


@pytest.fixture(scope="module")
def read(folder):
    reader = Text()
    reader.feed((folder / "report.html").read_text("utf-8"))
    return reader


def test_folder_holds_result_curves_page_and_every_figure_twice(folder):
    pictures = {"sketch", "impedance", "excursion", "level", "air-speed"}
    expected = {"result.json", "curves.csv", "report.html"} | {f"{p}.{k}" for p in pictures for k in ("png", "svg")}
    assert {path.name for path in folder.iterdir()} == expected
    assert all((folder / f"{p}.png").read_bytes().startswith(b"\x89PNG") for p in pictures)
    assert all(b"<svg" in (folder / f"{p}.svg").read_bytes() for p in pictures)


def test_result_json_is_the_prediction(folder, prediction):
    assert json.loads((folder / "result.json").read_text("utf-8")) == json.loads(json.dumps(prediction.to_dict()))


def test_same_prediction_gives_the_same_bytes(folder, prediction, tmp_path):
    for path in write.write_report(prediction, tmp_path / "again"):
        assert path.read_bytes() == (folder / path.name).read_bytes(), path.name


def test_curves_parse_back_with_units_in_their_header(folder, prediction):
    with (folder / "curves.csv").open(newline="") as file:
        header, *rows = csv.reader(file)
    columns = dict(zip(header, np.array(rows, float).T, strict=True))
    assert all(re.search(r"_(hz|ohm|deg|m|db|m_s)$", name) for name in header)
    line = prediction.responses["line"]
    expected = {
        "frequency_hz": line.frequency,
        "full_size_frequency_hz": line.frequency / 4,
        "line.impedance_ohm": np.abs(line.impedance),
        "line.impedance_phase_deg": np.degrees(np.angle(line.impedance)),
        "line.excursion_peak_m": line.excursion_peak,
        "line.loading_db": line.loading_db,
        "line.spl_db": line.spl_db,
        "line.nose.air_speed_peak_m_s": line.openings["nose"].air_speed_peak,
        "line.cone.spl_db": 20 * np.log10(np.abs(line.openings["cone"].pressure) / 20e-6),
        "lumped.spl_db": prediction.responses["lumped"].spl_db,
    }
    for name, values in expected.items():
        np.testing.assert_allclose(columns[name], values, rtol=1e-8, err_msg=name)


def test_hostile_title_is_text_and_nothing_else(read):
    assert read.tags.count("script") == 4  # BokehJS in two files, ours, and the data
    assert HOSTILE in read.words
    assert all(image["src"].startswith("data:image/svg+xml;base64,") for image in read.images)


def test_page_needs_nothing_from_elsewhere(folder):
    page = (folder / "report.html").read_text("utf-8").replace(scripts(), "")
    assert not re.search(r"https?:|//[a-z]|@import|url\(|<link|<iframe", re.sub(r'src="data:[^"]*"', "", page))
    assert "default-src 'none'" in page  # nor would a browser fetch anything
    assert '<html lang="en">' in page
    assert 'name="viewport"' in page


def test_every_picture_has_words_for_those_who_cant_see_it(read):
    assert len(read.images) == 5
    assert all(len(image["alt"]) > 40 for image in read.images)
    assert "bridge from main to side" in read.images[0]["alt"]


def test_numbers_on_the_page_are_the_prediction_s(read, prediction):
    words = " ".join(read.words)
    for row in prediction.best_tones():
        assert row.verdict in words
        assert f"{row.spl_db:.1f} dB" in words
        assert f"{plain(row.impedance_ohm)} Ω" in words
        assert f"{plain(row.excursion_peak_m * 1e3)} mm" in words
        assert f"{tidy(row.frequency_hz / 4, 4)} Hz" in words
    for name, row in prediction.ports.items():
        assert f"{plain(row.effective_length_m * 1e3, 4)} mm" in words
        assert f"{plain(row.end_correction_from_m * 1e3)} mm at {prediction.case.ports[name].from_}" in words
        assert row.verdict in words
    for sentence in (*prediction.warnings, prediction.parting):
        assert sentence in words
    assert prediction.warnings  # 12 V into this little driver is worth one
    assert f"density {plain(prediction.air.density, 4)} kg/m³" in words


@pytest.fixture
def quick(monkeypatch):
    """Pictures of no content, for tests that look at files only."""
    monkeypatch.setattr(files, "png", lambda figure: b"picture")
    monkeypatch.setattr(write, "svg", lambda figure: b"picture")
    names = ("sketch", "impedance", "excursion", "level")
    monkeypatch.setattr(write, "figures", lambda *_: dict.fromkeys(names))


@pytest.mark.usefixtures("quick")
def test_failure_while_drawing_leaves_the_old_folder_untouched(prediction, tmp_path, monkeypatch):
    (tmp_path / "report.html").write_text("old")

    def fail(*_):
        raise RuntimeError("no ink")

    monkeypatch.setattr(write, "page", fail)
    with pytest.raises(RuntimeError, match="no ink"):
        write.write_report(prediction, tmp_path)
    assert {p.name: p.read_text() for p in tmp_path.iterdir()} == {"report.html": "old"}
    with pytest.raises(RuntimeError, match="no ink"):
        write.write_report(prediction, tmp_path / "a" / "b")
    assert not (tmp_path / "a").exists()


@pytest.mark.usefixtures("quick")
def test_failure_while_writing_leaves_the_old_folder_untouched(prediction, tmp_path, monkeypatch):
    (tmp_path / "report.html").write_text("old")
    real = Path.write_bytes

    def full(self, data):
        if self.name == "report.html":
            raise OSError(28, "No space left on device")
        return real(self, data)

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(AirpathError, match="No space left"):
        write.write_report(prediction, tmp_path)
    assert {p.name: p.read_text() for p in tmp_path.iterdir()} == {"report.html": "old"}


@pytest.mark.usefixtures("quick")
def test_new_report_keeps_the_files_of_others_and_drops_its_own_old_figures(tmp_path):
    (tmp_path / "mine.txt").write_text("keep")
    (tmp_path / "air-speed.png").write_text("of a box that had ports")
    sealed = Case.model_validate({"driver": DRIVER, "sweep": SPARSE, "chambers": {"main": {"volume": "1.6 L"}}})
    write.write_report(predict(sealed), tmp_path)
    assert (tmp_path / "mine.txt").read_text() == "keep"
    assert not (tmp_path / "air-speed.png").exists()
    assert "<h2>Ports</h2>" not in (tmp_path / "report.html").read_text("utf-8")


@pytest.mark.usefixtures("quick")
def test_a_file_in_the_way_is_one_plain_message(prediction, tmp_path):
    (tmp_path / "out").write_text("a file")
    with pytest.raises(AirpathError, match="it is a file, not a folder"):
        write.write_report(prediction, tmp_path / "out")
    (tmp_path / "taken" / "result.json").mkdir(parents=True)
    with pytest.raises(AirpathError, match=r"result\.json is a folder there"):
        write.write_report(prediction, tmp_path / "taken")
    assert (tmp_path / "out").read_text() == "a file"


HORN = {"to": "outside", "profile": "exponential", "throat": "60 cm^2", "mouth": "900 cm^2", "length": "1.4 m"}
BOXES = {
    "front horn": ({"front": "fog"}, {"main": {"size": ["200 mm", "200 mm", "150 mm"]}}, {"fog": HORN}),
    "rear line": ({"rear": "path"}, {}, {"path": HORN}),
    "both sides on one path": (
        {"rear": "path", "front": "path", "rear_along": "200 mm", "front_along": "1 m"}, {}, {"path": HORN},
    ),
    "two chambers": (
        {"front": "second"}, {"main": {"volume": "2 L"}, "second": {"volume": "5 L"}},
        {"fog": {**HORN, "from": "second"}},
    ),
}  # fmt: skip


@pytest.mark.parametrize(("driver", "chambers", "horns"), BOXES.values(), ids=BOXES)
def test_every_kind_of_box_is_drawn_inside_its_sheet_with_its_names(driver, chambers, horns):
    from airpath.report.sketching.sketch import sketch
    from airpath.report.style import styled

    case = Case.model_validate({"driver": {**DRIVER, **driver}, "sweep": SPARSE, "chambers": chambers, "horns": horns})
    with styled():
        figure = sketch(case)
        axes = figure.axes[0]
        renderer = figure.canvas.get_renderer()
        written = " ".join(text.get_text() for text in axes.texts)
        width, height = figure.canvas.get_width_height()
        boxes = [text.get_window_extent(renderer) for text in axes.texts]
    assert all(name in written for name in (*chambers, *horns, "driver"))
    assert all(b.x0 >= 0 and b.x1 <= width and b.y0 >= 0 and b.y1 <= height for b in boxes)


def test_pictures_show_names_that_look_like_formulas_or_lack_glyphs():
    port = {"from": "main", "to": "outside", "length": "120 mm", "diameter": "38 mm"}
    drawn = write.figures(predict(double_chamber(ports={"$x^{$": port, "深い": {**port, "to": "side"}})))
    for name in ("sketch", "level", "air-speed"):
        assert b"$x^{$" in svg(drawn[name])
        assert png(drawn[name]).startswith(b"\x89PNG")


def test_numbers_are_plain():
    assert [plain(v) for v in (0.0421, 37.14349, 1240.0, 0.0, -13.24, 999.9, 123456.0)] == [
        "0.0421", "37.1", "1\u2009240", "0", "−13.2", "1\u2009000", "123\u2009000",
    ]  # fmt: skip
    assert [tidy(v) for v in (38.0, 0.9, 112.0, 2000.0)] == ["38", "0.9", "112", "2\u2009000"]
    assert shortened("a" * 40) == "a" * 15 + "…"


def test_frequency_axis_has_round_ticks_inside_the_band():
    assert frequency_ticks(20, 2000) == [20, 50, 100, 200, 500, 1000, 2000]
    assert len(frequency_ticks(100, 140)) >= 2
    assert len(frequency_ticks(1, 100_000)) <= 20


def test_labels_are_kept_apart():
    places = spread(np.array([0.5, 0.5, 0.0, 1.0, 0.98]), 0.1)
    assert np.diff(np.sort(places)).min() > 0.0999
    assert places.min() >= 0 and places.max() <= 1
    assert _tone_rows(np.array([1.0, 1.1, 1.2, 1.3, 2.0])) == [0, 1, 2, -1, 0]
