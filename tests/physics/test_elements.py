"""Laws that every registered element keeps: reciprocity, passivity, causality, and no loss without a cause of loss."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import airpath.elements
from airpath.acoustics.radiation import baffled_piston, disc_mass
from airpath.air import air_at
from airpath.elements.base import REGISTRY, Element
from small_boxes import LOSSLESS, REFERENCE

EXAMPLES = [
    pytest.param(example, id=f"{kind}-{number}")
    for kind, element in sorted(REGISTRY.items())
    for number, example in enumerate(element.examples())
]
FREQUENCY = st.floats(min_value=1.0, max_value=1500.0)
FEW = settings(max_examples=12, derandomize=True, deadline=None)
# without viscosity these still take power: they radiate, or their examples hold stuffing, absorption or a coil
DISSIPATES = {"mouth", "mouths", "cone"}


def _lossy_by_choice(element: Element) -> bool:
    fields = vars(element)
    chosen = any(fields.get(name) is not None for name in ("fill", "fluid", "loss_q"))
    return element.kind in DISSIPATES or chosen


def _scale(y: np.ndarray) -> float:
    return float(np.abs(y).max())


def test_every_module_of_the_package_registers_an_element() -> None:
    kinds = {element.__module__.rpartition(".")[2] for element in REGISTRY.values()}
    from pkgutil import iter_modules

    files = {module.name for module in iter_modules(airpath.elements.__path__)} - {"base"}
    assert files <= kinds


@pytest.mark.parametrize("element", EXAMPLES)
@FEW
@given(frequency=FREQUENCY)
def test_admittance_has_the_promised_shape_and_is_reciprocal(element: Element, frequency: float) -> None:
    omega = 2 * np.pi * np.array([frequency, 1.7 * frequency])
    y = element.admittance(omega, air_at())
    assert y.shape == (2, element.terminals, element.terminals)
    assert np.all(np.isfinite(y))
    for one in y:
        assert np.abs(one - one.T).max() <= 1e-10 * _scale(one)


@pytest.mark.parametrize("element", EXAMPLES)
@FEW
@given(frequency=FREQUENCY)
def test_takes_power_and_never_gives_any(element: Element, frequency: float) -> None:
    y = element.admittance(2 * np.pi * np.array([frequency]), air_at())[0]
    hermitian = (y + y.conj().T) / 2
    assert np.linalg.eigvalsh(hermitian).min() >= -1e-12 * _scale(y)


@pytest.mark.parametrize("element", EXAMPLES)
@FEW
@given(frequency=FREQUENCY, decay=st.floats(min_value=0.0, max_value=0.2))
def test_admittance_is_analytic_in_frequency(element: Element, frequency: float, decay: float) -> None:
    """The derivative along the real axis is the one along the imaginary axis (Cauchy & Riemann), and real in time."""
    omega = 2 * np.pi * frequency * (1 + 1j * decay)
    step = 1e-4 * abs(omega)
    y = element.admittance(omega + step * np.array([1, -1, 1j, -1j, 0]), air_at())
    along, across = (y[0] - y[1]) / (2 * step), (y[2] - y[3]) / (2j * step)
    size = np.abs(along).max() + _scale(y[4]) / abs(omega)
    # the third derivative leaves (step^2) y'''/3: near a sharp pole it is the larger part, so both are halved once
    half = step / 2
    z = element.admittance(omega + half * np.array([1, -1, 1j, -1j]), air_at())
    fine, fine_across = (z[0] - z[1]) / (2 * half), (z[2] - z[3]) / (2j * half)
    better, better_across = (4 * fine - along) / 3, (4 * fine_across - across) / 3
    assert np.abs(better - better_across).max() <= 1e-5 * size


@pytest.mark.parametrize("element", [e for e in EXAMPLES if not _lossy_by_choice(e.values[0])])  # type: ignore[arg-type]
@FEW
@given(frequency=FREQUENCY)
def test_air_without_loss_takes_no_power(element: Element, frequency: float) -> None:
    y = element.admittance(2 * np.pi * np.array([frequency]), LOSSLESS)[0]
    assert np.abs(y.real).max() <= 1e-12 * _scale(y)


@pytest.mark.parametrize("element", EXAMPLES)
def test_complex_frequency_on_the_real_axis_gives_the_same(element: Element) -> None:
    omega = 2 * np.pi * np.array([30.0, 300.0])
    real, complex_ = element.admittance(omega, REFERENCE), element.admittance(omega + 0j, REFERENCE)
    assert np.abs(real - complex_).max() <= 1e-9 * _scale(real)


@pytest.mark.parametrize("element", EXAMPLES)
def test_storage_is_what_a_uniform_pressure_drives_in(element: Element) -> None:
    omega = 2 * np.pi * np.array([0.005])
    stored: Any = element.storage(omega, REFERENCE)
    assert stored.shape == (1,)
    driven = element.admittance(omega, REFERENCE).sum(axis=(1, 2))
    assert abs(stored[0] - driven[0]) <= 2e-4 * max(abs(driven[0]), _scale(element.admittance(omega, REFERENCE)) * 1e-6)


def test_the_air_before_a_disc_at_rest_is_that_of_a_piston() -> None:
    """M = 8/3 rho a^3 (Rayleigh, Theory of Sound, vol. 2, section 302): w M = rho c S Im z as ka goes to zero."""
    radius, k = 0.08, np.array([1e-3])
    area, mass = np.pi * radius**2, disc_mass(np.pi * radius**2, REFERENCE.density)
    assert mass == pytest.approx(8 / 3 * REFERENCE.density * radius**3, rel=1e-12)
    assert mass == pytest.approx(REFERENCE.density * area * baffled_piston(k, radius).imag[0] / k[0], rel=1e-6)
