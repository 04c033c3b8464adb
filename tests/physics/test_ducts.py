"""Ducts and horns: splitting one changes nothing, short ones vanish, slow ones become plugs, fast tubes cool down."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ive, struve

from airpath.acoustics.ends import flanged_length, free_length
from airpath.acoustics.porous import Fill
from airpath.acoustics.radiation import baffled_piston, baffled_rectangle, rectangle_length
from airpath.acoustics.viscothermal import (
    Section,
    chamber_compressibility,
    effective_density,
    effective_medium,
    layer_function,
)
from airpath.elements.base import Element, cascade
from airpath.elements.chamber import Chamber
from airpath.elements.duct import Duct
from airpath.elements.horn import Horn, horn_profile
from airpath.elements.mouth import Mouth
from airpath.elements.passage import Passage
from airpath.elements.plug import Plug
from small_boxes import LOSSLESS, REFERENCE

MANY = settings(max_examples=40, derandomize=True, deadline=None)
SIDE = st.floats(min_value=5e-4, max_value=0.4)
LENGTH = st.floats(min_value=1e-3, max_value=3.0)
SHARE = st.floats(min_value=0.05, max_value=0.95)
SECTION = st.one_of(
    st.builds(lambda d: Section(height=d), SIDE), st.builds(lambda h, w: Section(height=h, width=w), SIDE, SIDE)
)
OMEGA = 2 * np.pi * np.geomspace(5.0, 900.0, 7)


def _close(one: np.ndarray, other: np.ndarray, tolerance: float) -> None:
    size = np.abs(one).max(axis=(1, 2), keepdims=True)
    assert (np.abs(one - other) / size).max() <= tolerance


@MANY
@given(section=SECTION, length=LENGTH, share=SHARE, stuffed=st.booleans())
def test_a_duct_in_two_pieces_is_the_same_duct(section: Section, length: float, share: float, stuffed: bool) -> None:
    fill = Fill(flow_resistivity=3000.0, fraction=0.7) if stuffed else None
    whole = Duct(section=section, length=length, fill=fill, count=2)
    parts = [Duct(section=section, length=l, fill=fill, count=2) for l in (share * length, (1 - share) * length)]
    joined = Passage(stages=tuple(parts)).admittance(OMEGA, REFERENCE)
    _close(whole.admittance(OMEGA, REFERENCE), joined, 1e-9)


@MANY
@given(
    ratio=st.floats(min_value=1.05, max_value=40.0), length=st.floats(min_value=0.05, max_value=3.0), share=SHARE,
    profile=st.sampled_from(["conical", "exponential", "hyperbolic"]), family=st.floats(min_value=0.0, max_value=3.0),
    narrowing=st.booleans(),
)  # fmt: skip
def test_a_horn_in_two_pieces_is_the_same_horn(
    ratio: float, length: float, share: float, profile: str, family: float, narrowing: bool
) -> None:
    areas = (0.005, 0.005 * ratio)
    if narrowing and profile != "hyperbolic":
        areas = areas[::-1]
    horn = horn_profile(profile, *areas, length, family)
    at = share * length
    parts = [horn.part(0.0, at), horn.part(at, length)]
    joined = cascade([part.admittance(OMEGA, LOSSLESS) for part in parts])
    _close(horn.admittance(OMEGA, LOSSLESS), joined, 1e-7)
    assert horn.area(np.array([length]))[0] == pytest.approx(areas[1], rel=1e-9)


@MANY
@given(section=SECTION, length=LENGTH)
def test_a_horn_that_does_not_widen_is_a_duct(section: Section, length: float) -> None:
    round_ = Section.round(section.area)
    horn = Horn(throat=section.area, length=length)
    _close(Duct(section=round_, length=length).admittance(OMEGA, REFERENCE), horn.admittance(OMEGA, REFERENCE), 1e-9)


@MANY
@given(section=SECTION)
def test_a_very_short_element_adds_its_air_to_what_follows(section: Section) -> None:
    """Through 0.1 mm of it, a chamber is itself with that air's spring, plus the plug's impedance (first order)."""
    chamber = Chamber(volume=0.03, wall_area=0.6).admittance(OMEGA, REFERENCE)[:, 0, 0]
    round_ = Section.round(section.area)
    short: list[tuple[Element, Section, float]] = [
        (Duct(section=section, length=1e-4), section, 1.0),
        (Plug(section=section, length=1e-4), section, 0.0),
        (Horn(throat=section.area, length=1e-4), round_, 1.0),
    ]
    for element, shape, springy in short:
        y = element.admittance(OMEGA, REFERENCE)
        seen = 1 / (y[:, 0, 0] - y[:, 0, 1] ** 2 / (y[:, 1, 1] + chamber))
        plug = 1j * OMEGA * effective_density(shape, OMEGA, REFERENCE) * 1e-4 / section.area
        spring = 1j * OMEGA * effective_medium(shape, OMEGA, REFERENCE)[1] * 1e-4 * section.area
        behind = 1 / (chamber + springy * spring)
        assert np.all(np.abs(seen - plug - behind) <= 1e-3 * np.abs(plug) + 1e-6 * np.abs(behind))


@MANY
@given(section=SECTION, length=LENGTH)
def test_a_slow_duct_is_a_plug(section: Section, length: float) -> None:
    """What is left is the air's spring, of the order of |Gl|^2: it falls at least tenfold with frequency."""
    apart = []
    for hz in (0.4, 0.04):
        omega = 2 * np.pi * np.array([hz])
        duct, plug = (kind(section=section, length=length).admittance(omega, REFERENCE) for kind in (Duct, Plug))
        apart.append(np.abs(duct / plug - 1).max())
    wide = section.radius > 0.01
    assert apart[1] < (1e-3 if wide else 0.5)
    assert apart[1] < 0.11 * apart[0] + 1e-12


