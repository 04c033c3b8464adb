"""Stuffing below the frequencies that Miki fitted: what thermodynamics and a steady flow demand."""

from __future__ import annotations

import numpy as np
import pytest

from airpath.acoustics.porous import Fill
from airpath.acoustics.viscothermal import Section
from airpath.air import air_at
from airpath.elements.chamber import Chamber
from airpath.elements.duct import Duct

AIR = air_at()
OMEGA = 2 * np.pi * np.geomspace(1e-3, 5e3, 400)
RESISTIVITY = (500.0, 8000.0, 1e5)


@pytest.mark.parametrize("resistivity", RESISTIVITY)
def test_a_steady_flow_meets_the_flow_resistivity(resistivity: float) -> None:
    """ISO 9053-1: the pressure drop per length of a slow steady flow is sigma times its velocity."""
    omega = np.array([1e-4, 1e-2]) * resistivity / 1000
    drag = 1j * omega * Fill(flow_resistivity=resistivity).density(omega, AIR)
    assert np.abs(drag - resistivity).max() <= 0.01 * resistivity


@pytest.mark.parametrize("resistivity", RESISTIVITY)
def test_slow_compression_is_isothermal(resistivity: float) -> None:
    """Newton's spring of air, 1/p = gamma/(rho c^2), as the slow end of the fit has it (it stops 3.3 % short)."""
    slow = Fill(flow_resistivity=resistivity).compressibility(OMEGA[:1], AIR)[0]
    assert slow == pytest.approx(AIR.gamma / AIR.bulk_modulus, rel=0.035)


@pytest.mark.parametrize("resistivity", RESISTIVITY)
@pytest.mark.parametrize("fraction", [0.3, 1.0])
def test_stuffing_never_gives_power(resistivity: float, fraction: float) -> None:
    fill = Fill(flow_resistivity=resistivity, fraction=fraction)
    assert np.all(fill.compressibility(OMEGA, AIR).imag < 0)
    assert np.all(fill.density(OMEGA, AIR).imag < 0)
    duct = Duct(section=Section(height=0.1), length=0.7, fill=fill)
    for element in (Chamber(volume=0.03, wall_area=0.6, fill=fill), duct):
        y = element.admittance(OMEGA, AIR)
        least = np.linalg.eigvalsh((y + y.conj().transpose(0, 2, 1)) / 2)[:, 0]
        assert np.all(least >= -1e-12 * np.abs(y).max(axis=(1, 2)))


def test_what_is_held_goes_over_into_the_fit_without_a_step() -> None:
    fill = Fill(flow_resistivity=8000.0)
    for lowest in (2.1e-3, 1.1e-3):
        around = 2 * np.pi * lowest * 8000.0 * np.array([1 - 1e-9, 1 + 1e-9])
        for found in (fill.density(around, AIR), fill.compressibility(around + 0j, AIR)):
            assert abs(found[1] - found[0]) <= 1e-8 * abs(found[0])
