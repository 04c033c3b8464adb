"""Boxes whose impedance features have a known cause: the stated cause, order and element are right."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.case.parameters import parameters
from airpath.findings.explaining.causes import Suspect, _driver_peak
from airpath.findings.explaining.explain import Feature, explain
from airpath.findings.explaining.features import Spot
from known_boxes import BOXES, case, chamber, port

AIR_C = 343.2  # m/s at 20 degC: any table of the speed of sound
FS, VAS = 44.0, 16.0


@cache
def explained(name: str, model: str = "line") -> tuple[Feature, ...]:
    return tuple(explain(BOXES[name], model))


def stated(name: str, model: str = "line") -> list[tuple[str, str, str, object]]:
    return [(f.kind, f.cause.type, f.cause.element, f.cause.order) for f in explained(name, model)]


# In rising order: (kind, cause, element, order). The order of features is Foster's: dips between peaks.
EXPECTED: dict[str, list[tuple[str, str, str, object]]] = {
    "closed": [("peak", "driver", "driver", None)],
    "vented": [
        ("peak", "helmholtz", "box", None), ("dip", "helmholtz", "box", None), ("peak", "driver", "driver", None),
    ],
    "long round port": [
        ("peak", "helmholtz", "box", None), ("dip", "helmholtz", "box", None), ("peak", "driver", "driver", None),
        ("dip", "pipe", "vent", 1), ("peak", "pipe", "vent", 1),
    ],
    "slot": [
        ("peak", "helmholtz", "box", None), ("dip", "helmholtz", "box", None), ("peak", "driver", "driver", None),
        ("ripple", "pipe", "slot", 1),
    ],
    "closed end": [
        ("peak", "driver", "driver", None), ("dip", "pipe", "stub", 1), ("peak", "pipe", "stub", 1),
        ("dip", "pipe", "stub", 2), ("peak", "pipe", "stub", 2),
    ],
    "tall, driven at its end": [
        ("peak", "driver", "driver", None),
        ("dip", "chamber-mode", "box", [0, 1, 0]), ("peak", "chamber-mode", "box", [0, 1, 0]),
        ("dip", "chamber-mode", "box", [0, 2, 0]), ("peak", "chamber-mode", "box", [0, 2, 0]),
    ],
    "tall, driven at the node": [
        ("peak", "driver", "driver", None),
        ("dip", "chamber-mode", "box", [0, 2, 0]), ("peak", "chamber-mode", "box", [0, 2, 0]),
    ],
    "leak": [("peak", "leak", "box", None), ("dip", "leak", "box", None), ("peak", "driver", "driver", None)],
    "stuffed": [("peak", "driver", "driver", None)],
    "coil only": [("peak", "driver", "driver", None), ("dip", "coil", "driver", None)],
}  # fmt: skip


@pytest.mark.parametrize("name", EXPECTED)
def test_known_cause_order_and_element(name: str) -> None:
    assert stated(name) == EXPECTED[name]
    assert all(feature.cause.sure for feature in explained(name))
    assert not any("probably" in feature.cause.text for feature in explained(name))


@pytest.mark.parametrize("name", ["tall, driven at its end", "tall, driven at the node"])
def test_the_field_model_names_the_same_standing_waves(name: str) -> None:
    assert stated(name, "field") == EXPECTED[name]


def test_a_double_chamber_has_two_tunings_by_different_ports() -> None:
    dips = [f for f in explained("double chamber") if f.kind == "dip"]
    assert [f.cause.type for f in dips] == ["helmholtz", "helmholtz"]
    assert all('"main" and "tail"' in f.cause.text for f in dips)
    assert 'by ports "nose" and "rear"' in dips[0].cause.text
    assert dips[1].cause.text.endswith('by port "throat".')
    assert [f.cause.type for f in explained("double chamber") if f.kind == "peak"].count("driver") == 1


def test_a_horn_with_a_rear_chamber_rings_along_its_path() -> None:
    first, *rest = explained("horn")
    assert (first.kind, first.cause.type) == ("peak", "driver")
    assert {(f.cause.type, f.cause.element) for f in rest} == {("horn", "trumpet")}
    assert [f.cause.order for f in rest if f.kind == "peak"] == [1, 2, 3, 4]
    assert all(f.seen_by == ("line",) for f in rest)


def test_coinciding_waves_are_both_named() -> None:
    waves = [f for f in explained("coinciding") if f.frequency_hz > 100]
    assert len(waves) == 4
    for feature in waves:
        assert feature.cause.type in ("pipe", "chamber-mode")
        assert 'the port "pipe"' in feature.cause.text and 'chamber "box"' in feature.cause.text
        assert "coincide" in feature.cause.text


def test_a_closed_box_raises_the_resonance_as_small_1972_says() -> None:
    # Small 1972, J. Audio Eng. Soc. 20, 798: fc = fs sqrt(1 + Vas/V). The air load differs a little in the box.
    (peak,) = explained("closed")
    assert peak.frequency_hz == pytest.approx(FS * np.sqrt(1 + VAS / 12), rel=0.03)


def test_the_vented_peaks_and_dip_obey_small_1973() -> None:
    # Small 1973, J. Audio Eng. Soc. 21, 316: fL^2 + fH^2 = fb^2 + fc^2, with fc that of the same box closed.
    low, dip, high = explained("vented")
    driver = next(e for e in high.evidence if '"vent" closed' in e)
    closed = float(driver.split()[-2])
    assert low.frequency_hz**2 + high.frequency_hz**2 == pytest.approx(dip.frequency_hz**2 + closed**2, rel=0.02)


def test_pipe_and_chamber_waves_lie_where_handbooks_put_them() -> None:
    # Open pipe c/2L, stopped pipe c/4L, cuboid c/2L (Kuttruff, Room Acoustics): L with its ends, 2 % for wall friction
    # and for the box, which is not quite an open space. The end corrections 0.82 a and 0.85 a are Rayleigh's.
    radius = 0.03
    length = 0.5 + 2 * 0.85 * radius
    dips = [f for f in explained("long round port") if f.cause.type == "pipe"]
    assert dips[0].frequency_hz == pytest.approx(AIR_C / 2 / length, rel=0.02)
    stub = next(f for f in explained("closed end") if f.cause.type == "pipe")
    assert stub.frequency_hz == pytest.approx(AIR_C / 4 / (0.4 + 0.85 * 0.04), rel=0.05)
    mode = next(f for f in explained("tall, driven at its end") if f.cause.type == "chamber-mode")
    assert mode.frequency_hz == pytest.approx(AIR_C / 2, rel=0.01)


def test_the_lumped_model_is_said_to_miss_every_wave() -> None:
    for name in ("long round port", "slot", "closed end", "tall, driven at its end", "horn"):
        for feature in explained(name):
            wave = feature.cause.type in ("pipe", "chamber-mode", "horn")
            assert ("lumped" not in feature.seen_by) == wave, (name, feature.frequency_hz)
            assert feature.cause.text.startswith("The lumped model has no such") == wave


@pytest.mark.parametrize("name", list(BOXES))
def test_one_driver_peak_and_alternating_turns(name: str) -> None:
    found = explained(name)
    assert sum(f.cause.type == "driver" for f in found) == 1
    turns = [f.kind for f in found if f.kind != "ripple"]
    assert all(a != b for a, b in pairwise(turns))
    for feature in found:
        if feature.shares:
            assert sum(share.total for share in feature.shares.values()) == pytest.approx(1, abs=1e-9)


@pytest.mark.parametrize("name", ["vented", "slot", "tall, driven at its end", "double chamber"])
def test_sensitivities_are_what_a_changed_box_shows(name: str) -> None:
    box = BOXES[name]
    for dimension in [p for p in parameters(box).values() if p.kind == "dimension"][:3]:
        h = 1e-4 * dimension.value
        above, below = (explain(dimension.changed(dimension.value + s * h), "line") for s in (1, -1))
        for feature, a, b in zip(explained(name), above, below, strict=True):
            entry = next((s for s in feature.sensitivity if s.parameter == dimension.name), None)
            slope = (a.frequency_hz - b.frequency_hz) / (2 * h) * dimension.si
            if entry is not None and abs(slope) * dimension.value / dimension.si > 0.05 * feature.frequency_hz:
                assert entry.hz_per_unit == pytest.approx(slope, rel=1e-4), (dimension.name, feature.kind)


def test_a_room_with_an_open_door_is_named(tmp_path):
    """A closed small space with a door is a Helmholtz resonator of its own, whatever stands in it."""
    text = (
        '[driver]\nfs = "45 Hz"\nQms = 4\nQes = 0.4\nVas = "20 L"\nSd = "130 cm^2"\nRe = "5.6 ohm"\nrear = "box"\n'
        '[chambers.box]\nvolume = "10 L"\n[room]\nvolume = "3 m^3"\nopening = "0.5 m^2"\nloss_q = 30\n'
    )
    (tmp_path / "room.toml").write_text(text, encoding="utf-8")
    found = [feature.to_dict() for feature in airpath.explain(airpath.load(tmp_path / "room.toml"), "line")]
    rooms = [feature["cause"] for feature in found if feature["shares"].get("room", 0) > 0.5]
    assert rooms
    assert all(cause["type"] == "helmholtz" and cause["element"] == "room" for cause in rooms)
    assert all("the room around the box" in cause["text"].lower() for cause in rooms)


def test_a_standing_wave_of_the_room_is_named():
    """The booth of 2.1 m: c/(2 L) = 81.9 Hz along its height, and twice that (Kuttruff, section 3.2)."""
    case = airpath.load(Path(__file__).parents[2] / "cases" / "ticket-booth.toml")
    found = [f.to_dict() for f in airpath.explain(case, "field") if f.shares.get("room", None)]
    waves = {
        tuple(f["cause"]["order"]): f["frequency_hz"]
        for f in found
        if f["cause"]["element"] == "room" and f["cause"]["type"] == "chamber-mode"
    }
    assert waves[0, 0, 2] == pytest.approx(2 * 81.9, rel=0.02)
    spring = [f for f in found if f["cause"]["element"] == "room" and f["cause"]["type"] == "helmholtz"]
    assert all(f["frequency_hz"] < 81.9 for f in spring)
    assert spring


def test_every_one_of_six_ports_is_named_in_their_tuning() -> None:
    """Each has a sixth of the moving air: with any of them closed the dip falls, so all of them tune the box."""
    ports = [port(f"p{i}", "box", "outside", f"{80 + 30 * i} mm", f'diameter = "{24 + 2 * i} mm"') for i in range(6)]
    box = case(chamber("box", "20 L") + "".join(ports))
    first, dip, last, *_ = explain(box, "line")
    names = '"p0", "p1", "p2", "p3", "p4" and "p5"'
    assert dip.cause.text == f'The Helmholtz tuning of chamber "box" by ports {names}.'
    assert f"air goes to and fro between it and {names}" in first.cause.text
    assert f'the air in {names} press on the air in "box" together' in last.cause.text
    capped = {one for one in box.ports if any(f'"{one}" closed it moves' in words for words in dip.evidence)}
    assert capped == set(box.ports)


def test_a_tapped_path_has_one_driver_peak_and_waves_counted_from_the_first() -> None:
    """At the lowest peak most of the spring is the suspension."""
    found = explain(case(
        '[horns.path]\nprofile = "conical"\nthroat = "120 cm^2"\nmouth = "420 cm^2"\nlength = "2.4 m"\n',
        places='rear_along = "0.15 m"\nfront_along = "2.1 m"', front="path", rear="path", stop="250 Hz",
    ))  # fmt: skip
    assert [(f.kind, f.cause.type, f.cause.order) for f in found[:5]] == [
        ("peak", "driver", None), ("dip", "horn", 1), ("peak", "horn", 1), ("dip", "horn", 2), ("peak", "horn", 2),
    ]  # fmt: skip
    assert found[0].shares["driver"].potential > 0.25  # half of all energy is in springs


def test_of_nearly_equal_peaks_one_that_is_no_wave_is_the_drivers_own() -> None:
    spots = [Spot(kind="peak", frequency=f, impedance=20, omega=6.28 * f + 5j, cone="free") for f in (40.0, 90.0)]
    own, other = (Suspect(type="driver", element="driver", weight=weight) for weight in (0.40, 0.44))
    wave = Suspect(type="horn", element="path", weight=0.46)
    assert _driver_peak(spots, [[own], [wave, other]], []) == 0
    assert _driver_peak(spots, [[own], [other, wave]], []) == 1


def test_a_leak_is_called_by_its_chamber() -> None:
    dip = explained("leak")[1]
    assert 'without the leak of "box" it vanishes' in dip.evidence


def test_ports_that_each_take_a_peak_away_are_named_in_one_phrase() -> None:
    second = next(f for f in explained("double chamber") if f.kind == "dip" and "throat" in f.cause.text)
    assert sum("closed it vanishes" in words for words in second.evidence) <= 1
    row = case(
        chamber("box", "6 L") + chamber("two", "5 L") + chamber("three", "4 L") + port("a", "box", "two", "50 mm")
        + port("b", "two", "three", "50 mm") + port("c", "three", "outside", "80 mm")
    )  # fmt: skip
    first = explain(row, "line")[0]
    gone = [words for words in first.evidence if "closed it vanishes" in words]
    assert gone == ['with "a", "b" or "c" closed it vanishes']


def test_the_coil_keeps_its_dip_where_a_weak_wave_of_a_stuffed_line_lies_near_it() -> None:
    """Without the coil's inductance that dip is gone, and the plugs and springs of the lumped model have it too."""
    box = case(
        '[horns.line]\nprofile = "conical"\nthroat = "180 cm^2"\nmouth = "110 cm^2"\nlength = "2.2 m"\n'
        'fill = { flow_resistivity = "2500 Pa*s/m^2", fraction = 0.6 }\n', rear="line", coil="0.4 mH",
    )  # fmt: skip
    dip = explain(box)[-1]
    assert (dip.kind, dip.cause.type, dip.cause.sure, dip.q) == ("dip", "coil", True, None)
    assert dip.cause.text.endswith("a wave in the air lies here too, too weak to make it.")
    assert dip.evidence == ["without the coil's inductance it vanishes"]
    bare = explain(box.model_copy(update={"driver": box.driver.model_copy(update={"Le": 0.0})}))
    assert not any(f.kind == "dip" and abs(f.frequency_hz / dip.frequency_hz - 1) < 0.2 for f in bare)


def test_a_cone_locked_by_a_closed_plug_leaves_no_resonance() -> None:
    """In the lumped model a horn is a plug: closed, it locks a cone that feeds it; the rest is rounding."""
    box = case(
        chamber("back", "4 L") + '[horns.horn]\nprofile = "exponential"\nthroat = "55 cm^2"\nmouth = "1200 cm^2"\n'
        'length = "1.25 m"\n', front="horn", rear="back",
    )  # fmt: skip
    found = explain(box, "lumped")
    assert [(f.kind, f.cause.type) for f in found] == [("peak", "driver")]
