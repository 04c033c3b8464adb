"""Standing waves of a cuboid through a case file, against the textbook's closed form.

Source: Kuttruff, Room Acoustics, section 3.2: f = (c/2) sqrt((l/Lx)^2 + (m/Ly)^2 + (n/Lz)^2), shape
cos(l pi x/Lx) cos(m pi y/Ly) cos(n pi z/Lz). The mean over a disc of radius a is the value in its centre times
2 J1(k a)/(k a) for a wave of in-plane wavenumber k (the same integral as a piston's directivity).
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.special import j1

import airpath
from case_texts import toml

SIZE = (0.6, 0.5, 0.4)
CASE = {
    "driver": {
        "fs": "38 Hz", "Qms": 4.0, "Qes": 0.4, "Mms": "33 g", "Sd": "220 cm^2", "Re": "5.6 ohm",
        "rear": "box", "rear_at": ["300 mm", "0 mm", "200 mm"],
    },
    "chambers": {"box": {"size": ["0.6 m", "0.5 m", "0.4 m"]}},
    "ports": {
        "way": {
            "from": "box", "to": "outside", "length": "100 mm", "diameter": "80 mm",
            "from_at": ["0 mm", "100 mm", "120 mm"],
        },
    },
    "sweep": {"start": "20 Hz", "stop": "900 Hz", "points_per_octave": 6},
}  # fmt: skip


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    path = tmp_path_factory.mktemp("modes") / "box.toml"
    path.write_text(toml(CASE), encoding="utf-8")
    return airpath.modes(airpath.load(path))


def test_frequencies_are_the_closed_form_and_none_is_missing(table):
    half = table.network.air.sound_speed / 2
    exact = {o: half * np.hypot(np.hypot(o[0] / 0.6, o[1] / 0.5), o[2] / 0.4) for o in product(range(5), repeat=3)}
    expected = {order: f for order, f in exact.items() if 0 < f <= 900}
    rows = table.chambers["box"].rows
    assert {row.order: row.frequency_hz for row in rows} == pytest.approx(expected, rel=1e-12)
    assert [row.frequency_hz for row in rows] == sorted(row.frequency_hz for row in rows)


def test_a_centred_opening_does_not_couple_to_odd_modes(table):
    rows = table.chambers["box"].rows
    odd = [row for row in rows if row.order[0] % 2 or row.order[2] % 2]
    assert len(odd) > 8
    for row in odd:
        assert row.coupling["cone"] == pytest.approx(0.0, abs=1e-14)
        assert "the cone drives it" not in row.text


def test_coupling_is_the_shape_in_the_centre_times_the_pistons_directivity(table):
    for row in table.chambers["box"].rows:
        _, m, n = row.order
        ka = np.pi * np.hypot(m / 0.5, n / 0.4) * 0.04
        spread = 2 * j1(ka) / ka if ka else 1.0
        expected = np.cos(m * np.pi * 0.1 / 0.5) * np.cos(n * np.pi * 0.12 / 0.4) * spread
        assert row.coupling["way"] == pytest.approx(expected, abs=1e-12)
