"""The maximum clean level: solved again at its voltage, exactly one limit is reached and none is passed."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from airpath.case.media import case_air
from airpath.case.schema import Case, Room
from airpath.findings.airspeed import SPEED_LIMIT_SHARE
from airpath.findings.cautions import hearing
from airpath.findings.clean import clean_rows
from airpath.findings.predict import predict
from airpath.network.respond import solve
from known_boxes import BOXES, case, chamber, port

TONES = (25.0, 40.0, 60.0, 90.0, 200.0)


def box(name: str, **driver: Any) -> Case:
    found = BOXES[name]
    return found.model_copy(update={"tones": TONES, "driver": found.driver.model_copy(update=driver)})


def driven(found: Case, voltage: float) -> Case:
    return found.model_copy(update={"drive": found.drive.model_copy(update={"voltage": voltage, "power": None})})


@pytest.mark.parametrize("wiring", ["parallel", "series"])
@pytest.mark.parametrize("name", ["vented", "double chamber", "closed"])
def test_at_the_voltage_the_limit_is_just_reached(name: str, wiring: str) -> None:
    found = box(name, xmax=2.5e-3, power=30.0, count=2, wiring=wiring)
    found = found.model_copy(update={"drive": found.drive.model_copy(update={"source_resistance": 0.4})})
    ohms = 2 * 6.1 if wiring == "series" else 6.1 / 2
    limit = SPEED_LIMIT_SHARE * case_air(found).sound_speed
    kinds = set()
    for i, row in enumerate(clean_rows(found, solve(found, "line", TONES))):
        loud = solve(driven(found, row.voltage_v), "line", TONES)
        reached = {("xmax", "driver"): loud.excursion_peak[i] / 2.5e-3}
        reached[("power", "driver")] = row.voltage_v**2 / ohms / 60.0
        for port_name in found.ports:
            reached[("air speed", port_name)] = loud.openings[port_name].air_speed_peak[i] / limit
        assert max(reached.values()) == pytest.approx(1.0, rel=1e-9)
        assert reached[(row.limit, row.element)] == pytest.approx(1.0, rel=1e-9)
        assert row.spl_db == pytest.approx(loud.spl_db[i], abs=1e-9)
        assert row.power_w == pytest.approx(row.voltage_v**2 / ohms, rel=1e-12)
        kinds.add(row.limit)
    assert len(kinds) > 1


def test_the_drive_of_the_case_does_not_matter() -> None:
    found = box("vented", xmax=2.5e-3)
    by_power = found.model_copy(update={"drive": found.drive.model_copy(update={"power": 3.0})})
    one, other = (clean_rows(c, solve(c, "line", TONES)) for c in (driven(found, 0.1), by_power))
    assert [r.voltage_v for r in one] == pytest.approx([r.voltage_v for r in other])
    assert [r.spl_db for r in one] == pytest.approx([r.spl_db for r in other])


def test_a_covered_port_sets_no_limit_and_without_any_limit_it_says_so() -> None:
    text = chamber("box", "20 L") + port("vent", "box", "outside", "100 mm", more="covered = true")
    found = case(text).model_copy(update={"tones": (50.0,)})
    (row,) = predict(found, ("line",)).clean
    assert (row.limit, row.voltage_v, row.spl_db) == (None, None, None)
    assert row.text == "no limit known: the case gives neither xmax nor power, and no air moves in an open port"


def test_it_is_in_the_result_with_its_limit_in_words() -> None:
    rows = predict(box("vented", xmax=2.5e-3, power=30.0), ("line",)).to_dict()["clean_level"]
    assert [row["frequency_hz"] for row in rows] == pytest.approx(TONES)
    for row in rows:
        assert row["limit"] in ("xmax", "power", "air speed")
        words = {"xmax": "xmax, 2.5 mm", "power": "power rating, 30 W", "air speed": 'the air in "vent" reaches 17 m/s'}
        assert words[row["limit"]] in row["text"]


def test_a_caution_about_hearing_says_where() -> None:
    """Outdoors by the distance, in a room by the room: its level does not fall with distance."""
    vented = BOXES["vented"]
    loud, tone = np.array([110.0]), np.array([500.0])
    assert "dBA at 1 m at 500 Hz" in hearing(vented, tone, loud)[0]
    room = vented.model_copy(update={"room": Room(volume="20 m^3")})
    assert "dBA in the room at 500 Hz" in hearing(room, tone, loud)[0]
    assert hearing(vented, tone, loud - 40) == []


def test_a_bent_port_drawn_as_a_horn_sets_a_limit_too() -> None:
    bent = '[horns.bend]\nfrom = "box"\nto = "outside"\nprofile = "conical"\nthroat = "4 cm^2"\nmouth = "4.4 cm^2"\n'
    found = case(chamber("box", "20 L") + bent + 'length = "300 mm"\n').model_copy(update={"tones": (25.0,)})
    (row,) = clean_rows(found, solve(found, "line", found.tones))
    assert (row.limit, row.element) == ("air speed", "bend")
    loud = solve(driven(found, row.voltage_v), "line", found.tones)
    limit = SPEED_LIMIT_SHARE * case_air(found).sound_speed
    assert loud.openings["bend"].air_speed_peak[0] == pytest.approx(limit, rel=1e-9)


def test_a_port_in_which_no_air_moves_sets_no_limit() -> None:
    """Its chamber is joined by the outside alone, where the pressure of an open air is that of no box."""
    parts = chamber("box", "12 L") + chamber("apart", "5 L") + port("vent", "apart", "outside", "100 mm")
    apart = case(parts).model_copy(update={"tones": TONES})
    for row in clean_rows(apart, solve(apart, "line", TONES)):
        assert (row.voltage_v, row.element) == (None, None)
    limited = apart.model_copy(update={"driver": apart.driver.model_copy(update={"xmax": 2.5e-3})})
    assert {row.limit for row in clean_rows(limited, solve(limited, "line", TONES))} == {"xmax"}
    json.dumps(predict(apart).to_dict(), allow_nan=False)
