"""Boxes whose impedance features have a cause that is known beforehand. All numbers invented."""

from __future__ import annotations

from pathlib import Path

from airpath.case import Case
from airpath.case.load import parse

_DRIVER = """
[driver]
fs = "44 Hz"
Qms = 4.6
Qes = 0.41
Vas = "16 L"
Sd = "130 cm^2"
Re = "6.1 ohm"
Le = "{coil}"
front = "{front}"
rear = "{rear}"
{places}
"""


def case(boxes: str, *, front: str = "outside", rear: str = "box", coil: str = "0 mH", stop: str = "1 kHz",
         places: str = "") -> Case:  # fmt: skip
    """Return a case of one driver with the given chambers, ports and horns."""
    driver = _DRIVER.format(front=front, rear=rear, coil=coil, places=places)
    if coil == "0 mH":
        driver = driver.replace('Le = "0 mH"\n', "")
    return parse(f'{driver}\n[sweep]\nstart = "15 Hz"\nstop = "{stop}"\n{boxes}', Path("known.toml"))


def port(name: str, start: str, end: str, length: str, size: str = 'diameter = "60 mm"', more: str = "") -> str:
    return f'[ports.{name}]\nfrom = "{start}"\nto = "{end}"\nlength = "{length}"\n{size}\n{more}\n'


def chamber(name: str, volume: str, more: str = "") -> str:
    return f'[chambers.{name}]\nvolume = "{volume}"\n{more}\n'


def tall(at: str, more: str = "") -> str:
    """A box 1 m tall; the cone sits at a height."""
    return f'[chambers.box]\nsize = ["200 mm", "1000 mm", "180 mm"]\n{more}\n'


BOXES: dict[str, Case] = {
    "closed": case(chamber("box", "12 L")),
    "vented": case(chamber("box", "20 L") + port("vent", "box", "outside", "100 mm")),
    "long round port": case(chamber("box", "20 L") + port("vent", "box", "outside", "500 mm")),
    "slot": case(
        chamber("box", "20 L")
        + port("slot", "box", "outside", "420 mm", 'width = "180 mm"\nheight = "26 mm"', "along_wall = true")
    ),
    "closed end": case(
        chamber("box", "20 L") + port("stub", "box", "outside", "400 mm", 'diameter = "80 mm"', "covered = true"),
        stop="900 Hz",
    ),
    "double chamber": case(
        chamber("main", "12 L") + chamber("tail", "8 L") + port("nose", "main", "outside", "80 mm")
        + port("throat", "main", "tail", "50 mm") + port("rear", "tail", "outside", "120 mm"),
        rear="main",
    ),
    "tall, driven at its end": case(tall("0"), places='rear_at = ["100 mm", "0 mm", "90 mm"]', stop="450 Hz"),
    "tall, driven at the node": case(tall("500"), places='rear_at = ["100 mm", "500 mm", "0 mm"]', stop="450 Hz"),
    "horn": case(
        chamber("back", "8 L") + '[horns.trumpet]\nto = "outside"\nprofile = "exponential"\nthroat = "90 cm^2"\n'
        'mouth = "1600 cm^2"\nlength = "1.2 m"\n',
        front="trumpet", rear="back", stop="500 Hz",
    ),
    "leak": case(chamber("box", "25 L", 'leak = { diameter = "14 mm", length = "10 mm" }')),
    "stuffed": case(chamber("box", "12 L", 'fill = { flow_resistivity = "4000 Pa*s/m^2", fraction = 0.6 }')),
    "coinciding": case(
        tall("0") + port("pipe", "box", "outside", "945 mm", 'diameter = "60 mm"',
                         'from_at = ["100 mm", "1000 mm", "90 mm"]'),
        places='rear_at = ["100 mm", "0 mm", "90 mm"]', stop="300 Hz",
    ),
    "coil only": case("", rear="outside", coil="0.8 mH", stop="3 kHz"),
}  # fmt: skip
