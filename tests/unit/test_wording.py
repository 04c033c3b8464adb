"""Numbers as a person writes them: signs, steps and units."""

import pytest

from airpath.findings.explaining.orders import ordinal
from airpath.findings.wording import capital, percent, slope


@pytest.mark.parametrize(
    ("hertz", "unit", "value", "words"),
    [
        (0.49, "mm", 34.0, "+0.49 Hz per mm"),
        (-61.4, "", 0.41, "-6.1 Hz per 0.1"),
        (-1245.0, "mH", 0.25, "-120 Hz per 0.1 mH"),
        (-7.6, "L", 1.3, "-0.76 Hz per 0.1 L"),
        (12.0, "", 4.0, "+12 Hz per 1"),
        (0.2, "mm", None, "+0.2 Hz per mm"),
        (-3.0, "T*m", 8.6, "-3 Hz per T*m"),
    ],
)
def test_a_slope_has_a_step_that_is_small_against_its_value(hertz, unit, value, words) -> None:
    assert slope(hertz, unit, value) == words


def test_percent_has_a_blank() -> None:
    assert percent(0.756) == "76 %"


@pytest.mark.parametrize(
    ("number", "words"),
    [(1, "first"), (10, "tenth"), (11, "11th"), (21, "21st"), (22, "22nd"), (103, "103rd"), (112, "112th")],
)
def test_the_rank_of_a_wave_reads_as_a_word(number, words) -> None:
    assert ordinal(number) == words


def test_a_capital_leaves_the_rest_as_it_is() -> None:
    assert capital("by the line model, Qts 0.4") == "By the line model, Qts 0.4"
    assert capital("") == ""
