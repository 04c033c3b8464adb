"""The box types to start from load, predict, and say that their values are invented."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.case.edit import edited
from airpath.case.load import parse
from airpath.errors import AirpathError
from airpath.findings.designs.cover import cover
from airpath.live.starts import STARTS, new_session, start_text, starts
from airpath.live.views import covering


@pytest.mark.parametrize("box", STARTS)
def test_every_start_loads_and_predicts(box, tmp_path):
    session = new_session(box, tmp_path)
    prediction = airpath.predict(session.case)
    assert session.unwritten and list(tmp_path.iterdir()) == []
    assert "invented" in session.case.notes and "invented" in start_text(box)
    for response in prediction.responses.values():
        assert np.isfinite(response.spl_db).all() and (response.excursion_peak < 20e-3).all()


def test_each_is_of_its_kind(tmp_path):
    cases = {box: new_session(box, tmp_path).case for box in STARTS}
    assert not cases["sealed"].ports and not cases["sealed"].horns
    assert len(cases["vented"].ports) == 1
    assert len(cases["double-chamber"].chambers) == 2 and len(cases["double-chamber"].ports) == 3
    assert "outside" not in (cases["bandpass"].driver.front, cases["bandpass"].driver.rear)
    assert cases["horn"].horns["horn"].mouth > 10 * cases["horn"].horns["horn"].throat
    assert cases["labyrinth"].driver.rear == "line"


def test_the_labyrinth_resonates_at_a_quarter_wave(tmp_path):
    """Open at its end, closed at the cone: c/4L for a straight line; the taper and the open end move it a little."""
    path = tmp_path / "labyrinth.toml"
    case = parse(edited(start_text("labyrinth"), {("horns", "line", "fill"): None}), path)
    response = airpath.solve(case, "line")
    z = np.abs(response.impedance)
    dips = response.frequency[1:-1][(z[1:-1] < z[:-2]) & (z[1:-1] < z[2:])]
    assert dips[0] == pytest.approx(344 / (4 * 1.9), rel=0.25)


def test_the_page_is_told_of_each_with_a_drawing():
    assert [start["box"] for start in starts()] == list(STARTS)
    assert all(start["drawing"].startswith("<svg") and start["words"] for start in starts())


def test_another_type_is_refused_with_the_ones_there_are(tmp_path):
    with pytest.raises(AirpathError, match="sealed, vented"):
        new_session("../vented", tmp_path)


def test_a_horn_with_its_mouth_shut_is_said_to_be_silent():
    case = parse(start_text("horn"), Path("horn.toml"))
    states = {tuple(state["covered"]): state for state in covering(cover(case))["states"]}
    assert [cell["level"] for cell in states["horn",]["cells"]] == ["silent"] * len(case.tones)
    assert states["horn",]["mean"] == "silent"
    assert all(cell["level"].endswith(" dB") for cell in states[()]["cells"])
