"""What is remembered between two turns changes nothing in the result; knobs say what they turn."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.case.parameters import parameters
from airpath.live.drawing import drawing
from airpath.live.engine import Engine, thinned
from airpath.live.parts import knobs, part_words, parts

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_a_remembered_solve_is_the_solve(path):
    case, engine = airpath.load(path), Engine()
    for name, p in list(parameters(case).items())[:4]:
        turned = p.changed(p.value * 1.03)
        again = engine.predict(turned).responses["line"]
        fresh = airpath.solve(turned, "line")
        assert again.impedance == pytest.approx(fresh.impedance, rel=1e-12), name
        assert again.spl_db == pytest.approx(fresh.spl_db, rel=1e-12), name


def test_a_thinner_sweep_keeps_its_ends():
    case = airpath.load(CASES[0])
    coarse, fine = airpath.solve(thinned(case, 4)), airpath.solve(case)
    assert coarse.frequency[[0, -1]] == pytest.approx(fine.frequency[[0, -1]])
    assert len(coarse.frequency) == pytest.approx(len(fine.frequency) / 4, abs=2)


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_knobs_reach_around_their_value_on_a_grid_that_it_is_on(path):
    case = airpath.load(path)
    found = knobs(case, case)
    assert {knob["name"] for knob in found} == set(parameters(case))
    names = {part["name"] for part in parts(case)}
    for knob in found:
        assert knob["part"] in names and knob["help"].endswith(".") and knob["label"]
        assert knob["low"] - 1e-9 <= knob["value"] <= knob["high"] + knob["step"], knob
        steps = (knob["value"] - knob["low"]) / knob["step"]
        assert steps == pytest.approx(round(steps), abs=1e-3), knob


def test_a_range_stays_while_the_knob_is_turned():
    case = airpath.load(next(path for path in CASES if path.stem == "ticket-booth"))
    length = parameters(case)["ports.vent.length"]
    ranges = {
        (knob["low"], knob["high"], knob["step"])
        for value in np.linspace(0.07, 0.24, 9)
        for knob in knobs(length.changed(float(value)), case)
        if knob["name"] == length.name
    }
    assert len(ranges) == 1


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_every_part_is_in_the_drawing_and_every_port_can_be_shut(path):
    case = airpath.load(path)
    svg = drawing(case, part_words(case))
    for part in parts(case):
        assert f'data-part="{part["name"]}"' in svg
    assert svg.count('role="switch"') == len(case.ports)


def test_names_cannot_break_out_of_the_drawing(tmp_path):
    text = next(path for path in CASES if path.stem == "lantern-slot").read_text(encoding="utf-8")
    path = tmp_path / "odd.toml"
    path.write_text(text.replace("[ports.slot]", "[ports.'<b onclick=\"x\">&']"), encoding="utf-8")
    case = airpath.load(path)
    svg = drawing(case, part_words(case))
    assert "<b" not in svg and 'onclick="x"' not in svg
