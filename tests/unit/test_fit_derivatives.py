"""Slopes of the impedance over every value of a case against whole solves at turned values."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airpath.case import load
from airpath.case.parameters import parameters
from airpath.errors import AirpathError
from airpath.measured.fitting.derivatives import Turn, log_impedance, slopes
from airpath.measured.fitting.freedom import Free, width, with_leak
from airpath.measured.newton import Aim

CASES = Path(__file__).parents[2] / "cases"
OMEGA = 2 * np.pi * np.geomspace(30, 1500, 25)


@pytest.mark.parametrize(
    ("name", "model"),
    [("ticket-booth", "lumped"), ("rumble-bench", "line"), ("fog-signal", "line"), ("lantern-slot", "line")],
)
def test_slopes_are_those_of_whole_solves(name, model):
    case = load(CASES / f"{name}.toml")
    case = with_leak(case, next(iter(case.chambers)))
    known = parameters(case)
    turns = []
    for parameter in known.values():
        one = Free(parameter=parameter, width=width(parameter))
        h = one.step()
        turns.append(Turn(case=one.put(case, one.value(h)), span=h))
    value, found = slopes(case, model, OMEGA, turns)
    np.testing.assert_allclose(value, log_impedance(case, model, OMEGA), rtol=1e-12)
    for i, key in enumerate(known):
        one = Free(parameter=known[key], width=width(known[key]))
        h = 30 * one.step()
        sides = [log_impedance(one.put(case, one.value(s * h)), model, OMEGA) for s in (1, -1)]
        whole = (sides[0] - sides[1]) / (2 * h)
        bend = np.abs(sides[0] - 2 * value + sides[1]).max() / h**2  # all there is where a place is in the middle
        atol = 2e-5 * np.abs(whole).max() + one.step() * bend + 1e-9  # a one-sided difference over a step; rounding
        np.testing.assert_allclose(found[:, i], whole, atol=atol, err_msg=key)


def test_several_drivers_and_their_wiring():
    case = load(CASES / "ticket-booth.toml")
    for wiring, factor in (("series", 2.0), ("parallel", 0.5)):
        driver = case.driver.model_copy(update={"count": 2, "wiring": wiring})
        pair = case.model_copy(update={"driver": driver})
        one = Free(parameter=parameters(pair)["driver.Re"], width=0.3)
        h = one.step()
        value, found = slopes(pair, "line", OMEGA, [Turn(case=one.put(pair, one.value(h)), span=h)])
        sides = [log_impedance(one.put(pair, one.value(s * h)), "line", OMEGA) for s in (1, -1)]
        np.testing.assert_allclose(found[:, 0], (sides[0] - sides[1]) / (2 * h), atol=1e-6)
        assert np.exp(value[-1]).real > 0.9 * factor * case.driver.Re


def test_a_step_that_leads_to_no_box_is_shortened():
    """A port becomes too wide for the wall it sits in: the search goes half of the way, where a box can be built."""
    case = load(CASES / "rumble-bench.toml")
    name, step = "ports.rear.diameter", np.array([0.6])
    known = parameters(case)[name]
    with pytest.raises(AirpathError):
        log_impedance(known.changed(known.value * np.exp(0.6)), "field", OMEGA)
    aim = Aim(model="field", frequency=OMEGA / (2 * np.pi), log_impedance=np.zeros(len(OMEGA)), noise=0.01)
    assert aim._reached(case, [name], step, step)[0] == pytest.approx([0.3])
    with pytest.raises(AirpathError):  # where the start is no box there is no way back
        aim._reached(case, [name], step, np.zeros(1))


def test_a_value_that_can_only_shrink_is_turned_the_other_way():
    """The port just fits its wall: wider, no box can be built; the slope is that of a narrower one."""
    case = load(CASES / "rumble-bench.toml")
    rear = case.ports["rear"]
    assert rear.from_at is not None
    size = case.chambers[rear.from_].size
    assert size is not None
    gap = min(min(x, side - x) for x, side in zip(rear.from_at, size, strict=True) if 0.01 * side < x < 0.99 * side)
    full = parameters(case)["ports.rear.diameter"].changed(2 * gap)
    one = Free(parameter=parameters(full)["ports.rear.diameter"], width=1e-3)
    h = one.step()
    wider, narrower = (one.put(full, one.value(s * h)) for s in (1, -1))
    with pytest.raises(AirpathError):
        log_impedance(wider, "field", OMEGA)
    with pytest.raises(AirpathError):
        slopes(full, "field", OMEGA, [Turn(case=wider, span=h)])
    value, found = slopes(full, "field", OMEGA, [Turn(case=wider, span=h, back=narrower)])
    whole = (value - log_impedance(narrower, "field", OMEGA)) / h
    np.testing.assert_allclose(found[:, 0], whole, atol=2e-5 * np.abs(whole).max())
