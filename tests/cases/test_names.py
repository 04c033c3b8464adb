"""Names are the user's: none that a case may give changes what is solved."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.case.load import parse
from case_texts import Data, toml

DRIVER = {"fs": "62 Hz", "Qms": 4.1, "Qes": 0.52, "Vas": "1.9 L", "Sd": "55 cm^2", "Re": "3.4 ohm"}


def box(chamber: str, port: str, horn: str, *, room: bool) -> Data:
    """A driver between a horn and a vented chamber that leaks."""
    data: Data = {
        "driver": {**DRIVER, "front": horn, "rear": chamber, "rear_at": ["60 mm", "0 mm", "80 mm"]},
        "chambers": {chamber: {"size": ["120 mm", "140 mm", "133 mm"], "leak": {"diameter": "2 mm"}}},
        "ports": {
            port: {"from": chamber, "to": "outside", "length": "120 mm", "diameter": "38 mm",
                   "from_at": ["60 mm", "140 mm", "66 mm"]},
        },
        "horns": {horn: {"profile": "conical", "throat": "30 cm^2", "mouth": "90 cm^2", "length": "300 mm"}},
        "sweep": {"start": "20 Hz", "stop": "2 kHz", "points_per_octave": 6},
    }  # fmt: skip
    return {**data, "room": {"volume": "2 m^3", "opening": "0.05 m^2"}} if room else data


@pytest.mark.parametrize("room", [False, True])
@pytest.mark.parametrize(
    ("chamber", "port", "horn"),
    [
        ("cone front", "cone rear", "con"), ("nose end", "nose", "nose capped"), ("fog at 0 mm", "nose", "fog"),
        ("fog at 300 mm", "end", "fog"), ("a", "a at 0 mm", "a at 140 mm"), ("open air", "outside air", "room at door"),
        ("outside end", "driver end", "cone at 0 mm"), ("listener", "corner", "door"), ("[b]x[/b]", "ü", '"q"'),
    ],
)  # fmt: skip
def test_a_name_changes_nothing(chamber: str, port: str, horn: str, room: bool) -> None:
    for model in ("lumped", "line", "field"):
        wanted, found = (
            airpath.solve(parse(toml(box(*names, room=room)), Path("box.toml")), model)
            for names in (("main", "nose", "fog"), (chamber, port, horn))
        )
        np.testing.assert_array_equal(found.impedance, wanted.impedance)
        np.testing.assert_array_equal(found.spl_db, wanted.spl_db)
        assert list(found.openings) == [port, horn, f"{chamber}.leak"]
        assert list(found.chambers) == [chamber]
