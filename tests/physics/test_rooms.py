"""Boxes in rooms and outdoors: the closed forms of a small room, its standing waves, its door; distance and path."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis.strategies import integers
from scipy.special import j1, struve

from airpath.air import air_at
from airpath.case.load import parse
from airpath.case.schema import Case
from airpath.elements.cuboid import Cuboid
from airpath.findings.predict import predict
from airpath.network.build import build, models_for
from airpath.network.covered import CoveredBox, caps
from airpath.network.graph import OUTSIDE
from airpath.network.listening import to_listener
from airpath.network.respond import respond, solve
from airpath.network.solve import solve_network
from airpath.network.surroundings import LISTENER
from random_boxes import as_case, box_files

AIR = air_at()
C, RHO = AIR.sound_speed, AIR.density
SIZE = (1.0, 1.5, 2.2)
BOX = """
[driver]
fs = "60 Hz"
Qms = 4.0
Qes = 0.45
Vas = "6 L"
Sd = "60 cm^2"
Re = "5.6 ohm"
rear = "box"
{driver}
[chambers.box]
volume = "5 L"
"""
VENT = '[ports.vent]\nfrom = "box"\nto = "outside"\nlength = "110 mm"\ndiameter = "45 mm"\n{at}\n'


def case_of(more: str, driver: str = "", vent: str | None = None) -> Case:
    text = BOX.format(driver=driver) + ("" if vent is None else VENT.format(at=vent)) + more
    return parse(text, Path("room.toml"))


def placed(opening: str = '"0 m^2"', loss_q: float = 1000, listener: str = '["0.93 m", "1.42 m", "2.1 m"]',
           door_at: str = '["0 m", "0.75 m", "1.1 m"]',
           vent: str | None = 'at = ["0.15 m", "0.05 m", "0.25 m"]') -> Case:  # fmt: skip
    return case_of(
        f'[room]\nsize = ["1 m", "1.5 m", "2.2 m"]\nopening = {opening}\nopening_at = {door_at}\nloss_q = {loss_q}\n'
        f"[listener]\nat = {listener}\n",
        'front_at = ["0.08 m", "0.09 m", "0.1 m"]', vent,
    )


def outflow(response: object) -> np.ndarray:
    return sum(o.volume_velocity for o in response.openings.values() if o.pressure is not None)  # type: ignore[attr-defined]


@pytest.mark.parametrize("model", ["lumped", "line"])
def test_a_shut_room_is_one_spring(model: str) -> None:
    """p = rho c^2 U/(j w V), whatever its shape (Kinsler et al., ch. 10; Helmholtz), to 1 % below the first mode."""
    case = case_of('[room]\nvolume = "3.3 m^3"\nloss_q = 1000\n', vent="")
    f = np.array([5.0, 20.0, 60.0, 76.0])
    response = solve(case, model, f)
    expected = RHO * C**2 * outflow(response) / (2j * np.pi * f * 3.3)
    assert np.abs(response.pressure / expected - 1).max() < 0.01


def test_a_room_with_standing_waves_is_that_spring_at_low_frequency() -> None:
    case = placed(vent=None)  # with a vent below its tuning the flows nearly cancel, and their small dipole counts
    f = np.array([0.5, 1.0, 1.9])  # a fortieth of the first mode, where the first cosine is 0.3 % off
    response = solve(case, "field", f)
    expected = RHO * C**2 * outflow(response) / (2j * np.pi * f * np.prod(SIZE))
    assert np.abs(response.pressure / expected - 1).max() < 0.01
    assert np.abs(response.pressure / solve(case, "lumped", f).pressure - 1).max() < 0.01


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_first_axial_modes(axis: int) -> None:
    """c/(2 L) for each side (Kuttruff, Room Acoustics, section 3.2): level per flow peaks there, corner to corner."""
    expected = C / (2 * SIZE[axis])
    f = expected * np.linspace(0.97, 1.03, 1201)
    response = solve(placed(), "field", f)
    transfer = np.abs(response.pressure / outflow(response))
    assert f[transfer.argmax()] == pytest.approx(expected, rel=0.004)  # the box's own air loads the modes a little
    assert transfer.max() > 20 * np.median(np.abs(RHO * C**2 / (2j * np.pi * f * np.prod(SIZE))))


@pytest.mark.parametrize("area", [0.01, 0.05])
def test_a_door_and_the_room_are_a_helmholtz_resonator(area: float) -> None:
    """f = c/(2 pi) sqrt(S/(V l)); l: 8/(3 pi) a outside (Rayleigh) and 0.8216 a inside (flanged pipe)."""
    a = np.sqrt(area / np.pi)
    expected = C / (2 * np.pi) * np.sqrt(area / (3.3 * a * (8 / (3 * np.pi) + 0.8216)))
    f = expected * np.linspace(0.8, 1.2, 2001)
    case = case_of(f'[room]\nvolume = "3.3 m^3"\nloss_q = 1000\nopening = "{area} m^2"\n')
    response = solve(case, "line", f)
    assert f[np.abs(response.pressure / outflow(response)).argmax()] == pytest.approx(expected, rel=2e-3)


def test_the_door_in_a_room_with_standing_waves_tunes_it_alike() -> None:
    """A small door in the middle of a large wall; the wall of finite size and the waves leave a few per cent."""
    area = 0.01
    a = np.sqrt(area / np.pi)
    expected = C / (2 * np.pi) * np.sqrt(area / (3.3 * a * (8 / (3 * np.pi) + 0.8216)))
    f = expected * np.linspace(0.8, 1.2, 801)
    response = solve(placed('"0.01 m^2"'), "field", f)
    assert f[np.abs(response.pressure / outflow(response)).argmax()] == pytest.approx(expected, rel=0.03)
    lumped = solve(placed('"0.01 m^2"'), "lumped", f)
    near = np.array([1, -1])
    assert np.abs(response.pressure / lumped.pressure)[near] == pytest.approx(1.0, abs=0.15)


def between(
    a: tuple[float, float, float], b: tuple[float, float, float], q: np.ndarray, disc: float = 0.0
) -> np.ndarray:
    """Pressure at b per j w rho U at a in the rigid room, (n,): modes over y and z, each a wave between the ends in x.

    Kuttruff, Room Acoustics, section 3.2, with the sum over x done: cosh cosh/(s sinh). ``disc``: radius of a disc in
    a wall x = const that the ends b (and a, if the same) stand for: its mean of a mode is 2 J1(kt r)/(kt r).
    """
    length, wide, high = SIZE
    m, n = (order.ravel() for order in np.meshgrid(np.arange(160), np.arange(230), indexing="ij"))
    across = np.hypot(m * np.pi / wide, n * np.pi / high)
    shape = np.where(m, 2, 1) * np.where(n, 2, 1) / (wide * high)
    for _, y, z in (a, b):
        shape = shape * np.cos(m * np.pi * y / wide) * np.cos(n * np.pi * z / high)
    if disc:
        x = np.maximum(across * disc, 1e-9)
        shape = shape * (2 * j1(x) / x) ** (2 if a == b else 1)
    s = np.sqrt(across**2 - q[:, None] + 0j)
    near, far = min(a[0], b[0]), length - max(a[0], b[0])
    wave = np.exp(-s * (length - near - far)) * (1 + np.exp(-2 * s * near)) * (1 + np.exp(-2 * s * far))
    return np.asarray((shape * wave / (2 * s * (1 - np.exp(-2 * s * length)))).sum(axis=1))


@pytest.mark.parametrize("area", [0.0, 0.03, 0.4])
@pytest.mark.parametrize("listener", [(0.93, 1.42, 2.1), (0.55, 0.8, 1.1)])
def test_the_listener_hears_the_sum_of_the_rooms_modes(area: float, listener: tuple[float, float, float]) -> None:
    """Flows of cone and vent, and of the door as a round piston in a wall (Rayleigh), times the modes between them.

    Pistons small against the wave stand for points: (k a)^2/8, 0.3 % at the highest tone.
    """
    at = ", ".join(f'"{x} m"' for x in listener)
    case = placed(f'"{area} m^2"', loss_q=30, listener=f"[{at}]")
    frequency = np.array([31.0, 52.0, 77.0, 93.0, 118.0, 146.0, 171.0, 189.0])
    network = build(case, "field")
    network = replace(network, air=network.air.lossless())
    omega = 2 * np.pi * frequency
    response = respond(case, network, solve_network(network, omega), "field")
    k, door = omega / C, (0.0, 0.75, 1.1)
    q, each, out = k**2 * (1 - 1j / 30), 1j * omega * RHO, response.openings
    flows = {(0.08, 0.09, 0.1): "cone", (0.15, 0.05, 0.25): "vent"}
    heard, pressed = (
        sum(each * out[name].volume_velocity * between(place, to, q, disc) for place, name in flows.items())
        for to, disc in ((listener, 0.0), (door, np.sqrt(area / np.pi)))
    )
    if area:
        r = np.sqrt(area / np.pi)
        outside = RHO * C / area * (1 - j1(2 * k * r) / (k * r) + 1j * struve(1, 2 * k * r) / (k * r))
        lost = pressed / (each * between(door, door, q, r) + outside)
        heard = heard - each * lost * between(listener, door, q, r)
    assert np.abs(response.pressure - heard) == pytest.approx(0.0, abs=6e-3 * np.abs(heard).max())
    assert np.abs(response.pressure / heard) == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("model", ["lumped", "field"])
def test_pressure_at_the_listener_is_the_sum_of_the_openings(model: str) -> None:
    """Reciprocity gives the shares; the whole network gives the sum."""
    case = placed('["0.3 m^2", "0 m^2"]', loss_q=8)
    network = build(case, model)
    omega = 2 * np.pi * np.geomspace(10, 400, 60)
    state = solve_network(network, omega)
    direct = state.at(LISTENER if model == "field" else OUTSIDE)
    response = respond(case, network, state, model)
    assert np.abs(response.pressure / direct / case.drive.voltage - 1).max() < 1e-9
    kept, again = to_listener(case, network, state), to_listener(case, network, replace(state, parts=()))
    assert set(kept) == {"cone", "vent"}
    for name, heard in kept.items():
        np.testing.assert_array_equal(heard, again[name])


def test_what_the_room_does_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its standing waves are the dearest part of a prediction: once for the sweep, once for the tones, no more."""
    asked, own = [], Cuboid.admittance
    monkeypatch.setattr(Cuboid, "admittance", lambda *given: asked.append(1) or own(*given))
    case = placed('"0.3 m^2"', loss_q=8).model_copy(update={"tones": (30.0, 60.0)})
    found = predict(case, brief=True)
    assert len(found.responses) == 3
    assert len(asked) == 2
    lumped = solve(case, "lumped", found.responses["lumped"].frequency)
    np.testing.assert_allclose(found.responses["lumped"].spl_db, lumped.spl_db, atol=1e-9)


