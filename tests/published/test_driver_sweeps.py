"""Driver values from sweeps against a worked example, by added mass and by known volume."""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from airpath.measured.drivers.driver import DriverValues, driver_values
from airpath.measured.drivers.peak import read_peak
from driver_sweeps import GRID, swept

DATA = tomllib.loads(Path(__file__).with_name("driver-sweeps.toml").read_text(encoding="utf-8"))
FREE, MASS, CLOSED, ABOUT = DATA["free"], DATA["mass"], DATA["closed"], DATA["about"]
COILS = {"none": (0.0, 0.0, 1.0), "plain": (5e-4, 0.0, 1.0), "lossy": (3e-4, 8e-4, 6.0)}


def curve(f0: float, Qms: float, Qes: float, coil: tuple[float, float, float]) -> np.ndarray:
    """Z = Re + Res/(1 + j Qms (f/f0 - f0/f)), Res = Re Qms/Qes, and the coil."""
    s, (Le, Le2, Re2) = 2j * np.pi * GRID, coil
    motion = FREE["Re"] * Qms / Qes / (1 + 1j * Qms * (GRID / f0 - f0 / GRID))
    return FREE["Re"] + motion + s * Le + s * Le2 * Re2 / (s * Le2 + Re2)


def measured(way: str, coil: tuple[float, float, float], phase: bool) -> DriverValues:
    free = swept(curve(FREE["fs"], FREE["Qms"], FREE["Qes"], coil), phase=phase)
    if way == "mass":
        grown = np.sqrt(1 + MASS["grams"] / MASS["moving_grams"])
        second = curve(FREE["fs"] / grown, FREE["Qms"] * grown, FREE["Qes"] * grown, coil)
        extra = {"added_mass": MASS["grams"] * 1e-3}
    else:
        grown = CLOSED["fc"] / FREE["fs"]
        Qec = FREE["Qes"] * grown
        second = curve(CLOSED["fc"], 1 / (1 / CLOSED["Qtc"] - 1 / Qec), Qec, coil)
        extra = {"known_volume": CLOSED["litres"] * 1e-3}
    return driver_values(free, swept(second, phase=phase), Sd=ABOUT["Sd"], **extra)


@pytest.mark.parametrize("coil", COILS)
@pytest.mark.parametrize("way", ["mass", "volume"])
@pytest.mark.parametrize("phase", [True, False])
def test_worked_example_comes_back(way: str, coil: str, phase: bool) -> None:
    found = measured(way, COILS[coil], phase)
    for row in DATA["value"]:
        got = found.values[row["symbol"]].value
        assert abs(got / row["value"] - 1) < ABOUT["tolerance"], f"{ABOUT['source']}: {row['symbol']} {got}"
    assert abs(found.values["fs"].value / FREE["fs"] - 1) < 1e-5
    for name, value in zip(("Le", "Le2", "Re2"), COILS[coil], strict=True):
        assert name not in found.values or abs(found.values[name].value / value - 1) < 1e-4
    assert found.warnings == []


@pytest.mark.parametrize("way", ["mass", "volume"])
def test_peaks_alone_give_the_same_within_the_reading(way: str) -> None:
    """IEC 60268-5 (from memory): f1, f2 at |Z| = Re sqrt(r0); Vas = V (fc Qec/(fs Qes) - 1); mass by (fs/fs')^2."""
    found = measured(way, COILS["none"], True)
    truth = {row["symbol"]: row["value"] for row in DATA["value"]}
    for name in {"Vas", "Qts", "Mms"} & found.classical.keys():
        assert abs(found.classical[name] / truth[name] - 1) < 0.005, name


def test_flanks_of_a_peak_are_those_of_the_closed_form() -> None:
    """f1 f2 = fs^2, and f2 - f1 = fs sqrt(r0)/Qms (Small 1972)."""
    peak = read_peak(swept(curve(FREE["fs"], FREE["Qms"], FREE["Qes"], COILS["none"])), FREE["Re"])
    assert abs(np.sqrt(peak.f1 * peak.f2) / FREE["fs"] - 1) < 1e-3
    r0 = 1 + FREE["Qms"] / FREE["Qes"]
    assert abs(peak.top / FREE["Re"] / r0 - 1) < 2e-3
    assert abs((peak.f2 - peak.f1) / (FREE["fs"] * np.sqrt(r0) / FREE["Qms"]) - 1) < 2e-3
