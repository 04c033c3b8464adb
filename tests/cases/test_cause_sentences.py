"""What the sentences say of a cause is true for the case: how the air goes, which dip is the tuning."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.case.parameters import Parameter, parameters
from airpath.findings.explaining.explain import Feature, explain
from airpath.findings.explaining.features import spots
from airpath.network.build import build
from airpath.network.respond import solve
from airpath.network.sweep import sweep_frequencies
from known_boxes import BOXES, case, port, tall

DEMOS = {p.stem: airpath.load(p) for p in sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))}
PLACED = case(
    tall("333")
    + port("vent", "box", "outside", "100 mm", 'diameter = "60 mm"', 'from_at = ["0 mm", "800 mm", "90 mm"]'),
    places='rear_at = ["100 mm", "333 mm", "0 mm"]', stop="450 Hz",
)  # fmt: skip
EVERY = {**DEMOS, **BOXES, "tall, driven at a third": PLACED}


@cache
def explained(name: str) -> tuple[Feature, ...]:
    return tuple(explain(EVERY[name], "line"))


@pytest.mark.parametrize("name", EVERY)
def test_air_goes_the_way_that_the_sentence_says(name: str) -> None:
    """To and fro: the port gives what the cone takes; pressing together: both take from the space at the same time."""
    box = EVERY[name]
    if box.driver.front != "outside":
        return
    for feature in explained(name):
        for words, together in (("goes to and fro between", False), ("press on", True)):
            said = re.search(rf'[^;:]*{words}[^;:.]*', feature.cause.text)
            ports = [p for p in box.ports if said and f'"{p}"' in said[0] and box.ports[p].to == "outside"]
            at = solve(box, "line", [feature.frequency_hz]).openings
            for name in ports:
                cosine = (at[name].volume_velocity * np.conj(at["cone"].volume_velocity)).real[0]
                assert (cosine > 0) == together, (feature.frequency_hz, name)


@pytest.mark.parametrize("name", EVERY)
def test_a_peak_lies_on_the_side_of_the_dip_that_is_named(name: str) -> None:
    dips = [f"{f.frequency_hz:.4g}" for f in explained(name) if f.kind == "dip" and f.cause.type == "helmholtz"]
    for feature in explained(name):
        said = re.search(r"(below|above) the Helmholtz tuning .*\(the dip at ([\d.]+) Hz\)", feature.cause.text)
        if said:
            assert said[2] in dips
            assert (feature.frequency_hz < float(said[2])) == (said[1] == "below")


@pytest.mark.parametrize("name", EVERY)
def test_a_tuning_names_ports_that_open_into_its_chambers(name: str) -> None:
    box = EVERY[name]
    for feature in explained(name):
        said = re.search(r"Helmholtz tuning of chambers? (.*?) by \w+ (.*?)(\.|;| \()", feature.cause.text)
        if not said or feature.kind != "dip":
            continue
        chambers, ways = (set(re.findall(r'"(.*?)"', part)) for part in said.groups()[:2])
        assert set(feature.cause.elements) == chambers
        for way in ways - {f"{c}.leak" for c in box.chambers}:
            table = box.ports.get(way) or box.horns[way]
            assert {table.from_, table.to} & chambers


def test_a_driver_behind_a_horn_is_no_tuning_of_the_chamber_behind_it() -> None:
    first = explained("fog-signal")[0]
    assert (first.cause.type, first.cause.sure) == ("driver", True)
    assert 'air goes to and fro between it and "horn"' in first.cause.text


@pytest.mark.parametrize("name", ["vented", "tall, driven at its end", "tall, driven at a third", "stuffed", "leak"])
def test_sensitivities_to_driver_losses_and_places_are_what_a_changed_box_shows(name: str) -> None:
    """Central differences of two steps, extrapolated to none (Richardson 1911): what is left of h^2 is gone."""
    box = EVERY[name]
    known, frequency = parameters(box), sweep_frequencies(box)

    def moved(one: Parameter, change: float, which: int) -> float:
        return spots(build(one.changed(one.value + change), "line"), frequency)[which].frequency

    for i, feature in enumerate(explained(name)):
        for entry in [s for s in feature.sensitivity if s.kind != "dimension"]:
            one = known[entry.parameter]
            h = 1e-4 if one.kind == "place" else 1e-3 * one.value
            small, large = ((moved(one, k * h, i) - moved(one, -k * h, i)) / (2 * k * h) for k in (1, 2))
            assert entry.hz_per_unit == pytest.approx((4 * small - large) / 3 * one.si, rel=1e-4), entry.parameter
