"""What is said of a model's limits: only inside the sweep, at the frequencies that the handbooks give."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scipy.special import jnp_zeros

from airpath.air import air_at
from airpath.case.schema import Case
from airpath.findings.predict import predict
from airpath.network.build import build
from known_boxes import case, chamber, port

C = air_at().sound_speed
VENT = port("vent", "box", "outside", "100 mm", 'diameter = "90 mm"')


def said(found: Case, part: str) -> str:
    """Return the one note with these words, "" if there is none."""
    notes = [note for note in build(found, "line").notes if part in note]
    assert len(notes) <= 1
    return notes[0] if notes else ""


def hertz(text: str) -> list[float]:
    return [float(hz) for hz in re.findall(r"([\d.]+) Hz", text)]


def test_a_small_box_at_low_frequencies_has_nothing_to_say() -> None:
    quiet = {"first standing wave", "plane waves", "rigid piston", "stuffing", "equal openings", "space"}
    notes = build(case(chamber("box", "3 L") + port("vent", "box", "outside", "100 mm"), stop="250 Hz"), "line").notes
    assert not [note for note in notes if any(words in note for words in quiet)]


def test_waves_across_a_round_port_and_a_slot() -> None:
    """Tabulated zero of J1' (Abramowitz & Stegun, table 9.5) for the round one; half a wave for the slot."""
    slot = port("slot", "box", "outside", "100 mm", 'width = "200 mm"\nheight = "10 mm"')
    expected = [jnp_zeros(1, 1)[0] * C / (2 * np.pi * 0.045), C / 0.4]
    found = said(case(chamber("box", "20 L") + VENT + slot, stop="5 kHz"), "plane waves")
    assert hertz(found) == pytest.approx(expected, rel=0.005)
    assert "vent" not in said(case(chamber("box", "20 L") + VENT + slot, stop="2 kHz"), "plane waves")


def test_the_widest_place_of_a_horn_counts() -> None:
    horn = '[horns.way]\nfrom = "box"\nto = "outside"\nprofile = "conical"\nthroat = "50 cm^2"\nmouth = "400 cm^2"\n'
    found = said(case(chamber("box", "20 L") + horn + 'length = "700 mm"\n', stop="2 kHz"), "plane waves")
    assert hertz(found) == pytest.approx([jnp_zeros(1, 1)[0] * C / (2 * np.pi * np.sqrt(0.04 / np.pi))], rel=0.005)


def test_the_first_standing_wave_of_a_chamber() -> None:
    sized = '[chambers.box]\nsize = ["200 mm", "1000 mm", "180 mm"]\n'
    assert hertz(said(case(sized), "first standing wave")) == pytest.approx([C / 2], rel=0.005)
    assert hertz(said(case(chamber("box", "64 L")), "first standing wave")) == pytest.approx([C / 0.8], rel=0.005)


@pytest.mark.parametrize("model", ["lumped", "line", "field"])
def test_the_first_standing_wave_of_a_drawn_chamber(model: str, tmp_path: Path) -> None:
    """A flat rectangle, half a wave along it: no cube of its volume, which would have c/2/0.2 here."""
    (tmp_path / "flat.toml").write_text(
        'kind = "planar"\nunit = "mm"\ndepth = "80 mm"\npoints = [[0, 0], [500, 0], [500, 200], [0, 200]]\n'
        "[openings]\ndriver = [[0, 0], [0, 60]]\n"
    )
    found = build(case(f'[chambers.box]\noutline = "{tmp_path / "flat.toml"}"\n', stop="2 kHz"), model).notes
    assert hertz(next(note for note in found if "first standing wave" in note)) == pytest.approx([C], rel=0.005)


def test_stretched_stuffing() -> None:
    """Delany & Bazley 1970: f/sigma from 0.01."""
    found = case(chamber("box", "20 L", 'fill = { flow_resistivity = "7000 Pa*s/m^2" }'))
    assert hertz(said(found, "stuffing")) == [70.0]


def test_a_large_cone_equal_openings_and_another_space() -> None:
    found = case(chamber("box", "20 L") + VENT + 'count = 2\n[listener]\nspace = "full"\n', stop="2 kHz")
    assert hertz(said(found, "rigid piston")) == pytest.approx([C / (2 * np.pi * np.sqrt(0.013 / np.pi))], rel=0.005)
    assert 'the 2 of "vent"' in said(found, "equal openings")
    assert '"full" space' in said(found, "sets the level")


def test_stuffing_before_the_openings_is_said_where_it_rubs() -> None:
    sized = '[chambers.box]\nsize = ["200 mm", "1000 mm", "180 mm"]\n'
    fill = 'fill = { flow_resistivity = "6000 Pa*s/m^2", fraction = 0.3 }\n'
    vent = VENT + 'from_at = ["100 mm", "0 mm", "90 mm"]\n'
    found = case(sized + fill + vent, places='rear_at = ["100 mm", "1000 mm", "90 mm"]')
    assert not [note for note in build(found, "line").notes if "spread evenly" in note]
    assert len([note for note in build(found, "field").notes if "spread evenly" in note]) == 1
    assert "stuffing before their openings" in predict(found, ("line", "field")).parting
