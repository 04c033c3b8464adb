"""Features found in noisy sweeps: those of the model that made them, and no others."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

import airpath
from airpath.findings.explaining.explain import Feature
from airpath.measured.reading.found import Found, found_features
from airpath.measured.reading.rational import rational_fit
from bench_boxes import box
from driver_sweeps import GRID, driver_impedance, swept

PLAIN = {"Mms": 0.02, "Cms": 5e-4, "Rms": 1.2, "Bl": 7.0, "Re": 5.7, "Le": 3e-4}


@lru_cache
def made(name: str, model: str) -> tuple[airpath.Response, list[Feature]]:
    case = box(name)
    return airpath.solve(case, model), airpath.explain(case, model)


def nearest(found: list[Found], feature: Feature) -> Found:
    alike = [one for one in found if one.kind == feature.kind]
    return min(alike, key=lambda one: abs(one.frequency_hz - feature.frequency_hz))


BOXES = (("booth", "line"), ("pair", "lumped"), ("horn", "lumped"))


@pytest.mark.parametrize(("name", "model"), BOXES)
@pytest.mark.parametrize("phase", [True, False])
def test_features_of_a_noisy_sweep_are_those_of_its_model(name: str, model: str, phase: bool) -> None:
    response, features = made(name, model)
    strong = [f for f in features if f.q is not None]
    for seed in range(3):
        found = found_features(swept(response.impedance, response.frequency, noise=0.005, seed=seed, phase=phase))
        for feature in strong:
            one = nearest(found, feature)
            within = 0.003 if feature.kind == "peak" else 0.02 if phase else 0.06  # the magnitude of a dip is flat
            assert one.frequency_hz == pytest.approx(feature.frequency_hz, rel=within)
            if feature.kind == "peak":
                assert one.q == pytest.approx(feature.q, rel=0.05)
                assert one.impedance_ohm == pytest.approx(feature.impedance_ohm, rel=0.03)


@pytest.mark.parametrize("phase", [True, False])
def test_noise_is_no_feature(phase: bool) -> None:
    """30 noisy sweeps of a driver alone: its peak and the dip above it, and hardly ever anything else."""
    more = 0
    for seed in range(30):
        found = found_features(swept(driver_impedance(GRID, **PLAIN), noise=0.005, seed=seed, phase=phase))
        kinds = [one.kind for one in found]
        assert "peak" in kinds
        more += len(found) - 2
    assert more <= 3


@pytest.mark.parametrize("height", [0.05, 0.2])
@pytest.mark.parametrize("phase", [True, False])
def test_a_ripple_is_found_by_its_height(height: float, phase: bool) -> None:
    """A resonance at 412 Hz, Q 25, on the coil's rise: its frequency within 0.5 %, its Q within 30 %."""
    z = driver_impedance(GRID, **PLAIN)
    near = float(np.abs(driver_impedance(np.array([412.0]), **PLAIN))[0])
    z = z + height * near / (1 + 25j * (GRID / 412 - 412 / GRID))
    for seed in range(5):
        found = found_features(swept(z, noise=0.005, seed=seed, phase=phase))
        close = [one for one in found if one.kind != "dip" and abs(one.frequency_hz / 412 - 1) < 0.01]
        assert len(close) == 1 and close[0].q == pytest.approx(25, rel=0.4)


def test_noise_is_measured() -> None:
    for noise in (0.002, 0.02):
        sweep = swept(driver_impedance(GRID, **PLAIN), noise=noise)
        assert rational_fit(sweep).noise == pytest.approx(noise, rel=0.1)


def test_fit_of_an_exact_rational_function() -> None:
    """Vector fitting gives back the poles of what is rational (Gustavsen & Semlyen 1999)."""
    curve = rational_fit(swept(driver_impedance(GRID, **PLAIN)))
    pole = -PLAIN["Rms"] / (2 * PLAIN["Mms"])
    swing = 1j * np.sqrt(1 / (PLAIN["Mms"] * PLAIN["Cms"]) - pole**2)
    assert curve.noise < 1e-6
    assert curve.rings[0][0] == pytest.approx(pole + swing, rel=1e-6)
    assert curve.slope == pytest.approx(PLAIN["Le"], rel=1e-6)
    assert curve.constant == pytest.approx(PLAIN["Re"], rel=1e-6)


def test_very_many_points() -> None:
    even = np.linspace(10, 10_000, 100_000)
    found = found_features(swept(driver_impedance(even, **PLAIN), even, noise=0.01))
    truth = 1 / (2 * np.pi * np.sqrt(PLAIN["Mms"] * PLAIN["Cms"]))
    assert [one.kind for one in found] == ["peak", "dip"] and found[0].frequency_hz == pytest.approx(truth, rel=0.005)