@MANY
@given(side=SIDE, hz=st.floats(min_value=1.0, max_value=2000.0))
def test_a_square_lies_between_its_inner_and_outer_circle(side: float, hz: float) -> None:
    omega = 2 * np.pi * np.array([hz])
    resistance = [
        -effective_density(section, omega, REFERENCE).imag[0]
        for section in (Section(height=side * np.sqrt(2)), Section(height=side, width=side), Section(height=side))
    ]
    assert resistance[0] < resistance[1] < resistance[2]


@MANY
@given(side=SIDE, ratio=st.floats(min_value=1.0, max_value=30.0))
def test_a_rectangle_has_no_first_side(side: float, ratio: float) -> None:
    one, other = Section(height=side, width=ratio * side), Section(height=ratio * side, width=side)
    assert effective_density(one, OMEGA, REFERENCE) == pytest.approx(effective_density(other, OMEGA, REFERENCE))
    assert flanged_length(one) == pytest.approx(flanged_length(other))


def test_a_slow_chamber_is_isothermal_and_a_fast_one_adiabatic() -> None:
    slow = chamber_compressibility(0.03, 0.6, np.array([1e-6]), REFERENCE)[0]
    assert slow * REFERENCE.bulk_modulus == pytest.approx(REFERENCE.gamma, rel=1e-4)
    fast = chamber_compressibility(0.03, 0.6, np.array([1e9]), REFERENCE)[0]
    assert fast * REFERENCE.bulk_modulus == pytest.approx(1.0, rel=1e-4)


@MANY
@given(width=st.floats(min_value=0.01, max_value=0.5), ratio=st.floats(min_value=1.0, max_value=40.0))
def test_a_slow_rectangular_piston(width: float, ratio: float) -> None:
    """Mass by the closed form, resistance k^2 S/(2 pi) of a simple source in a baffle (Rayleigh)."""
    height = width / ratio
    k = np.array([1e-3 / width])
    slow = baffled_rectangle(k, width, height)[0]
    assert slow.imag / k[0] == pytest.approx(rectangle_length(width, height), rel=1e-5)
    assert slow.real == pytest.approx(k[0] ** 2 * width * height / (2 * np.pi), rel=1e-5)


