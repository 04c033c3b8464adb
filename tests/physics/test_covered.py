"""Covered openings: states solved together are each what the box is when it is built that way."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings

from airpath.acoustics.ends import flanged_length
from airpath.acoustics.viscothermal import Section
from airpath.case.schema import Case
from airpath.elements.duct import Duct
from airpath.network.build import build, models_for
from airpath.network.covered import Cap, CoveredBox, caps, outlets, uncovered
from airpath.network.graph import OUTSIDE, Opening, both_ends
from airpath.network.respond import respond, solve
from airpath.network.solve import solve_network
from known_boxes import case, chamber, port
from random_boxes import as_case, box_files
from small_boxes import double_chamber

MANY = settings(max_examples=40, derandomize=True, deadline=None)
FREQUENCY = np.geomspace(4.0, 1500.0, 23)
OMEGA = 2 * np.pi * FREQUENCY
PUBLISHED = tomllib.loads((Path(__file__).parents[1] / "published" / "double-chamber.toml").read_text(encoding="utf-8"))


def every_state(names: tuple[str, ...]) -> list[frozenset[str]]:
    return [frozenset(some) for count in range(len(names) + 1) for some in combinations(names, count)]


def covering(found: Case, names: frozenset[str]) -> Case:
    ports = {n: p.model_copy(update={"covered": n in names or p.covered}) for n, p in found.ports.items()}
    return found.model_copy(update={"ports": ports})


def covered_box(found: Case, model: str, end: str = "outer") -> CoveredBox:
    open_case = uncovered(found)
    network = build(open_case, model)
    covers = caps(open_case, network, end, lumped=model == "lumped")
    return CoveredBox(network, covers, every_state(outlets(open_case))[:40], OMEGA)


@MANY
@given(text=box_files(vented=True))
def test_states_together_are_the_boxes_built_that_way(text: str) -> None:
    found = as_case(text)
    for model in ("lumped", "line"):
        states = covered_box(found, model)
        together = respond(found, states.network, states.state(), model)
        assert together.imbalance < 1e-9
        for i, names in enumerate(states.states):
            if names & found.horns.keys():
                continue  # a case file has no covered horns: below
            alone = solve(covering(found, names), model, FREQUENCY)
            np.testing.assert_allclose(together.impedance[i], alone.impedance, rtol=1e-8)
            np.testing.assert_allclose(together.cone_velocity[i], alone.cone_velocity, rtol=1e-8)
            np.testing.assert_allclose(together.pressure[i], alone.pressure, atol=1e-8 * abs(alone.pressure).max())
            for name in outlets(found):
                speed = alone.openings[name].air_speed_peak
                if name not in names:
                    np.testing.assert_allclose(together.openings[name].air_speed_peak[i], speed, rtol=1e-7)


@MANY
@given(text=box_files(vented=True))
def test_a_covered_mouth_is_one_that_is_not_there(text: str) -> None:
    """Horns too: the network without the mouths of what is covered, solved on its own, all pressures alike."""
    found = as_case(text)
    states = covered_box(found, "line")
    together = states.state()
    open_network = build(found, "line")
    for i, names in enumerate(states.states):
        kept = tuple(b for b in open_network.branches if not (b.role == "mouth" and b.owner in names))
        alone = solve_network(replace(open_network, branches=kept), OMEGA)
        for node in together.nodes:
            own = alone.at(node)
            np.testing.assert_allclose(together.at(node)[i], own, rtol=1e-6, atol=1e-9 * abs(own).max())


def test_all_covered_is_the_sealed_box_and_its_stubs() -> None:
    """Chamber, inner end and closed tube in series, put into the sealed box by hand."""
    vents = port("one", "box", "outside", "180 mm") + port("two", "box", "outside", "90 mm", 'diameter = "40 mm"')
    vented, sealed = case(chamber("box", "20 L") + vents), case(chamber("box", "20 L"))
    closed = covered_box(vented, "line").state()
    network = build(sealed, "line")
    stubs = [(0.18, Section(height=0.06)), (0.09, Section(height=0.04))]
    by_hand = []
    for length, section in stubs:
        tube = Duct(section=section, length=length)
        y = tube.admittance(OMEGA, network.air)
        stub = y[:, 0, 0] - y[:, 0, 1] ** 2 / y[:, 1, 1]
        inner = 1j * OMEGA * network.air.density * flanged_length(section) / section.area
        by_hand.append(1 / (inner + 1 / stub))
    parts = [b.element.admittance(OMEGA, network.air) for b in network.branches]
    at = next(i for i, b in enumerate(network.branches) if b.role == "chamber")
    parts[at] = parts[at] + sum(by_hand)[:, None, None]
    alone = solve_network(network, OMEGA, parts)
    np.testing.assert_allclose(closed.velocity[-1], alone.velocity, rtol=1e-9)
    np.testing.assert_allclose(closed.current[-1], alone.current, rtol=1e-9)


@pytest.mark.parametrize("model", ["lumped", "line"])
def test_all_closed_at_the_inner_ends_is_the_sealed_box(model: str) -> None:
    vents = port("one", "box", "outside", "180 mm") + port("two", "box", "outside", "90 mm")
    closed = covered_box(case(chamber("box", "20 L") + vents), model, "inner").state()
    alone = solve_network(build(case(chamber("box", "20 L")), model), OMEGA)
    np.testing.assert_allclose(closed.velocity[-1], alone.velocity, rtol=1e-10)
    np.testing.assert_allclose(closed.current[-1], alone.current, rtol=1e-10)


@pytest.mark.parametrize("blocked", [1, 3])
def test_one_opening_of_the_double_chamber_covered_is_the_network_derived_by_hand(blocked: int) -> None:
    """The worked example of tests/published/double-chamber.toml: roots of polynomials, no part of this code."""
    rows = {v["quantity"]: v for v in PUBLISHED["value"] if v["inputs"]["blocked"] == blocked}
    network = double_chamber({**rows["double_maxima"]["inputs"], "blocked": 0})
    ways = [i for i, b in enumerate(network.branches) if b.role == "port" and b.nodes[-1] == OUTSIDE]
    openings = [Opening(name=str(i), inflow=i, outflow=i, places=both_ends(1.0), radiates=True) for i in ways]
    network = replace(network, openings=tuple(openings))
    owner = {1: "A-outside", 3: "B-outside"}
    covers = tuple(Cap(name=name, gone=(i,)) for i, b in enumerate(network.branches) for name in owner.values()
                   if b.owner == name)  # fmt: skip
    states = [frozenset[str](), frozenset({owner[blocked]})]

    def at(frequency: list[float]) -> tuple[CoveredBox, np.ndarray]:
        found = CoveredBox(network, covers, states, 2 * np.pi * np.array(frequency))
        return found, 1 / found.state().current

    peak, dip = rows["double_impedance"]["value"]
    assert abs(at(rows["double_maxima"]["value"])[1][1]) == pytest.approx(peak, rel=1e-6)
    assert abs(at(rows["double_minima"]["value"])[1][1]) == pytest.approx(dip, rel=1e-6)
    far = rows["double_far_field"]
    found, _ = at(far["inputs"]["f"])
    state, driver = found.state(), network.cone
    out = driver.area * state.velocity
    for i in ways:
        out = out - state.flow[i][..., -1]
    limit = driver.area * driver.force_factor / (driver.Re * driver.mass)
    level = 20 * np.log10(np.abs(1j * state.omega * out) / limit)
    np.testing.assert_allclose(level[1], far["value"], atol=1e-6)
    assert np.abs(level[0] - far["value"]).max() > 1  # covering does something


def test_a_room_around_the_box_is_kept() -> None:
    text = chamber("box", "20 L") + port("one", "box", "outside", "180 mm") + port("two", "box", "outside", "90 mm")
    found = case(text + '[room]\nvolume = "1.5 m^3"\nopening = "300 cm^2"\n')
    states = covered_box(found, "line")
    together = respond(found, states.network, states.state(), "line")
    for i, names in enumerate(states.states):
        alone = solve(covering(found, names), "line", FREQUENCY)
        np.testing.assert_allclose(together.spl_db[i], alone.spl_db, atol=1e-7)
        np.testing.assert_allclose(together.impedance[i], alone.impedance, rtol=1e-9)


def test_a_horn_that_the_driver_feeds_is_capped_at_its_mouth() -> None:
    text = (
        '[horns.trumpet]\nto = "outside"\nprofile = "exponential"\nthroat = "90 cm^2"\nmouth = "600 cm^2"\n'
        'length = "500 mm"\n' + chamber("back", "8 L")
    )
    found = case(text, front="trumpet", rear="back")
    for model in ("lumped", "line"):
        outer, inner = (covered_box(found, model, end).state() for end in ("outer", "inner"))
        np.testing.assert_allclose(inner.velocity, outer.velocity, rtol=1e-12)
        low = outer.at("back")[1] / outer.at("trumpet.at 0 mm")[1]  # two closed springs, driven apart
        air_in_horn = 0.5 * (0.06 - 0.009) / np.log(0.06 / 0.009)
        assert abs(low[0]) == pytest.approx(air_in_horn / 0.008, rel=0.03)


def placed(first: str, second: str) -> str:
    return port("one", "box", "outside", "180 mm", more=f"at = {first}") + port(
        "two", "box", "outside", "90 mm", more=f"at = {second}"
    )


SURROUNDINGS = {
    "mutual radiation": (
        placed('["100 mm", "0 mm", "0 mm"]', '["-100 mm", "50 mm", "0 mm"]')
        + '[listener]\nat = ["1 m", "2 m", "3 m"]\n',
        'front_at = ["150 mm", "150 mm", "0 mm"]',
    ),
    "room with standing waves": (
        placed('["100 mm", "600 mm", "0 mm"]', '["500 mm", "700 mm", "0 mm"]')
        + '[listener]\nat = ["1 m", "1.5 m", "1.2 m"]\n[room]\nsize = ["2 m", "3 m", "2.4 m"]\n',
        'front_at = ["1 m", "1 m", "0 mm"]',
    ),
}


@pytest.mark.parametrize("around", SURROUNDINGS)
@pytest.mark.parametrize("model", ["lumped", "line", "field"])
def test_openings_that_act_on_each_other_are_covered_too(around: str, model: str) -> None:
    text, places = SURROUNDINGS[around]
    found = case(chamber("box", "20 L") + text, places=places)
    if model not in models_for(found):
        assert around == "mutual radiation"
        return
    states = covered_box(found, model)
    together = respond(found, states.network, states.state(), model)
    for i, names in enumerate(states.states):
        alone = solve(covering(found, names), model, FREQUENCY)
        np.testing.assert_allclose(together.pressure[i], alone.pressure, atol=1e-8 * abs(alone.pressure).max())
        np.testing.assert_allclose(together.impedance[i], alone.impedance, rtol=1e-8)
