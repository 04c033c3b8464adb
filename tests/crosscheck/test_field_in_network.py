"""The fidelities of one box against each other: a drawn rectangle against the exact cuboid, all at low frequency."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import airpath

HEAD = """
[driver]
fs = "92 Hz"
Qms = 4.1
Qes = 0.52
Vas = "1.3 L"
Sd = "20 cm^2"
Re = "3.4 ohm"
Le = "0.25 mH"
rear = "main"
{at}
[ports.nose]
from = "main"
to = "outside"
length = "62 mm"
width = "100 mm"
height = "30 mm"
{from_at}
[sweep]
start = "5 Hz"
stop = "2.5 kHz"
points_per_octave = 24
[chambers.main]
{chamber}
"""
# a box 120 x 140 x 100 mm (z is the depth); driver and slot span the depth, so that the planar drawing is exact
OUTLINE = """
kind = "planar"
depth = "100 mm"
unit = "mm"
points = [[0, 0], [120, 0], [120, 140], [0, 140]]
[openings]
driver = [[0, 30], [0, 50]]
nose = [[60, 140], [90, 140]]
"""


@pytest.fixture(scope="module")
def boxes(tmp_path_factory) -> dict[str, airpath.Case]:
    folder: Path = tmp_path_factory.mktemp("boxes")
    (folder / "main.toml").write_text(OUTLINE, encoding="utf-8")
    drawn = HEAD.format(at="", from_at="", chamber='outline = "main.toml"')
    sized = HEAD.format(
        at='rear_at = ["0 mm", "40 mm", "50 mm"]',
        from_at='from_at = ["75 mm", "140 mm", "50 mm"]',
        chamber='size = ["120 mm", "140 mm", "100 mm"]',
    )
    out = {}
    for name, text in (("drawn", drawn), ("sized", sized)):
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
        out[name] = airpath.load(folder / f"{name}.toml")
    return out


def test_all_fidelities_meet_at_low_frequency(boxes):
    """End corrections differ between formula and field; what the chamber's spring does must not."""
    for case in boxes.values():
        z = {m: airpath.solve(case, m, [5.0, 10.0]).impedance for m in ("lumped", "line", "field")}
        assert np.abs(z["line"] / z["lumped"] - 1).max() < 2e-3
        assert np.abs(z["field"] / z["lumped"] - 1).max() < 2e-3


def test_tunings_of_drawing_and_cuboid_agree(boxes):
    """At the tuning the cone stands still: finite elements and modal sum must give the slot the same near field."""
    frequency = np.arange(80.0, 260.0, 0.1)
    dip = {}
    for name, case in boxes.items():
        z = np.abs(airpath.solve(case, "field", frequency).impedance)
        inner = np.flatnonzero((z[1:-1] < z[:-2]) & (z[1:-1] < z[2:])) + 1
        assert len(inner) == 1
        dip[name] = frequency[inner[0]]
    assert dip["drawn"] == pytest.approx(dip["sized"], rel=2e-3)
    lumped = np.abs(airpath.solve(boxes["sized"], "lumped", frequency).impedance)
    assert frequency[lumped.argmin()] > 1.01 * dip["sized"]  # the formula's end correction is another number


def test_field_balances_its_power(boxes):
    for case in boxes.values():
        assert airpath.solve(case, "field").imbalance < 1e-9


def test_a_missing_opening_is_named(boxes, tmp_path):
    folder = boxes["drawn"].source.parent
    text = (folder / "drawn.toml").read_text(encoding="utf-8").replace("[ports.nose]", "[ports.snout]")
    (folder / "other.toml").write_text(text, encoding="utf-8")
    with pytest.raises(airpath.AirpathError, match=r'no opening "snout".*driver, nose'):
        airpath.solve(airpath.load(folder / "other.toml"), "field")


def test_field_needs_shape():
    case = airpath.load(Path(__file__).parents[2] / "cases" / "lantern-slot.toml")
    with pytest.raises(airpath.FidelityError, match=r"needs a chamber given by an outline.*lumped, line"):
        airpath.solve(case, "field")
