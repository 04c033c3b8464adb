"""A driver side at a place along a horn: at an end, next to an end, in the middle."""

from __future__ import annotations

import numpy as np
import pytest

import airpath

BOX = """
[driver]
fs = "45 Hz"
Qms = 4
Qes = 0.4
Vas = "20 L"
Sd = "130 cm^2"
Re = "5.6 ohm"
front = "line"
front_along = "{along}"
rear = "back"
[chambers.back]
volume = "10 L"
[horns.line]
profile = "conical"
throat = "150 cm^2"
mouth = "300 cm^2"
length = "2 m"
"""


def impedance(folder, along: str) -> np.ndarray:
    (folder / "tap.toml").write_text(BOX.format(along=along), encoding="utf-8")
    return airpath.solve(airpath.load(folder / "tap.toml"), "line", np.geomspace(20, 500, 60)).impedance


@pytest.mark.parametrize(("end", "near"), [("0 m", "1 mm"), ("2 m", "1.999 m")])
def test_a_tap_next_to_an_end_is_at_the_end(end, near, tmp_path):
    assert np.array_equal(impedance(tmp_path, end), impedance(tmp_path, near))


def test_a_tap_moves_smoothly_away_from_the_end(tmp_path):
    at_end = impedance(tmp_path, "0 m")
    change = {mm: np.abs(impedance(tmp_path, f"{mm} mm") / at_end - 1).max() for mm in (3, 6, 900)}
    assert change[6] / change[3] == pytest.approx(2.0, rel=0.1)
    assert change[900] > 0.5
