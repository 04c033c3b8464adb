"""Boxes of their own for the tests of measured sweeps, so that a demo case may change without them."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import airpath
from airpath.case import parse

_DRIVER = """
[driver]
fs = "58 Hz"
Qms = 3.9
Qes = 0.46
Vas = "8.5 L"
Sd = "88 cm^2"
Re = "5.7 ohm"
Le = "0.45 mH"
front = "outside"
rear = "box"
"""
TEXTS = {
    "booth": _DRIVER + """
[chambers.box]
volume = "8 L"
[ports.vent]
from = "box"
to = "outside"
length = "125 mm"
diameter = "52 mm"
to_end = "flared"
flare_radius = "10 mm"
""",
    "slot": _DRIVER + """
[chambers.box]
volume = "12 L"
[ports.slot]
from = "box"
to = "outside"
length = "600 mm"
width = "200 mm"
height = "40 mm"
""",
    "pair": _DRIVER + """
[chambers.box]
volume = "7 L"
[chambers.tail]
volume = "5 L"
[ports.nose]
from = "box"
to = "outside"
length = "62 mm"
diameter = "50 mm"
[ports.throat]
from = "box"
to = "tail"
length = "40 mm"
diameter = "45 mm"
[ports.rear]
from = "tail"
to = "outside"
length = "95 mm"
diameter = "40 mm"
""",
    "horn": _DRIVER + """
[chambers.box]
volume = "7 L"
[horns.fog]
from = "box"
to = "outside"
profile = "exponential"
throat = "60 cm^2"
mouth = "600 cm^2"
length = "1.1 m"
""",
}  # fmt: skip
TEXTS["booth in a room"] = TEXTS["booth"] + """
[room]
volume = "2.3 m^3"
opening = "2000 cm^2"
loss_q = 20
"""


@lru_cache
def box(name: str) -> airpath.Case:
    """Return one of the boxes of ``TEXTS``."""
    return parse(TEXTS[name], Path(f"{name}.toml"))