def test_a_mouth_away_from_the_walls_moves_a_baffled_pistons_air() -> None:
    """8/(3 pi) radii (Rayleigh) in all: half of it the room's own near field, the rest its share of the box's front."""
    case = case_of(
        '[room]\nsize = ["9 m", "10 m", "11 m"]\n[listener]\nat = ["1 m", "1 m", "1 m"]\n',
        'front_at = ["4.1 m", "5.3 m", "5.2 m"]',
    )
    network, omega = build(case, "field"), np.array([2 * np.pi * 2.0])
    (plug,) = (b.element for b in network.branches if b.role == "mouth")
    (room,) = (b.element for b in network.branches if b.element.kind == "cuboid")
    own = np.linalg.inv(room.admittance(omega, AIR))[0, 0, 0] + 1 / plug.admittance(omega, AIR)[0, 0, 0]
    spring = 1 / room.storage(omega, AIR)[0]
    area = 60e-4
    mass = (own - spring).imag / omega[0] / RHO * area
    assert mass == pytest.approx(8 / (3 * np.pi) * np.sqrt(area / np.pi), rel=0.03)


def test_both_sides_of_a_bare_cone_in_a_room_cancel() -> None:
    text = BOX.format(driver="").replace('rear = "box"', 'rear = "outside"').split("[chambers")[0]
    response = solve(parse(text + '[room]\nvolume = "3 m^3"\n', Path("bare.toml")), "line", [50.0, 100.0])
    assert set(response.openings) == {"cone", "cone.rear"}
    assert np.abs(response.pressure).max() < 1e-9 * np.abs(response.openings["cone"].pressure).min()  # type: ignore[arg-type]


