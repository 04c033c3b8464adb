"""Boxes that cannot be, although each table is fine by itself: one message that names the place."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import pytest

from airpath.air import Air
from airpath.case import load, parse
from airpath.case.check import port_tuning
from airpath.case.openings import Port
from airpath.errors import CaseError
from airpath.network.build import build
from case_texts import DRAWN, INSIDE, ROUND, TAPPED, Data, changed, del_, toml, write

HORN = {"from": "main", "profile": "conical", "throat": "60 cm^2", "mouth": "300 cm^2", "length": "1 m"}
BOX = {"volume": "16 L"}
JOIN = {"from": "upper", "to": "main", "length": "120 mm", "diameter": "50 mm"}

Edits = dict[tuple[str, ...], Any]

IMPOSSIBLE: list[tuple[str, Data, Edits, str, str]] = [
    ("port onto its own chamber", ROUND, {("ports", "slot", "to"): "upper"}, "[ports.slot] to", "another space"),
    ("port from outside", ROUND, {("ports", "taper", "from"): "outside", ("ports", "taper", "to"): "upper"},
     "[ports.taper] from", 'swap the ends: from = "upper", to = "outside"'),
    ("horn onto its own chamber", ROUND, {("horns", "fog", "to"): "main"}, "[horns.fog] to", "another space"),
    ("one name twice", ROUND, {("horns", "main"): HORN}, "[horns.main]", "[chambers.main] has this one already"),
    ("port named like a horn", ROUND, {("ports", "fog"): JOIN}, "[horns.fog]", "[ports.fog] has this one already"),
    ("chamber named like the room", ROUND, {("chambers", "room"): BOX}, "[chambers.room]",
     "[room] has this one already"),
    ("chamber alone", ROUND, {("chambers", "attic"): BOX}, "[chambers.attic]", "is left alone"),
    ("two chambers alone", INSIDE, {("chambers", "upper"): BOX, ("chambers", "lower"): BOX,
     ("ports", "join"): {**JOIN, "to": "lower"}}, "[chambers.lower]", "is left alone"),
    ("no way out", INSIDE, {("ports", "nose", "covered"): True}, "[driver] front",
     "a way from the driver to the outside"),
    ("no way out of two", INSIDE, {("ports",): {"join": JOIN}, ("chambers", "upper"): BOX}, "[driver] front", "a way"),
    ("both sides in one chamber", INSIDE, {("driver", "rear_at"): del_}, "[driver] rear", "front_at and rear_at"),
    ("both sides in one volume", INSIDE, {("chambers", "main"): BOX}, "[driver] rear", "front_at and rear_at"),
    ("position outside the chamber", ROUND, {("driver", "rear_at"): ["60 mm", "0 mm", "334 mm"]}, "[driver] rear_at",
     '"334 mm"]: expected a place inside "main", which measures 420 x 300 x 333 mm'),
    ("position in a volume", ROUND, {("ports", "taper", "from_at"): ["0 mm", "0 mm", "0 mm"]}, "[ports.taper] from_at",
     '"upper" has none'),
    ("position outside", INSIDE, {("ports", "nose", "to_at"): ["0 mm", "0 mm", "0 mm"]}, "[ports.nose] to_at",
     "goes with a chamber; the place of an outer end is at"),
    ("position beyond the room", ROUND, {("ports", "taper", "at"): ["0 m", "4.1 m", "0 m"]}, "[ports.taper] at",
     "inside the room, which measures 3000 x 4000 x 2400 mm"),
    ("position before the room", ROUND, {("ports", "taper", "at"): ["0 m", "-1 mm", "0 m"]}, "[ports.taper] at",
     "inside the room, which"),
    ("position before the chamber", ROUND, {("driver", "rear_at"): ["60 mm", "-1 mm", "80 mm"]}, "[driver] rear_at",
     'inside "main"'),
    ("position in a room without a size", TAPPED, {("horns", "line", "at"): ["0 m", "0 m", "0 m"]}, "[horns.line] at",
     "the room has none"),
    ("place of an inner end", ROUND, {("ports", "slot", "at"): ["0 m", "0 m", "0 m"]}, "[ports.slot] at",
     'only with to = "outside"'),
    ("one place for two ports", ROUND, {("ports", "nose", "at"): ["0 m", "0 m", "0 m"]}, "[ports.nose] at",
     "a place is for one opening"),
    ("one place for two drivers", ROUND, {("driver", "front_at"): ["0 m", "0 m", "0 m"]}, "[driver] front_at",
     "these are 2, whose spacing"),
    ("room smaller than the box", ROUND, {("room", "size"): ["0.3 m", "0.4 m", "0.4 m"],
     ("room", "opening"): del_, ("room", "opening_at"): del_, ("ports", "taper", "at"): del_,
     ("horns", "fog", "at"): del_, ("listener", "distance"): del_}, "[room] size", "whose chambers hold 57.96 L"),
    ("room narrower than the box", ROUND, {("room", "size"): ["0.2 m", "4 m", "2.4 m"],
     ("ports", "taper", "at"): del_, ("horns", "fog", "at"): del_}, "[room] size", 'that chamber "main" fits in'),
    ("listener beyond the room", ROUND, {("listener", "distance"): "6 m"}, "[listener] distance", "in the room, which"),
    ("listener outside the room", ROUND, {("listener", "distance"): del_, ("listener", "at"): ["1 m", "5 m", "1 m"]},
     "[listener] at", "inside the room, which"),
    ("listener twice", INSIDE, {("listener", "distance"): "1 m"}, "[listener] at", "not both"),
    ("listener in a port", INSIDE, {("listener", "at"): ["0 m", "-39 cm", "0 m"]}, "[listener] at", 'from "nose"'),
    ("listener without places", INSIDE, {("ports", "nose", "at"): del_}, "[listener] at", "(ports.nose.at)"),
    ("listener in a room without a size", TAPPED, {("listener", "at"): ["1 m", "1 m", "1 m"]}, "[listener] at",
     "goes with a size of the room"),
    ("overlapping outside", INSIDE, {("ports", "tail"): {"from": "main", "to": "outside", "length": "9 cm",
     "diameter": "50 mm", "at": ["0 m", "-38 cm", "0 m"]}}, "[ports.tail] at", 'clear of "nose", 30 mm or more'),
    ("overlapping in a room", ROUND, {("ports", "taper", "at"): ["1 m", "1 m", "1 m"],
     ("horns", "fog", "at"): ["1 m", "1.01 m", "1 m"]}, "[horns.fog] at", 'clear of "taper"'),
    ("leak wider than the room", ROUND, {("room", "leak"): {"diameter": "3 m"}}, "[room.leak] diameter", "fits a wall"),
    ("door larger than its wall", ROUND, {("room", "opening"): "9.7 m^2"}, "[room] opening", "4 m x 2.4 m"),
    ("door higher than its wall", ROUND, {("room", "opening_height"): "4.2 m"}, "[room] opening", "4 m x 2.4 m"),
    ("door of a closet", TAPPED, {("room", "opening"): "20 m^2"}, "[room] opening", "none of that size"),
    ("door off the wall", ROUND, {("room", "opening_at"): ["1 m", "2 m", "1.2 m"]}, "[room] opening_at", "in a wall"),
    ("place of a door without a size", TAPPED, {("room", "opening_at"): ["0 m", "0 m", "0 m"]}, "[room] opening_at",
     "goes with a size"),
    ("position of an unfed throat", TAPPED, {("horns", "line", "from_at"): ["0 mm", "0 mm", "0 mm"]},
     "[horns.line] from_at", "it starts in no chamber"),
    ("port wider than its wall", INSIDE, {("ports", "nose", "diameter"): "340 mm"}, "[ports.nose] diameter",
     "fits a wall"),
    ("port wider than the wall it touches", INSIDE, {("ports", "nose", "diameter"): "310 mm",
     ("ports", "nose", "from_at"): ["0 mm", "150 mm", "150 mm"]}, "[ports.nose] diameter", "fits a wall"),
    ("slot longer than its wall", ROUND, {("ports", "slot", "width"): "421 mm"}, "[ports.slot] width", "fits a wall"),
    ("too many ports for a wall", INSIDE, {("ports", "nose", "count"): 60, ("ports", "nose", "length"): "3 m"},
     "[ports.nose] diameter", "fits a wall"),
    ("cone larger than its wall", ROUND, {("driver", "count"): 26}, "[driver] Sd", "fits a wall"),
    ("throat larger than its wall", ROUND, {("horns", "fog", "throat"): "1400 cm^2", ("horns", "fog",
     "mouth"): "1 m^2"},
     "[horns.fog] throat", "no larger than the wall"),
    ("flare longer than the port", ROUND, {("ports", "nose", "flare_radius"): "121 mm"}, "[ports.nose] flare_radius",
     "fit the port's length of 120 mm"),
    ("two flares longer than the port", ROUND, {("ports", "nose", "flare_radius"): "61 mm",
     ("ports", "nose", "from_end"): "flared"}, "[ports.nose] flare_radius", "fit the port's length"),
    ("flared without radius", ROUND, {("ports", "nose", "flare_radius"): del_}, "[ports.nose] flare_radius", "missing"),
    ("radius without flare", ROUND, {("ports", "nose", "to_end"): "free"}, "[ports.nose] flare_radius", "goes only"),
    ("round port along a wall", INSIDE, {("ports", "nose", "along_wall"): True}, "[ports.nose] along_wall", "slot"),
    ("slot without height", ROUND, {("ports", "slot", "height"): del_}, "[ports.slot] height", "both width and height"),
    ("port without opening", INSIDE, {("ports", "nose", "diameter"): del_}, "[ports.nose] diameter", "exactly one"),
    ("port with two openings", ROUND, {("ports", "slot", "diameter"): "20 mm"}, "[ports.slot] height", "exactly one"),
    ("stations that end elsewhere", ROUND, {("ports", "taper", "length"): "210 mm"}, "[ports.taper] stations",
     "equals"),
    ("stations that turn back", TAPPED, {("horns", "line", "stations"): [["0 m", "1 cm^2"], ["2 m", "1 cm^2"],
     ["1 m", "1 cm^2"]]}, "[horns.line] stations", "grow from row to row"),
    ("stations that start late", TAPPED, {("horns", "line", "stations"): [["1 m", "1 cm^2"], ["2 m", "1 cm^2"]]},
     "[horns.line] stations", 'start at "0 mm"'),
    ("hyperbolic without T", ROUND, {("horns", "fog", "T"): del_}, "[horns.fog] T", "needs its T"),
    ("T without hyperbolic", ROUND, {("horns", "fog", "profile"): "conical"}, "[horns.fog] T", "goes only with"),
    ("hyperbolic that closes", ROUND, {("horns", "fog", "mouth"): "50 cm^2"}, "[horns.fog] mouth", "opens out"),
    ("horn without mouth", ROUND, {("horns", "fog", "mouth"): del_},
     "[horns.fog] mouth", "needs throat, mouth and length"),
    ("horn with stations and length", TAPPED, {("horns", "line", "length"): "1 m"}, "[horns.line] length", "neither"),
    ("horn without profile", ROUND, {("horns", "fog", "profile"): del_, ("horns", "fog", "T"): del_},
     "[horns.fog] profile", "expected one of"),
    ("throat fed twice", ROUND, {("driver", "front"): "fog"}, "[horns.fog] from", "the driver feeds"),
    ("throat fed by nothing", ROUND, {("horns", "fog", "from"): del_, ("horns", "fog", "from_at"): del_},
     "[horns.fog] from", "a driver side that feeds it"),
    ("both sides at one place of a horn", TAPPED, {("driver", "rear_along"): "200 mm"}, "[driver] rear", "two places"),
    ("both sides at a throat", TAPPED, {("driver", "rear_along"): del_, ("driver", "front_along"): "0 mm"},
     "[driver] rear", "two places"),
    ("a place beyond the mouth", TAPPED, {("driver", "rear_along"): "1.5 m"}, "[driver] rear_along", "1400 mm long"),
    ("along a chamber", INSIDE, {("driver", "rear_along"): "1 mm"}, "[driver] rear_along", "names a horn"),
    ("two levels", ROUND, {("drive", "power"): "10 W"}, "[drive] power", "not both"),
    ("sweep backwards", ROUND, {("sweep", "stop"): "20 Hz"}, "[sweep] stop", "start (20 Hz) below stop (20 Hz)"),
    ("start above the default stop", INSIDE, {("sweep",): {"start": "3 kHz"}}, "[sweep] start", "below stop (2000 Hz)"),
    ("endless sweep", ROUND, {("sweep",): {"start": "0.1 Hz", "stop": "100 kHz", "points_per_octave": 1000},
     ("tones",): []}, "[sweep] points_per_octave", None),
    ("tone beyond the sweep", ROUND, {("tones",): ["112 Hz", "2.1 kHz"]}, "top of the file: tones", "20 Hz to 2000 Hz"),
    ("half a coil", ROUND, {("driver", "Re2"): del_}, "[driver] Re2", "pair"),
    ("other half of a coil", ROUND, {("driver", "Le2"): del_}, "[driver] Le2", "pair"),
    ("driver without Qes", ROUND, {("driver", "Qes"): del_, ("driver", "Qts"): del_}, "[driver] Qes", "Qes or Bl"),
    ("driver without Bl", TAPPED, {("driver", "Bl"): del_}, "[driver] Bl", "Qes or Bl"),
    ("driver of Sd and Re alone", ROUND, {("driver", key): del_ for key in ("fs", "Qms", "Qes", "Vas")},
     "[driver] fs", "the set fs, Qms, Qes, Vas or the set Mms, Cms, Rms, Bl"),
    ("moving mass below its own air", TAPPED, {("driver", "Mms"): "0.2 g"}, "[driver] Mms", "0.469 g"),
    ("tiny cuboid", INSIDE, {("chambers", "main", "size"): ["1 mm", "1 mm", "1 mm"]}, "[chambers.main] size", "1 mL"),
    ("chamber of two shapes", DRAWN, {("chambers", "drawn", "volume"): "3 L"}, "[chambers.drawn] outline",
     "exactly one"),
    ("chamber of no shape", DRAWN, {("chambers", "drawn"): {}}, "[chambers.drawn] volume", "exactly one"),
    ("room of two shapes", ROUND, {("room", "volume"): "3 m^3"}, "[room] size", "exactly one"),
    ("a port that tunes too high", INSIDE, {("chambers", "main"): {"volume": "3 mL"}, ("sweep",): {"stop": "30 Hz"},
     ("driver", "front"): "outside", ("driver", "front_at"): del_, ("driver", "rear_at"): del_},
     "[ports.nose] length", "expected a Helmholtz tuning below 1000 Hz"),
]  # fmt: skip


def edited(data: Data, edits: Edits) -> Data:
    for place, value in edits.items():
        data = changed(data, place, copy.deepcopy(value))
    return data


@pytest.mark.parametrize(
    ("data", "edits", "place", "words"), [pytest.param(*case[1:], id=case[0]) for case in IMPOSSIBLE]
)
def test_impossible_boxes(data: Data, edits: Edits, place: str, words: str | None, tmp_path: Path) -> None:
    path = write(tmp_path, edited(data, edits))
    if words is None:  # 20 octaves of 1000 are just inside the limit of points
        load(path)
        return
    with pytest.raises(CaseError) as refused:
        load(path)
    message = str(refused.value)
    assert any(place in line and words in line for line in message.splitlines()), message


POSSIBLE: list[tuple[str, Data, Edits]] = [
    ("free air", ROUND, {("driver", "rear"): "outside", ("driver", "rear_at"): del_, ("driver", "front"): "main"}),
    ("a loop of ports", ROUND, {("ports", "back"): {**JOIN, "diameter": "30 mm"}}),
    ("a sweep that stops below the tuning", INSIDE, {("sweep",): {"stop": "30 Hz"}}),
    ("horn that narrows", ROUND, {("horns", "fog"): {**HORN, "mouth": "20 cm^2"}}),
    ("horn into a chamber", ROUND, {("horns", "fog"): {**HORN, "to": "upper"}}),
    ("only a leak leads out", INSIDE, {("ports",): {}, ("chambers", "main", "leak"): {"diameter": "1 mm"}}),
    ("covered port beside an open side", ROUND, {("ports", "nose", "covered"): True}),
    ("drawn horn with a profile too", DRAWN, {("horns", "fold"): {
        "outline": "data/fold.dxf", "profile": "conical", "throat": "60 cm^2", "mouth": "90 cm^2", "length": "1 m"}}),
    ("a long pipe on a tiny chamber", INSIDE, {("chambers", "main"): {"volume": "0.1 L"}, ("driver",
     "front"): "outside",
     ("driver", "front_at"): del_, ("driver", "rear_at"): del_, ("ports", "nose", "length"): "2 m"}),
    ("driver tap beside a chamber at the throat", TAPPED, {("chambers", "main"): BOX, ("horns", "line",
     "from"): "main"}),
    ("mixed driver set", TAPPED, {("driver", "Cms"): del_, ("driver", "fs"): "62 Hz"}),
]  # fmt: skip


@pytest.mark.parametrize(("data", "edits"), [pytest.param(*case[1:], id=case[0]) for case in POSSIBLE])
def test_unusual_boxes_that_are_possible(data: Data, edits: Edits, tmp_path: Path) -> None:
    load(write(tmp_path, edited(data, edits)))


@pytest.mark.parametrize(
    ("edits", "words"),
    [
        ({("ports", "nose", "from_at"): ["0 mm", "150 mm", "20 mm"]},
         '[ports.nose] from_at = ["0 mm", "150 mm", "20 mm"]: expected a place where an opening 60 mm wide stays'),
        ({("ports", "nose", "from_at"): ["0 mm", "150 mm", "40 mm"], ("ports", "nose", "count"): 2,
          ("ports", "nose", "at"): del_, ("listener",): {}},
         "an opening 60 mm wide (2 count as one of their area) stays"),
        ({("ports", "nose", "from_at"): ["0 mm", "10 mm", "150 mm"], ("ports", "nose", "diameter"): del_,
          ("ports", "nose", "width"): "90 mm", ("ports", "nose", "height"): "30 mm"}, "an opening 90 x 30 mm stays"),
        ({("driver", "front_at"): ["0 mm", "20 mm", "150 mm"]}, '[driver] front_at = ["0 mm", "20 mm", "150 mm"]'),
    ],
)  # fmt: skip
def test_openings_that_reach_through_a_wall(edits: Edits, words: str, tmp_path: Path) -> None:
    """Only the field model needs the whole opening; the message names it, not the chamber."""
    data = changed(INSIDE, ("ports", "nose", "from_at"), ["0 mm", "150 mm", "150 mm"])
    case = load(write(tmp_path, edited(data, edits)))
    build(case, "line")
    with pytest.raises(CaseError) as refused:
        build(case, "field")
    assert str(refused.value).startswith("rumble.toml: [")
    assert words in str(refused.value)
    assert '"main", which measures 420 x 300 x 333 mm' in str(refused.value)


def test_files_are_not_looked_for_without_a_need() -> None:
    with pytest.raises(CaseError, match="expected a file that exists"):
        parse(toml(DRAWN), Path("nowhere") / "x.toml")


def test_tuning_of_a_flask() -> None:
    """Long neck: f = (c/2 pi) sqrt(S/(V L)) (Rayleigh, Theory of Sound II, section 304); each end adds 0.8216 radii, as
    that of a pipe in a wide flange (Norris & Sheng 1989, from memory)."""
    air = Air(density=1.204, sound_speed=343.2, viscosity=1.8e-5, prandtl=0.71, gamma=1.4)
    neck = {"from": "a", "to": "outside", "length": "2 m", "diameter": "20 mm", "count": 3}
    plain = 343.2 / 6.283185307 * (3 * 3.141592654e-4 / (0.05 * (2.0 + 2 * 0.8216 * 0.01))) ** 0.5
    assert port_tuning(Port.model_validate(neck), 0.05, air) == pytest.approx(plain, rel=1e-8)
