"""The data behind the charts that a pointer reads: the same numbers as the prediction, safe inside a page."""

import json
import re

import numpy as np
import pytest

from airpath.case import Case
from airpath.findings.predict import predict
from airpath.report.figures.interactive import Flag, charts, columns
from airpath.report.style import COLOURS, MODEL_STYLE
from airpath.report.templating import scripts

HOSTILE = "</script>$x@{level}"
PORT = {"from": "main", "to": "outside", "length": "120 mm", "diameter": "38 mm"}


def box(**more):
    driver = {
        "fs": "62 Hz", "Qms": 4.1, "Qes": 0.52, "Vas": "1.9 L", "Sd": "55 cm^2", "Re": "3.4 ohm", "rear": "main",
    }  # fmt: skip
    sweep = {"start": "20 Hz", "stop": "1 kHz", "points_per_octave": 12}
    table = {"driver": driver, "sweep": sweep, "tones": ["112 Hz"], "chambers": {"main": {"volume": "1.6 L"}}}
    return Case.model_validate({**table, **more})


@pytest.fixture(scope="module")
def prediction():
    return predict(box(scale=4.0, ports={HOSTILE: PORT, "inner": {**PORT, "from": "side", "to": "main"}},
                       chambers={"main": {"volume": "1.6 L"}, "side": {"volume": "0.9 L"}}))  # fmt: skip


@pytest.fixture(scope="module")
def drawn(prediction):
    return charts(prediction.case, prediction.responses, prediction.tones_hz)


def test_every_curve_has_its_numbers_and_they_are_the_predictions(drawn, prediction):
    line = prediction.responses["line"]
    source = drawn.sources["line"]
    np.testing.assert_allclose(source["impedance"], np.abs(line.impedance), rtol=1e-5)
    np.testing.assert_allclose(source["phase"], np.degrees(np.angle(line.impedance)), rtol=1e-5)
    np.testing.assert_allclose(source["excursion"], 1e3 * line.excursion_peak, rtol=1e-5)
    np.testing.assert_allclose(source["full_size"], line.frequency / 4, rtol=1e-5)
    index = list(line.openings).index(HOSTILE)
    np.testing.assert_allclose(source[f"speed_{index}"], line.openings[HOSTILE].air_speed_peak, rtol=1e-5)
    np.testing.assert_allclose(
        source[f"level_{index}"], 20 * np.log10(np.abs(line.openings[HOSTILE].pressure) / 20e-6), rtol=1e-5
    )
    for chart in drawn.charts:
        for curve in chart.curves:
            assert len(drawn.sources[curve.source][curve.column]) == len(line.frequency)


def test_nothing_that_should_be_seen_is_cut_off(drawn):
    for chart in drawn.charts:
        highest = max(max(drawn.sources[c.source][c.column]) for c in chart.curves)
        assert highest <= chart.high
        assert chart.low < chart.high
        assert all(chart.low < value < chart.high for value, _ in chart.limits)


def test_charts_without_openings_have_no_air_speed(drawn):
    assert [chart.name for chart in drawn.charts] == ["impedance", "phase", "excursion", "level", "air-speed"]
    sealed = predict(box())
    names = [chart.name for chart in charts(sealed.case, sealed.responses, sealed.tones_hz).charts]
    assert names == ["impedance", "phase", "excursion", "level"]


def test_every_opening_that_radiates_and_every_fidelity_has_a_curve(drawn):
    labels = {chart.name: [curve.label for curve in chart.curves] for chart in drawn.charts}
    assert labels["level"] == ["cone", HOSTILE, "sum, lumped", "sum, line"]
    assert labels["impedance"] == ["lumped", "line"]
    assert labels["air-speed"] == [HOSTILE, "inner"]
    curves = [curve for chart in drawn.charts for curve in chart.curves]
    assert all(f"{curve.source} model" in curve.reading for curve in curves)


def test_curves_of_one_chart_differ_in_colour_and_in_dash(drawn):
    for chart in drawn.charts:
        assert len({(curve.colour, tuple(curve.dash)) for curve in chart.curves}) == len(chart.curves)
        assert len({(tuple(curve.dash), curve.width) for curve in chart.curves}) == len(chart.curves)


def test_names_of_the_user_are_no_column_names_and_cannot_end_the_script(drawn):
    text = drawn.to_json()
    assert "<" not in text
    back = json.loads(text)
    assert all(re.fullmatch(r"[a-z_]+\d*", column) for column in back["sources"]["line"])
    assert back["charts"][3]["curves"][1]["label"] == HOSTILE


def test_further_curves_stand_beside_the_fidelities(prediction):
    line = prediction.responses["line"]
    drawn = charts(prediction.case, {"before": line, "line": line}, prediction.tones_hz)
    assert list(drawn.sources) == ["before", "line"]
    before, now = drawn.charts[0].curves
    assert (before.label, now.label) == ("before", "line")
    assert before.colour not in {*COLOURS, *(style["color"] for style in MODEL_STYLE.values())}


def test_flags_are_on_the_impedance_alone(drawn):
    flag = Flag(number=1, frequency=50.0, impedance=30.0, colour="#000", marker="circle", heading="a", words="b")
    assert not any(chart.flags for chart in drawn.charts)
    flagged = drawn.with_flags([flag])
    assert [chart.name for chart in flagged.charts if chart.flags] == ["impedance"]
    assert flagged.to_dict()["flags"][0]["number"] == 1


def test_columns_alone_update_a_page(prediction):
    fresh = columns(prediction.responses["line"])
    assert fresh["full_size"] == fresh["frequency"]
    assert all(np.isfinite(values).all() for values in fresh.values())


def test_scripts_are_whole_and_end_only_where_they_should():
    text = scripts()
    assert text.count("<script>") == text.count("</script>") == 3
    assert "Bokeh" in text and "airpathCharts" in text
