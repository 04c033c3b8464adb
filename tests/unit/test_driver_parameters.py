"""Driver values from any sufficient set, against a worked driver."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from airpath.acoustics.driver import MECHANICAL, SMALL_SIGNAL, mechanical_set
from airpath.air import Air

# Worked driver, relations of Small 1972, J. Audio Eng. Soc. 20, 383 (direct-radiator analysis), from memory: fs 38 Hz,
# Re 5.6 ohm, Qms 4, Qes 0.4, Sd 220 cm^2, Mms 33 g in air of 1.204 kg/m^3 and 343.2 m/s. The values below carry seven
# digits, hence the tolerance.
AIR = Air(density=1.204, sound_speed=343.2, viscosity=1.813e-5, prandtl=0.708, gamma=1.4)
Sd, Re = 0.022, 5.6
WORKED = {
    "fs": 38.0, "Qms": 4.0, "Qes": 0.4, "Vas": 0.03648594,
    "Mms": 0.033, "Cms": 0.0005315684, "Rms": 1.969779, "Bl": 10.50274,
}  # fmt: skip
SEVEN_DIGITS = 1e-6


def test_worked_driver_from_its_datasheet_values() -> None:
    found = mechanical_set({name: WORKED[name] for name in ("fs", "Qms", "Qes", "Mms")}, Sd, Re, AIR)
    for name in MECHANICAL:
        assert getattr(found, name) == pytest.approx(WORKED[name], rel=SEVEN_DIGITS), name
    assert found.disagreements == ()


def test_worked_driver_from_the_small_signal_set() -> None:
    found = mechanical_set({name: WORKED[name] for name in SMALL_SIGNAL}, Sd, Re, AIR)
    for name in MECHANICAL:
        assert getattr(found, name) == pytest.approx(WORKED[name], rel=SEVEN_DIGITS), name


def test_every_sufficient_set_of_four_gives_the_same_driver() -> None:
    sufficient = 0
    for names in combinations(WORKED, 4):
        try:
            found = mechanical_set({name: WORKED[name] for name in names}, Sd, Re, AIR)
        except ValueError:
            continue
        sufficient += 1
        for name in MECHANICAL:
            assert getattr(found, name) == pytest.approx(WORKED[name], rel=2e-5), (names, name)  # seven digits, x8
    assert 20 < sufficient < 70


def test_the_whole_set_agrees_with_itself() -> None:
    assert mechanical_set(WORKED, Sd, Re, AIR).disagreements == ()


@pytest.mark.parametrize("name", MECHANICAL)
def test_a_contradiction_over_five_percent_is_reported_with_both_values(name: str) -> None:
    assert mechanical_set({**WORKED, name: WORKED[name] * 1.045}, Sd, Re, AIR).disagreements == ()
    (odd,) = mechanical_set({**WORKED, name: WORKED[name] * 1.055}, Sd, Re, AIR).disagreements
    assert odd.name == name
    assert odd.given == WORKED[name] * 1.055
    assert odd.derived == pytest.approx(WORKED[name], rel=SEVEN_DIGITS)


@pytest.mark.parametrize(
    ("names", "words"),
    [
        (("fs", "Qms", "Qes"), "besides fs, Qms, Qes: Vas or Mms or Bl or Rms or Cms"),
        (("fs", "Mms", "Cms", "Bl"), "besides fs, Mms, Bl: Qms or Rms"),
        (("Vas", "Cms", "fs", "Mms"), "the set fs, Qms, Qes, Vas or the set Mms, Cms, Rms, Bl"),
        ((), "usable so far: nothing"),
    ],
)
def test_what_is_missing_is_named(names: tuple[str, ...], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        mechanical_set({name: WORKED[name] for name in names}, Sd, Re, AIR)


TOTAL = 1 / (1 / 4.0 + 1 / 0.4)  # of the worked driver, Small 1972: 1/Qts = 1/Qms + 1/Qes


@pytest.mark.parametrize("left_out", ["Qms", "Qes"])
def test_the_total_q_stands_in_for_the_one_that_a_data_sheet_leaves_out(left_out: str) -> None:
    names = [name for name in SMALL_SIGNAL if name != left_out]
    found = mechanical_set({**{name: WORKED[name] for name in names}, "Qts": TOTAL}, Sd, Re, AIR)
    for name in MECHANICAL:
        assert getattr(found, name) == pytest.approx(WORKED[name], rel=SEVEN_DIGITS), name


def test_a_total_q_too_many_is_compared() -> None:
    assert mechanical_set({**WORKED, "Qts": TOTAL}, Sd, Re, AIR).disagreements == ()
    (odd,) = mechanical_set({**WORKED, "Qts": TOTAL * 1.06}, Sd, Re, AIR).disagreements
    assert (odd.name, odd.derived) == ("Qts", pytest.approx(TOTAL, rel=SEVEN_DIGITS))


def test_a_total_q_alone_or_above_its_part_is_refused() -> None:
    few = {"fs": 38.0, "Vas": 0.036, "Qts": 0.36}
    with pytest.raises(ValueError, match="Qms or Qes besides Qts"):
        mechanical_set(few, Sd, Re, AIR)
    with pytest.raises(ValueError, match=r"a Qts below Qes = 0\.3"):
        mechanical_set({**few, "Qes": 0.3}, Sd, Re, AIR)


positive = st.floats(-2.0, 2.0).map(lambda exponent: 10.0**exponent)


@given(Mms=positive, Cms=positive, Rms=positive, Bl=positive, Re=positive, Sd=positive)
def test_round_trip(Mms: float, Cms: float, Rms: float, Bl: float, Re: float, Sd: float) -> None:
    omega = 1.0 / math.sqrt(Mms * Cms)
    given_set = {
        "fs": omega / (2.0 * math.pi),
        "Qms": omega * Mms / Rms,
        "Qes": omega * Mms * Re / Bl**2,
        "Vas": AIR.density * AIR.sound_speed**2 * Sd**2 * Cms,
    }
    found = mechanical_set(given_set, Sd, Re, AIR)
    assert (found.Mms, found.Cms, found.Rms, found.Bl) == pytest.approx((Mms, Cms, Rms, Bl), rel=1e-11)
