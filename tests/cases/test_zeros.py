"""Values of zero that a case file writes out: each is what it is without the key, and no command stumbles over it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.case import Case
from airpath.case.load import parse
from airpath.case.parameters import parameters
from airpath.errors import CaseError
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.network.build import build
from case_texts import Data, changed, del_, toml

DRIVER = {
    "fs": "58 Hz", "Qms": 3.9, "Qes": 0.46, "Vas": "8.5 L", "Sd": "88 cm^2", "Re": "5.7 ohm", "Le": "0 mH",
    "front": "fog", "front_along": "0 mm", "rear": "box",
}  # fmt: skip
ZEROS: Data = {
    "tones": ["60 Hz", "150 Hz"],
    "driver": DRIVER,
    "chambers": {"box": {"volume": "8 L", "fill": {"flow_resistivity": "5000 Pa*s/m^2", "fraction": 0.0}}},
    "ports": {"vent": {"from": "box", "to": "outside", "length": "125 mm", "diameter": "52 mm"}},
    "horns": {
        "fog": {"profile": "hyperbolic", "T": 0.0, "throat": "60 cm^2", "mouth": "300 cm^2", "length": "0.8 m"},
    },
    "sweep": {"start": "20 Hz", "stop": "600 Hz", "points_per_octave": 24},
    "drive": {"source_resistance": "0 ohm"},
}  # fmt: skip


def case(data: Data) -> Case:
    return parse(toml(data), Path("zeros.toml"))


def test_a_zero_is_what_the_case_is_without_the_key() -> None:
    plain = ZEROS
    for place in (("driver", "Le"), ("driver", "front_along"), ("chambers", "box", "fill"),
                  ("drive", "source_resistance")):  # fmt: skip
        plain = changed(plain, place, del_)
    with_zeros, without = (airpath.solve(case(data)).impedance for data in (ZEROS, plain))
    np.testing.assert_allclose(with_zeros, without, rtol=1e-12)


def test_zeros_are_explained() -> None:
    """A sensitivity per 1 % of zero is none; warnings are errors here."""
    found = airpath.explain(case(ZEROS))
    assert len(found) > 3
    names = {turn.parameter for feature in found for turn in feature.sensitivity}
    assert "ports.vent.length" in names
    assert not names & {"driver.Le", "horns.fog.T", "chambers.box.fill.fraction"}


def test_zeros_are_fitted() -> None:
    """The misfit tries every element with all its values free; a zero has no factor to be scaled by."""
    box = case(ZEROS)
    longer = parameters(box)["ports.vent.length"].changed(0.2)
    response = airpath.solve(longer, frequency_hz=np.geomspace(25, 400, 24))
    sweep = MeasuredSweep(
        source=Path("made.csv"), frequency=response.frequency, magnitude=1.3 * np.abs(response.impedance),
        phase_deg=np.degrees(np.angle(response.impedance)),
    )  # fmt: skip
    assert airpath.fit(box, sweep, "vent.length").values
    held = airpath.fit(box, sweep, "vent.length", widths={"horns.fog.T": 0.1}, localise=False)  # nor is it held
    assert [value.name for value in held.values] == ["ports.vent.length"]
    for name in ("box.fill.fraction", "fog.T=0.1"):
        with pytest.raises(CaseError, match="it is zero in the case"):
            airpath.fit(box, sweep, name)


@pytest.mark.parametrize("model", ["lumped", "line"])
def test_a_changed_case_that_can_not_be_built_is_refused_like_a_file(model: str) -> None:
    narrow = parameters(case(ZEROS))["horns.fog.mouth"].changed(50e-4)
    with pytest.raises(CaseError, match=r"zeros\.toml: a hyperbolic horn must widen"):
        build(narrow, model)
