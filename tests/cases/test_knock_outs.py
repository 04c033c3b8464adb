"""What the knock-outs say of a feature, against boxes solved without the part, and closed forms."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airpath.case.load import load
from airpath.case.media import case_air
from airpath.case.schema import Case
from airpath.findings.explaining.explain import Feature, explain
from known_boxes import case, chamber, port

CASES = Path(__file__).resolve().parents[2] / "cases"
COLUMN = (1.1, 0.2, 0.16)  # m


def column(covered: bool = False) -> Case:
    size = ", ".join(f'"{1e3 * side:g} mm"' for side in COLUMN)
    vent = port("vent", "box", "outside", "100 mm", more='from_at = ["1000 mm", "100 mm", "0 mm"]')
    if covered:
        vent += "covered = true\n"
    places = 'rear_at = ["0 mm", "100 mm", "80 mm"]'
    return case(f"[chambers.box]\nsize = [{size}]\n{vent}", places=places, coil="0.3 mH", stop="2 kHz")


def said(feature: Feature) -> str:
    return "; ".join(feature.evidence)


def test_a_wave_that_a_port_hardly_takes_part_in_stays_when_the_port_is_closed() -> None:
    """The box solved with its vent covered has the same standing waves, so no word of the vent may be said."""
    found, shut = explain(column()), explain(column(covered=True))
    places = np.array([f.frequency_hz for f in shut if f.cause.type == "chamber-mode"])
    waves = [
        f
        for f in found
        if f.cause.type == "chamber-mode" and f.kind != "ripple" and f.shares and f.shares["vent"].total < 0.002
    ]
    assert len(waves) >= 10
    for wave in waves:
        assert np.abs(places / wave.frequency_hz - 1).min() < 0.01, wave.frequency_hz
        assert '"vent"' not in said(wave), said(wave)


def test_a_sharp_wave_close_to_another_has_its_own_resonance() -> None:
    """(10, 0, 1) and (12, 0, 0) of the empty box lie 1 % apart: c/2 sqrt(sum (n/L)^2) (Morse & Ingard 1968)."""
    speed = case_air(column()).sound_speed
    closed = {
        order: speed / 2 * np.hypot.reduce([n / side for n, side in zip(order, COLUMN, strict=True)])
        for order in ((10, 0, 1), (12, 0, 0))
    }
    assert closed[10, 0, 1] / closed[12, 0, 0] == pytest.approx(1.01, abs=0.005)
    found = [f for f in explain(column()) if f.kind != "ripple"]
    for order, frequency in closed.items():
        near = [f for f in found if f.frequency_hz == pytest.approx(frequency, rel=0.006)]
        assert near and all(f.q is not None and f.q > 500 for f in near), (order, near)


def test_a_room_without_its_waves_has_none() -> None:
    """Every ripple from the booth's first standing wave on is the room's, and its evidence names the room alone."""
    booth = load(CASES / "ticket-booth.toml")
    assert booth.room is not None and booth.room.size is not None
    first = case_air(booth).sound_speed / 2 / max(booth.room.size)
    ripples = [f for f in explain(booth) if f.kind == "ripple" and f.frequency_hz > 0.9 * first]
    assert len(ripples) >= 3
    for ripple in ripples:
        assert ripple.cause.type == "chamber-mode" and ripple.cause.element == "room" and ripple.cause.sure
        assert said(ripple) == "without waves in the room it vanishes"


def test_the_upper_peak_in_a_room_is_the_drivers_without_a_doubt() -> None:
    """Sealed, the driver on the air of its box rings at fs sqrt(1 + Vas/V) = 83 Hz (Small 1972), above the tuning."""
    peak = [f for f in explain(load(CASES / "ticket-booth.toml")) if f.kind == "peak"][-1]
    assert peak.cause.type == "driver" and peak.cause.sure
    assert "; or " not in peak.cause.text
    assert 'with "vent" closed it moves to 8' in said(peak)


def test_a_coil_beside_a_pipe_is_a_coil() -> None:
    """The dip above the peak of a closed box is the coil's, whatever rings near it: it is there without the pipe."""
    box = chamber("box", "12 L")
    stub = port("stub", "box", "outside", "350 mm", 'diameter = "50 mm"', "covered = true")
    bare, piped = (explain(case(text, coil="0.3 mH", stop="2 kHz")) for text in (box, box + stub))
    alone = next(f for f in bare if f.kind == "dip")
    dip = min((f for f in piped if f.kind == "dip"), key=lambda f: abs(f.frequency_hz - alone.frequency_hz))
    assert dip.frequency_hz == pytest.approx(alone.frequency_hz, rel=0.02)
    assert dip.q is None
    assert dip.cause.type == "coil" and dip.cause.sure


def test_a_doubt_between_driver_and_tuning_says_each_once() -> None:
    """A box with both sides in vented chambers: the energy and the closed box name different peaks."""
    text = chamber("front", "5 L") + chamber("rear", "9 L") + port("f", "front", "outside", "60 mm")
    both = case(text + port("r", "rear", "outside", "150 mm", 'diameter = "50 mm"', "count = 2"),
                front="front", rear="rear")
    for feature in explain(both):
        words = feature.cause.text
        assert words.count("Helmholtz tuning of") <= 1, words
        assert words.count("its cone swings") <= 1, words



def test_a_tuning_vanishes_with_its_only_port() -> None:
    """A closed box has no Helmholtz tuning: the dip can't move, not even where a room has a wave near."""
    dip = next(f for f in explain(load(CASES / "ticket-booth.toml")) if f.kind == "dip")
    assert dip.cause.type == "helmholtz"
    assert said(dip) == 'with "vent" closed it vanishes'


def test_far_moved_is_something_else() -> None:
    """With its throat closed a double chamber has no tuning of the throat: it is gone, not an octave away."""
    seat = load(CASES / "partition-seat.toml")
    tuned = [f for f in explain(seat) if 'by port "throat"' in f.cause.text]
    assert tuned
    for feature in tuned:
        assert 'with "throat" closed it vanishes' in said(feature)


def test_the_one_opening_and_every_opening_say_the_same() -> None:
    """Closing the only way out is closing them all: a peak can't both vanish and move."""
    for name in ("partition-seat", "drum-post", "buoy-round"):
        for feature in explain(load(CASES / f"{name}.toml")):
            words = said(feature)
            assert not ("every opening closed it moves" in words and '"nose" closed it vanishes' in words), words
            assert not ("every opening closed it moves" in words and '"round" closed it vanishes' in words), words


def test_what_takes_a_feature_away_is_named_first() -> None:
    for feature in explain(load(CASES / "lantern-slot.toml")):
        gone = ["vanishes" in phrase for phrase in feature.evidence]
        assert gone == sorted(gone, reverse=True)
