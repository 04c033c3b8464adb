"""Checks on sweeps: each fires on a spoiled one, none on the good one, clean or with 0.5 % of noise."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

import airpath
from airpath.measured.reading.bode import phase_of
from airpath.measured.reading.checks import sweep_doubts, with_coil
from airpath.measured.reading.sweep import MeasuredSweep
from bench_boxes import box as case_of
from driver_sweeps import swept

GOOD = ("booth", "slot", "horn")


@lru_cache
def box(name: str) -> tuple[airpath.Case, airpath.Response]:
    case = case_of(name)
    return case, airpath.solve(case, "line")


def sweep_of(name: str, noise: float = 0.0, seed: int = 1, phase: bool = True) -> MeasuredSweep:
    response = box(name)[1]
    return swept(response.impedance, response.frequency, noise=noise, seed=seed, phase=phase)


def checks(sweep: MeasuredSweep, name: str = "booth") -> list[str]:
    return [doubt.check for doubt in sweep_doubts(sweep, box(name)[0])]


@pytest.mark.parametrize("name", GOOD)
@pytest.mark.parametrize("phase", [True, False])
@pytest.mark.parametrize("noise", [0.0, 0.005])
def test_good_sweeps_raise_no_doubt(name: str, phase: bool, noise: float) -> None:
    for seed in range(3 if noise else 1):
        assert sweep_doubts(sweep_of(name, noise, seed, phase), box(name)[0]) == []


def spoiled(kind: str, sweep: MeasuredSweep) -> MeasuredSweep:
    f, z, angle = sweep.frequency, sweep.magnitude, sweep.phase_deg
    assert angle is not None
    if kind == "wrong sign":
        return replace(sweep, phase_deg=-angle)
    if kind == "delay":
        return replace(sweep, phase_deg=angle - 360 * f * 1e-3)
    if kind == "two sweeps":
        other = sweep_of("slot").phase_deg
        assert other is not None
        mixed = np.interp(f, box("slot")[1].frequency, other)
        return replace(sweep, phase_deg=np.where(f > 60, mixed, angle))
    if kind == "beyond 90":
        return replace(sweep, phase_deg=angle + 60)
    if kind == "coarse":
        return replace(sweep, frequency=f[::12], magnitude=z[::12], phase_deg=angle[::12])
    factor = {"low": 0.9, "cable": 1.0}[kind]
    changed = (z * np.exp(1j * np.deg2rad(angle))) * factor + (0.4 if kind == "cable" else 0.0)
    return replace(sweep, magnitude=np.abs(changed), phase_deg=np.rad2deg(np.angle(changed)))


@pytest.mark.parametrize("noise", [0.0, 0.005])
@pytest.mark.parametrize(
    ("kind", "check"),
    [("wrong sign", "phase"), ("delay", "phase"), ("two sweeps", "phase"), ("beyond 90", "passive"),
     ("coarse", "coarse"), ("low", "below Re"), ("cable", "series resistance")],
)  # fmt: skip
def test_spoiled_sweeps_are_noticed(kind: str, check: str, noise: float) -> None:
    doubts = sweep_doubts(spoiled(kind, sweep_of("booth", noise)), box("booth")[0])
    assert check in [doubt.check for doubt in doubts]
    low, high = box("booth")[1].frequency[[0, -1]]
    for doubt in doubts:
        assert low <= doubt.frequency_hz <= high and doubt.text.endswith(".")


@pytest.mark.parametrize("kind", ["low", "cable", "coarse"])
def test_magnitude_alone_shows_it_too(kind: str) -> None:
    sweep = replace(spoiled(kind, sweep_of("booth", 0.005)), phase_deg=None)
    assert {"low": "below Re", "cable": "series resistance", "coarse": "coarse"}[kind] in checks(sweep)


WRONG = ((55, 85, "falls through the dip"), (30, 52, "rises through the peak"))


@pytest.mark.parametrize(("low", "high", "what"), WRONG)
def test_a_phase_that_turns_the_wrong_way(low: float, high: float, what: str) -> None:
    sweep = sweep_of("booth", 0.002)
    keep = (sweep.frequency > low) & (sweep.frequency < high)
    assert sweep.phase_deg is not None
    angle = sweep.phase_deg[keep]
    short = replace(sweep, frequency=sweep.frequency[keep], magnitude=sweep.magnitude[keep], phase_deg=angle)
    assert sweep_doubts(short) == []
    said = [d.text for d in sweep_doubts(replace(short, phase_deg=-angle)) if d.check == "foster"]
    assert len(said) == 1 and what in said[0]


def test_wrong_sign_is_called_by_its_name() -> None:
    texts = [d.text for d in sweep_doubts(spoiled("wrong sign", sweep_of("booth")))]
    assert any("wrong sign" in text for text in texts)


def test_a_leak_is_no_cable() -> None:
    """A filled dip alone is loss in the box: the dip above the tuning, where the coil takes over, stays."""
    case = box("booth")[0]
    leaky = case.model_copy(deep=True)
    chamber = leaky.chambers["box"].model_copy(update={"loss_q": 8.0})
    response = airpath.solve(leaky.model_copy(update={"chambers": {"box": chamber}}), "line")
    assert sweep_doubts(swept(response.impedance, response.frequency, noise=0.005), case) == []


def test_phase_of_a_closed_form() -> None:
    """ln Z of a resistance and an inductance: the phase is atan(w L/R) (Bode's relation on a known pair)."""
    f = np.geomspace(1, 1e5, 800)
    z = 5 + 2j * np.pi * f * 1e-3
    angle, bound = phase_of(f, np.abs(z))
    wrong = np.abs(angle - np.rad2deg(np.angle(z)))
    assert np.all(wrong < bound) and wrong[100:-100].max() < 0.1


@pytest.mark.parametrize("low", [20, 45, 100])
@pytest.mark.parametrize("high", [300, 2000])
def test_bound_holds_for_pieces_of_a_sweep(low: float, high: float) -> None:
    response = box("booth")[1]
    keep = (response.frequency >= low) & (response.frequency <= high)
    angle, bound = phase_of(response.frequency[keep], np.abs(response.impedance[keep]))
    assert np.all(np.abs(angle - np.rad2deg(np.angle(response.impedance[keep]))) < bound + 0.1)


@pytest.mark.parametrize("phase", [True, False])
@pytest.mark.parametrize("stop", [400.0, 900.0])
def test_a_missing_inductance_is_that_of_the_sweep(phase: bool, stop: float) -> None:
    """To 400 Hz the mass of the cone still turns the phase; that the case has, and it is no part of the coil's."""
    case = box("booth")[0]
    bare = case.model_copy(update={"driver": case.driver.model_copy(update={"Le": 0.0})})
    f = np.geomspace(20, stop, 300)
    for seed in range(3):
        there = swept(airpath.solve(case, "line", f).impedance, f, noise=0.005, seed=seed, phase=phase)
        found, doubts = with_coil(bare, there)
        assert found.driver.Le == pytest.approx(case.driver.Le, rel=0.1)
        assert [doubt.check for doubt in doubts] == ["no coil"]
        none = swept(airpath.solve(bare, "line", f).impedance, f, noise=0.005, seed=seed, phase=phase)
        assert with_coil(bare, none) == (bare, [])
