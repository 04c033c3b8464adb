"""Case files for the tests: valid ones that together give every key of every table, and a small TOML writer."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

Data = dict[str, Any]

_SMALL_SIGNAL = {"fs": "62 Hz", "Qms": 4.1, "Qes": 0.52, "Vas": "1.9 L", "Sd": "55 cm^2", "Re": "3.4 ohm"}
_MECHANICAL = {
    "Mms": "6 g", "Cms": "1 mm/N", "Rms": "0.6 kg/s", "Bl": "4.5 T*m", "Sd": "55 cm^2", "Re": "3.4 ohm",
}  # fmt: skip
_SIZE = ["420 mm", "300 mm", "333 mm"]

ROUND: Data = {
    "title": "Rumble bench",
    "notes": "invented data\nof two lines",
    "scale": 4.0,
    "tones": ["112 Hz", "160 Hz"],
    "measured": "data/sweep.csv",
    "air": {"temperature": "20 degC", "pressure": "101.325 kPa", "relative_humidity": 0.5},
    "driver": {
        **_SMALL_SIGNAL, "Qts": 0.46,
        "Le": "0.25 mH", "Le2": "0.2 mH", "Re2": "6 ohm", "xmax": "4 mm", "power": "40 W",
        "measured_in": "free air", "front": "outside", "rear": "main", "rear_at": ["60 mm", "0 mm", "80 mm"],
        "count": 2, "wiring": "series",
    },
    "chambers": {
        "main": {
            "size": _SIZE,
            "loss_q": 200.0,
            "fill": {"flow_resistivity": "5000 Pa*s/m^2", "fraction": 0.5},
            "leak": {"diameter": "1 mm", "length": "18 mm"},
        },
        "upper": {"volume": "16 L"},
    },
    "ports": {
        "nose": {
            "from": "main", "to": "outside", "length": "120 mm", "diameter": "38 mm", "count": 2,
            "from_at": ["110 mm", "50 mm", "20 mm"],
            "from_end": "free", "to_end": "flared", "flare_radius": "10 mm", "covered": False,
        },
        "slot": {
            "from": "upper", "to": "main", "length": "120 mm", "width": "60 mm", "height": "10 mm",
            "to_at": ["200 mm", "300 mm", "5 mm"],
            "along_wall": True,
        },
        "taper": {
            "from": "upper", "to": "outside", "length": "200 mm",
            "stations": [["0 mm", "20 cm^2"], ["80 mm", "22 cm^2"], ["200 mm", "35 cm^2"]],
            "at": ["1 m", "2 m", "0 m"],
        },
    },
    "horns": {
        "fog": {
            "from": "main", "to": "outside", "profile": "hyperbolic", "T": 0.6, "throat": "60 cm^2",
            "mouth": "900 cm^2", "length": "1.4 m", "from_at": ["0 mm", "100 mm", "100 mm"],
            "at": ["1.2 m", "2 m", "300 mm"], "fill": {"flow_resistivity": "2000 Pa*s/m^2"},
        },
    },
    "drive": {"voltage": "2 V", "source_resistance": "0.1 ohm"},
    "sweep": {"start": "20 Hz", "stop": "2 kHz", "points_per_octave": 48},
    "listener": {"distance": "2 m", "space": "quarter"},
    "room": {
        "size": ["3 m", "4 m", "2.4 m"], "opening": ["0.4 m^2", "0 cm^2"], "loss_q": 8.0, "opening_height": "1.9 m",
        "opening_at": ["0 m", "2 m", "1.2 m"], "leak": {"diameter": "80 mm", "length": "40 mm"},
    },
}  # fmt: skip

TAPPED: Data = {
    "driver": {
        **_MECHANICAL, "measured_in": "baffle", "front": "line", "rear": "line",
        "front_along": "200 mm", "rear_along": "1.1 m",
    },
    "horns": {
        "line": {
            "profile": "stations",
            "stations": [["0 mm", "60 cm^2"], ["400 mm", "110 cm^2"], ["1.4 m", "300 cm^2"]],
        },
    },
    "drive": {"power": "15 W"},
    "room": {"volume": "30 m^3", "opening": "0.4 m^2"},
}  # fmt: skip

DRAWN: Data = {
    "driver": {
        **_SMALL_SIGNAL, "front": "fold", "rear": "drawn",
    },
    "chambers": {"drawn": {"outline": "data/fold.dxf", "outline_depth": "18 cm", "outline_unit": "mm"}},
    "horns": {"fold": {"outline": "data/fold.dxf", "outline_depth": "180 mm", "outline_unit": "cm"}},
}  # fmt: skip

INSIDE: Data = {
    "driver": {
        **_SMALL_SIGNAL, "front": "main", "rear": "main",
        "front_at": ["0 mm", "150 mm", "150 mm"], "rear_at": ["420 mm", "150 mm", "150 mm"],
    },
    "chambers": {"main": {"size": _SIZE}},
    "ports": {
        "nose": {
            "from": "main", "to": "outside", "length": "120 mm", "diameter": "60 mm", "at": ["0 m", "-40 cm", "0 m"],
        },
    },
    "listener": {"at": ["0 m", "0.5 m", "2 m"]},
}  # fmt: skip

VALID: dict[str, Data] = {"round": ROUND, "tapped": TAPPED, "drawn": DRAWN, "inside": INSIDE}


def toml(data: Data) -> str:
    """Return TOML, a line for every key at the top, all else in inline tables."""
    return "".join(f"{_key(key)} = {_value(value)}\n" for key, value in data.items())


def _key(key: str) -> str:
    return json.dumps(key, ensure_ascii=False)


def _value(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(key)} = {_value(item)}" for key, item in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    return str(value) if isinstance(value, float) else json.dumps(value, ensure_ascii=False)


def changed(data: Data, place: tuple[str, ...], value: Any) -> Data:
    """Return a copy with another value at a place; ``del`` as the value takes the key away."""
    data = copy.deepcopy(data)
    table = data
    for part in place[:-1]:
        table = table.setdefault(part, {})
    if value is del_:
        del table[place[-1]]
    else:
        table[place[-1]] = value
    return data


del_ = ...  # survives a copy


def write(folder: Path, data: Data | str, name: str = "rumble.toml") -> Path:
    """Write a case file, and beside it the files that the valid cases name; return its path."""
    (folder / "data").mkdir(exist_ok=True)
    for other in ("sweep.csv", "chamber.toml", "fold.dxf"):
        (folder / "data" / other).touch()
    path = folder / name
    path.write_text(data if isinstance(data, str) else toml(data), encoding="utf-8")
    return path
