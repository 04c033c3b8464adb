"""Wrong arguments from Python get one clear message, and no number."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

import airpath

CASES = Path(__file__).parents[2] / "cases"
BENCH = airpath.load(CASES / "rumble-bench.toml")
SWEEP = airpath.read_sweep(CASES / "data" / "rumble-bench-open.csv")
FREE = airpath.read_sweep(CASES / "data" / "ticket-booth-free.csv")
HEAVY = airpath.read_sweep(CASES / "data" / "ticket-booth-6g.csv")


@pytest.mark.parametrize("frequency_hz", [[], [0.0, 100.0], [-5.0, 100.0], [math.nan], [math.inf], [[50.0, 60.0]]])
def test_solve_takes_frequencies_above_zero(frequency_hz):
    with pytest.raises(ValueError, match="frequency_hz: expected"):
        airpath.solve(BENCH, frequency_hz=frequency_hz)


def test_solve_takes_a_single_frequency():
    alone, among = airpath.solve(BENCH, frequency_hz=112.0), airpath.solve(BENCH, frequency_hz=[100.0, 112.0])
    assert alone.impedance == pytest.approx(among.impedance[1:], rel=1e-12)


@pytest.mark.parametrize("to", [0.0, -2.0, math.nan, math.inf])
def test_a_scale_is_above_zero(to):
    with pytest.raises(ValueError, match="scale"):
        airpath.scaled(BENCH, to)


@pytest.mark.parametrize(
    "given",
    [{}, {"voltage": 2.0, "power": 5.0}, {"power": 5.0, "clean": True}, {"voltage": -1.0}, {"power": math.nan}],
    ids=str,
)
def test_a_common_drive_is_one_thing_above_zero(given):
    with pytest.raises(ValueError, match="drive: expected"):
        airpath.CommonDrive(**given)


@pytest.mark.parametrize(
    ("given", "named"),
    [
        ({"Sd": -88e-4}, "Sd"),
        ({"Sd": math.nan}, "Sd"),
        ({"Re": 0.0}, "Re"),
        ({"added_mass": 6e-3}, "second"),
        ({"known_volume": 0.01}, "second"),
        ({"second": HEAVY, "Sd": 88e-4, "added_mass": -6e-3}, "added_mass"),
        ({"second": HEAVY, "Sd": 88e-4}, "second"),
    ],
    ids=lambda value: ", ".join(value) if isinstance(value, dict) else value,
)
def test_driver_values_take_sizes_above_zero_that_fit_together(given, named):
    with pytest.raises(ValueError, match=named):
        airpath.driver_values(FREE, **given)


def test_a_fit_needs_a_sweep():
    with pytest.raises(airpath.CaseError, match="expected a sweep"):
        airpath.fit(BENCH, [])


@pytest.mark.parametrize("name", ["tolerance", "driver_tolerance"])
@pytest.mark.parametrize("value", [-1e-3, math.nan, math.inf])
def test_a_tolerance_is_a_size(name, value):
    with pytest.raises(ValueError, match="tolerance"):
        airpath.fit(BENCH, SWEEP, ["nose.length"], **{name: value})


def test_one_name_stands_for_a_list_of_one():
    one = airpath.predict(BENCH, "line")
    assert list(one.responses) == ["line"]
    assert np.array_equal(one.tones_hz, BENCH.tones)
    found = airpath.cover(BENCH, "line", only="nose")
    assert found.openings == ("nose",)


def test_the_public_names_are_shown_and_all_have_a_home():
    assert set(airpath.__all__) == set(airpath._HOMES) <= set(dir(airpath))
    assert "Any" not in dir(airpath)