@settings(max_examples=25, derandomize=True, deadline=None)
@given(text=box_files())
def test_power_is_found_again_in_any_room(text: str) -> None:
    room = '\n[room]\nvolume = "40 m^3"\nopening = ["0.3 m^2"]\nleak = { diameter = "60 mm" }\n'
    case = as_case(text + room)
    for model in ("lumped", "line"):
        state = solve_network(build(case, model), 2 * np.pi * np.geomspace(3, 1200, 15))
        assert state.imbalance.max() < 1e-9


def test_power_is_found_again_among_standing_waves() -> None:
    case = placed('"0.4 m^2"', loss_q=8)
    assert models_for(case) == ("lumped", "line", "field")
    state = solve_network(build(case, "field"), 2 * np.pi * np.geomspace(3, 900, 80))
    assert state.imbalance.max() < 1e-9


# outdoors


def test_six_decibels_a_doubling_of_distance() -> None:
    """Spherical spreading (Kinsler et al., ch. 5)."""
    f = np.array([40.0, 400.0])
    levels = [solve(case_of(f'[listener]\ndistance = "{d} m"\n'), "line", f).spl_db for d in (1, 2, 4)]
    assert np.diff(levels, axis=0) == pytest.approx(-20 * np.log10(2), abs=1e-9)
    far = [
        solve(case_of(f'[listener]\nat = ["0 m", "0 m", "{d} m"]\n', 'front_at = ["0 m", "0 m", "0 m"]',
                      'at = ["0 m", "-0.2 m", "0 m"]'), "line", f).spl_db
        for d in (50, 100)
    ]  # fmt: skip
    assert np.diff(far, axis=0) == pytest.approx(-20 * np.log10(2), abs=1e-3)


