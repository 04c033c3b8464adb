"""How fast the air is where a way is narrow: continuity of flow, rms to peak, whatever the shape of the way."""

from __future__ import annotations

import numpy as np
import pytest

from airpath.air import air_at
from airpath.case.schema import Case
from airpath.network.passages import port_volume
from airpath.network.respond import solve
from known_boxes import case, chamber

HORN = '[horns.way]\nfrom = "box"\nto = "outside"\n'
TIGHT = 'profile = "stations"\nstations = [["0 mm", "30 cm^2"], ["100 mm", "6 cm^2"], ["200 mm", "24 cm^2"]]\n'
WIDE = 'profile = "exponential"\nthroat = "60 cm^2"\nmouth = "900 cm^2"\nlength = "1.4 m"\n'
PORT = '[ports.way]\nfrom = "box"\nto = "outside"\nlength = "200 mm"\n'
AIR = air_at()
LOW = np.array([12.0])


def boxed(way: str) -> Case:
    return case(chamber("box", "20 L") + way)


@pytest.mark.parametrize("model", ["lumped", "line"])
@pytest.mark.parametrize("head", [HORN, PORT])
def test_all_the_air_passes_the_narrowest_place(head: str, model: str) -> None:
    """Slow air is incompressible: sqrt(2) |U|/S where S is least, half way along (Bernoulli's continuity)."""
    text = TIGHT if head == HORN else TIGHT.replace('profile = "stations"\n', "")
    found = solve(boxed(head + text), model, LOW).openings["way"]
    expected = np.sqrt(2) * np.abs(found.volume_velocity) / 6e-4
    assert found.air_speed_peak == pytest.approx(expected, rel=2e-3)


def test_a_throat_sees_its_own_flow_and_not_the_mouths() -> None:
    """Webster's equation integrated outward from the flow at the mouth, against the speed told for the throat."""
    hz = np.array([60.0, 110.0, 200.0, 400.0])
    found = solve(boxed(HORN + WIDE), "line", hz).openings["way"]
    told, out = found.air_speed_peak, found.volume_velocity
    for i, f in enumerate(hz):
        assert told[i] == pytest.approx(_throat_speed(f, complex(out[i])), rel=0.03)  # the walls take a few per cent
    assert np.all(told < 0.5 * np.sqrt(2) * np.abs(out) / 60e-4)


def _throat_speed(f: float, out: complex) -> float:
    """Runge and Kutta, fourth order, without losses; the mouth of 900 cm^2 is a baffled piston."""
    from scipy.special import j1, struve

    w, rho, c = 2 * np.pi * f, AIR.density, AIR.sound_speed
    x = 2 * w / c * np.sqrt(0.09 / np.pi)
    state = np.array([rho * c / 0.09 * (1 - 2 * j1(x) / x + 2j * struve(1, x) / x) * out, out])

    def slope(back: float, at: np.ndarray) -> np.ndarray:
        area = 0.09 * 15 ** (-back / 1.4)
        return np.array([1j * w * rho / area * at[1], 1j * w * area / (rho * c**2) * at[0]])

    steps, h = 400, 1.4 / 400
    for n in range(steps):
        k1 = slope(n * h, state)
        k2 = slope((n + 0.5) * h, state + h / 2 * k1)
        k3 = slope((n + 0.5) * h, state + h / 2 * k2)
        k4 = slope((n + 1) * h, state + h * k3)
        state = state + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
    return float(np.sqrt(2) * abs(state[1]) / 60e-4)


def test_a_capped_tapered_port_holds_all_of_its_air() -> None:
    """Frusta: h/3 (S1 + S2 + sqrt(S1 S2)) each; Newton's spring rho c^2/V against the cone."""
    port = PORT + TIGHT.replace('profile = "stations"\n', "")
    frusta = sum(0.1 / 3 * (a + b + np.sqrt(a * b)) for a, b in ((30e-4, 6e-4), (6e-4, 24e-4)))
    capped = boxed(port + "covered = true\n")
    assert port_volume(capped.ports["way"]) == pytest.approx(frusta, rel=1e-9)
    lumped, line = (solve(capped, model, LOW).impedance[0] for model in ("lumped", "line"))
    assert lumped == pytest.approx(line, rel=1e-4)