def test_a_fast_rectangular_piston_meets_a_plane_wave() -> None:
    apart = np.abs(baffled_rectangle(np.array([100.0, 400.0]) / 0.1, 0.2, 0.1) - 1)
    assert apart[0] < 0.02
    assert apart[1] < 0.005


def test_a_free_slot_has_its_own_mass_and_no_reactance_to_fast_waves() -> None:
    """Slow: the length of its shape. Fast: a beam leaves without an echo, z = 1 (Levine & Schwinger 1948)."""
    slot = Section(height=0.02, width=0.3)
    slow, fast = Mouth(section=slot, flanged=False).specific_impedance(np.array([1e-3, 8.0]) / slot.radius)
    assert slow.imag / (1e-3 / slot.radius) == pytest.approx(free_length(slot), rel=1e-4)
    assert abs(fast - 1) < 0.1


@pytest.mark.parametrize("flanged", [True, False])
@pytest.mark.parametrize(
    ("section", "along_wall"),
    [(Section(height=0.06), False), (Section(height=0.02, width=0.3), False), (Section(height=0.02, width=0.3), True)],
)
def test_the_length_of_a_mouth_at_rest_is_the_limit_of_slow_waves(
    section: Section, along_wall: bool, flanged: bool
) -> None:
    mouth = Mouth(section=section, flanged=flanged, along_wall=along_wall)
    k = np.array([1e-4 / section.radius])
    assert mouth.specific_impedance(k).imag[0] == pytest.approx(k[0] * mouth.rest_length, rel=1e-7)


@MANY
@given(width=st.floats(min_value=0.02, max_value=0.4), ratio=st.floats(min_value=1.0, max_value=20.0))
def test_a_slot_on_a_wall_is_half_of_its_mirrored_double(width: float, ratio: float) -> None:
    height = width / ratio
    k = OMEGA / REFERENCE.sound_speed
    slot = Mouth(section=Section(width=width, height=height), along_wall=True).specific_impedance(k)
    assert slot == pytest.approx(Mouth(section=Section(width=width, height=2 * height)).specific_impedance(k))


@pytest.mark.parametrize("angle", [0.0, np.pi / 4, 0.87, 0.88, 1.2, 1.5])
def test_a_round_duct_agrees_with_bessel_functions_of_any_width(angle: float) -> None:
    """scipy's scaled Bessel functions, over the seams between series, expansion and scipy itself."""
    z = np.geomspace(1e-4, 3000, 2000) * np.exp(1j * angle)
    omega = z**2 / 1j  # with a diffusivity of 1 m^2/s and a radius of 1 m
    made = layer_function(Section(height=2.0), omega, 1.0)
    assert np.abs(made / (2 * ive(1, z) / (z * ive(0, z))) - 1).max() < 1e-12


def test_the_baffled_piston_is_the_same_for_real_and_complex_wavenumbers() -> None:
    k = np.linspace(0.01, 7.9, 500)
    real, complex_ = baffled_piston(k, 1.0), baffled_piston(k + 0j, 1.0)
    assert np.abs(real - complex_).max() < 1e-10
    assert np.abs(real.imag - struve(1, 2 * k) / k).max() < 1e-10


def test_a_passage_keeps_the_order_of_its_stages() -> None:
    """From its first end, with the last one open: the plug's impedance, and then the duct's of an open pipe."""
    section = Section(height=0.05)
    plug, duct = Plug(section=section, length=0.3, friction=False), Duct(section=section, length=0.4)
    y = Passage(stages=(plug, duct)).admittance(OMEGA, REFERENCE)
    first, second = (stage.admittance(OMEGA, REFERENCE)[:, 0, 0] for stage in (plug, duct))
    assert y[:, 0, 0] == pytest.approx(1 / (1 / first + 1 / second), rel=1e-10)
    assert np.abs(y[:, 1, 1] / y[:, 0, 0] - 1).max() > 0.1