def test_level_of_a_source_in_half_space() -> None:
    """p = rho f U/r, which lags by the time of travel (Kinsler et al., ch. 5 and 7)."""
    f, r = np.array([40.0, 400.0]), 1.7
    response = solve(case_of(f'[listener]\ndistance = "{r} m"\n'), "line", f)
    expected = 1j * RHO * f * outflow(response) / r * np.exp(-2j * np.pi * f * r / C)
    assert response.pressure == pytest.approx(expected, rel=1e-12)


def test_half_a_wave_of_path_between_two_openings_turns_the_sign() -> None:
    """Each share arrives as j w rho U e^{-jkr}/(2 pi r) with its own r: nearer by half a wave, opposite in phase."""
    half = C / (2 * 500.0)
    at = f'at = ["0 m", "0 m", "{half} m"]'
    case = case_of('[listener]\nat = ["0 m", "0 m", "20 m"]\n', 'front_at = ["0 m", "0 m", "0 m"]', at)
    response = solve(case, "line", [500.0])
    cone, vent = response.openings["cone"], response.openings["vent"]
    turned = (vent.pressure / vent.volume_velocity) / (cone.pressure / cone.volume_velocity)  # type: ignore[operator]
    assert turned == pytest.approx(-20 / (20 - half), rel=1e-9)


def test_a_listener_off_the_axis_hears_less_of_a_large_piston() -> None:
    """2 J1(x)/x with x = ka sin(angle) (Kinsler et al., ch. 7): first zero at x = 3.8317."""
    radius = np.sqrt(60e-4 / np.pi)
    f = 3.8317 * C / (2 * np.pi * radius)  # in the plane of the baffle
    driver = 'front_at = ["0 m", "0 m", "0 m"]'
    beside, ahead = (
        solve(case_of(f'[sweep]\nstop = "20 kHz"\n[listener]\nat = {at}\n', driver), "line", [f]).pressure
        for at in ('["3 m", "0 m", "0 m"]', '["0 m", "0 m", "3 m"]')
    )
    assert abs(beside[0] / ahead[0]) < 1e-4


def test_close_openings_load_each_other() -> None:
    """The radiated power is that of two sources in a baffle, rho c k^2/(2 pi) sin(kd)/(kd) between them (Rayleigh)."""
    case = case_of("", 'front_at = ["0 m", "0 m", "0 m"]', 'at = ["0 m", "-0.12 m", "0 m"]')
    network = build(case, "line")
    omega = 2 * np.pi * np.array([20.0, 40.0, 150.0])
    state = solve_network(network, omega)
    shared = next(i for i, b in enumerate(network.branches) if b.element.kind == "mouths")
    p = np.stack([state.at(n) for n in network.branches[shared].nodes], axis=1)
    flow, k = state.flow[shared], omega / C
    power = (np.conj(p) * flow).sum(axis=1).real
    both = (np.abs(flow) ** 2).sum(axis=1) + 2 * (flow[:, 0] * np.conj(flow[:, 1])).real * np.sinc(k * 0.12 / np.pi)
    assert power == pytest.approx(RHO * C * k**2 / (2 * np.pi) * both, rel=2e-3)


