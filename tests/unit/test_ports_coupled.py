"""Ports in the whole box: tunings are the dips that the impedance shows, pipe resonances those that explain names."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.case.schema import Case
from airpath.findings.ports import PortRow
from airpath.network.respond import solve
from known_boxes import BOXES

AIR_C = 343.2  # m/s at 20 degC: any table of the speed of sound
DEMOS = {p.stem: airpath.load(p) for p in sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))}
EVERY = {name: box for name, box in {**DEMOS, **BOXES}.items() if box.ports}


@cache
def best(name: str) -> airpath.Prediction:
    return airpath.predict(EVERY[name])


def rows(name: str) -> dict[str, PortRow]:
    return best(name).ports


@pytest.mark.parametrize("name", EVERY)
def test_a_ports_tuning_is_a_dip_that_a_reader_sees(name: str) -> None:
    found = airpath.explain(EVERY[name], best(name).best)
    dips = [f for f in found if f.kind == "dip" and f.cause.type == "helmholtz"]
    for port, row in rows(name).items():
        if row.tuning_hz is None or not dips:
            continue
        dip = min(dips, key=lambda f: abs(f.frequency_hz - row.tuning_hz))
        assert row.tuning_hz == pytest.approx(dip.frequency_hz, rel=1e-4), port
        assert dip.shares[port].kinetic == max(
            f.shares[port].kinetic - f.shares[port].wave / 2 for f in dips if port in f.shares
        ) or f'"{port}"' in dip.cause.text


@pytest.mark.parametrize("name", ["lantern-slot", "long round port", "slot", "closed end"])
def test_a_pipe_resonance_is_the_one_that_explain_names(name: str) -> None:
    named = [f for f in airpath.explain(EVERY[name]) if f.cause.type == "pipe" and f.kind != "dip"]
    assert named
    for feature in named:
        pipes = {pipe.order: pipe for pipe in rows(name)[feature.cause.element].pipes}
        pipe = pipes[feature.cause.order]
        assert pipe.frequency_hz == pytest.approx(feature.frequency_hz, rel=1e-5)
        assert f"{feature.frequency_hz:.4g} Hz" in pipe.text


def test_an_open_port_rings_in_halves_and_a_closed_one_in_quarters() -> None:
    # c/2L and c/4L, 3c/4L with the end corrections (Rayleigh), Kinsler et al.; a few per cent for box and friction
    length = rows("long round port")["vent"].effective_length_m
    found = rows("long round port")["vent"].pipe_resonances_hz
    assert found == pytest.approx([AIR_C / 2 / length * n for n in range(1, len(found) + 1)], rel=0.03)
    closed = rows("closed end")["stub"]
    found = closed.pipe_resonances_hz
    assert found == pytest.approx([AIR_C / 4 / closed.effective_length_m * n for n in (1, 3)[: len(found)]], rel=0.06)
    assert "quarter-wave" in closed.pipes[0].text
    assert closed.tuning_hz is None


def level_over_line(box: Case, model: str, frequency: float, q: float, sign: float) -> float:
    """Return how far the level goes to one side of the line between five half-widths below and above."""
    reach = min(5 / (2 * q), 0.35)
    near = frequency * np.exp(np.linspace(-reach, reach, 201))
    level = solve(box, model, near).spl_db
    apart = level - np.interp(np.log(near), np.log(near[[0, -1]]), level[[0, -1]])
    return float(max(sign * apart))


def crowded(name: str, frequency: float, q: float) -> bool:
    """Whether a sharper resonance of another part stands in the neighbourhood: its spike is not the pipe's."""
    features = airpath.explain(EVERY[name], best(name).best)
    return any(f.q and f.q > 2 * q and abs(f.frequency_hz / frequency - 1) < min(2.5 / q, 0.35) for f in features)


@pytest.mark.parametrize("name", EVERY)
def test_what_a_pipe_does_to_the_level_is_what_the_level_curve_does(name: str) -> None:
    for row in rows(name).values():
        assert row.pipe_resonances_hz == [pipe.frequency_hz for pipe in row.pipes]
        for pipe in row.pipes:
            if pipe.q is None:
                assert pipe.stands_out_db is None
                continue
            if crowded(name, pipe.frequency_hz, pipe.q):
                continue
            sign = np.sign(pipe.stands_out_db)
            here, other = (
                level_over_line(EVERY[name], best(name).best, pipe.frequency_hz, pipe.q, s) for s in (sign, -sign)
            )
            assert abs(pipe.stands_out_db) == pytest.approx(here, abs=0.1 + 0.02 * here)
            assert other < here + 0.1 + 0.02 * here
            if here > 1.1:
                assert f"level {'rises' if sign > 0 else 'falls'}" in pipe.text
            if here < 0.9:
                assert "hardly heard" in pipe.text


def test_the_band_used_is_that_of_the_tones() -> None:
    (slot,) = rows("lantern-slot").values()
    assert [pipe.in_band for pipe in slot.pipes] == [True, False, False]
    assert "inside the band of the tones" in slot.pipes[0].text
    (vent,) = rows("long round port").values()
    assert all(pipe.in_band and "inside the sweep" in pipe.text for pipe in vent.pipes)


def test_a_lumped_box_has_the_ports_own_resonances() -> None:
    (slot,) = airpath.predict(DEMOS["lantern-slot"], ("lumped",)).ports.values()
    assert [pipe.q for pipe in slot.pipes] == [None] * 3
    assert slot.pipe_resonances_hz[0] == pytest.approx(AIR_C / 2 / slot.effective_length_m, rel=0.004)


@pytest.mark.parametrize("name", EVERY)
def test_a_port_has_the_same_length_wherever_it_is_told(name: str) -> None:
    for feature in airpath.explain(EVERY[name], best(name).best):
        for port, metres in re.findall(r'port "([^"]*)", ([\d.]+) m long with its end', feature.cause.text):
            assert float(metres) == pytest.approx(rows(name)[port].effective_length_m, rel=0.05), port