@pytest.mark.parametrize("where", ["outdoors", "room"])
def test_covered_openings_that_act_together_are_boxes_built_that_way(where: str) -> None:
    """One solution for every state, with mutual radiation outdoors and with the standing waves of a room."""
    more = (
        '[ports.tail]\nfrom = "box"\nto = "outside"\nlength = "60 mm"\ndiameter = "40 mm"\n'
        'at = ["0.4 m", "0.05 m", "0.25 m"]'
    )
    if where == "outdoors":
        case = case_of(more, 'front_at = ["0 m", "0 m", "0 m"]', 'at = ["0.15 m", "0.05 m", "0 m"]')
    else:
        case = case_of(
            more + '\n[room]\nsize = ["1 m", "1.5 m", "2.2 m"]\n[listener]\nat = ["0.9 m", "1.4 m", "2 m"]',
            'front_at = ["0.08 m", "0.09 m", "0.1 m"]', 'at = ["0.15 m", "0 m", "0.25 m"]',
        )
    model = "line" if where == "outdoors" else "field"
    f = np.geomspace(20, 400, 30)
    network = build(case, model)
    states = [frozenset[str](), frozenset({"vent"}), frozenset({"tail"}), frozenset({"vent", "tail"})]
    box = CoveredBox(network, caps(case, network, "outer", lumped=False), states, 2 * np.pi * f)
    together = respond(case, box.network, box.state(), model)
    for i, names in enumerate(states):
        ports = {n: p.model_copy(update={"covered": n in names}) for n, p in case.ports.items()}
        alone = solve(case.model_copy(update={"ports": ports}), model, f)
        assert np.abs(together.pressure[i] / alone.pressure - 1).max() < 1e-8
        assert np.abs(together.impedance[i] / alone.impedance - 1).max() < 1e-8


def scattered(case: Case, seed: int, low: tuple[float, ...], high: tuple[float, ...]) -> Case:
    """Give everything that opens outside a place of its own; what stands for several is taken as one."""
    random = np.random.default_rng(seed)

    def place() -> tuple[float, ...]:
        return tuple(random.uniform(low, high).tolist())

    ports = {
        name: port.model_copy(update={"at": place(), "count": 1} if port.to == OUTSIDE else {})
        for name, port in case.ports.items()
    }
    horns = {
        name: horn.model_copy(update={"at": place()} if horn.to == OUTSIDE else {}) for name, horn in case.horns.items()
    }
    driver = case.driver
    if driver.front == OUTSIDE:
        driver = driver.model_copy(update={"front_at": place()})
    return case.model_copy(update={"ports": ports, "horns": horns, "driver": driver})


@settings(max_examples=25, derandomize=True, deadline=None)
@given(text=box_files(), seed=integers(0, 999))
def test_power_is_found_again_with_openings_anywhere(text: str, seed: int) -> None:
    case = scattered(as_case(text), seed, (-3.0, -3.0, -3.0), (3.0, 3.0, 3.0))
    state = solve_network(build(case, "line"), 2 * np.pi * np.geomspace(3, 1200, 25))
    assert state.imbalance.max() < 1e-9
    assert np.all(state.current.real > 0)


@settings(max_examples=8, derandomize=True, deadline=None)
@given(text=box_files(placed=False), seed=integers(0, 999))
def test_power_is_found_again_anywhere_in_a_room(text: str, seed: int) -> None:
    room = (
        '\n[room]\nsize = ["4 m", "5 m", "3 m"]\nopening = "0.5 m^2"\nopening_at = ["0 m", "2 m", "1.5 m"]\n'
        '[listener]\nat = ["3 m", "2 m", "1.6 m"]\n'
    )
    case = scattered(as_case(text + room), seed, (0.5, 0.5, 0.5), (3.5, 4.5, 2.5))
    if "field" not in models_for(case):
        return  # nothing but a leak leads out
    network, omega = build(case, "field"), 2 * np.pi * np.geomspace(5, 300, 12)
    state = solve_network(network, omega)
    assert state.imbalance.max() < 1e-9
    response = respond(case, network, state, "field")
    assert np.abs(response.pressure / state.at(LISTENER) / case.drive.voltage - 1).max() < 1e-7
