"""An opening in a wall: edges mirror it, a wall of its own size leaves nothing of its end correction."""

from __future__ import annotations

import math

import numpy as np
import pytest

from airpath.acoustics.ends import wall_factor
from airpath.acoustics.patch import Patch, means
from airpath.acoustics.radiation import PISTON_LENGTH, rectangle_length
from airpath.acoustics.wall import wall_share
from airpath.network.respond import solve
from known_boxes import case

SIZE = (0.3, 0.5, 0.35)
PLACED = '[chambers.box]\nsize = ["300 mm", "400 mm", "350 mm"]\n'


def disc(x: float, z: float, radius: float, y: float = 0.0) -> Patch:
    return Patch(centre=(x, y, z), normal=1, radius=radius)


def slow_sum(patch: Patch, count: int) -> float:
    """The definition, mode by mode (Kuttruff, Room Acoustics, sec. 3.2, for the modes)."""
    m, n = (g.ravel()[1:] for g in np.meshgrid(np.arange(count), np.arange(count), indexing="ij"))
    k = np.pi * np.hypot(m / SIZE[0], n / SIZE[2])
    psi = means(patch, SIZE, np.stack([m, 0 * m, n], axis=1))
    weight = np.where(m > 0, 2, 1) * np.where(n > 0, 2, 1)
    return float(patch.area * np.sum(weight * psi**2 / k) / (SIZE[0] * SIZE[2]))


@pytest.mark.parametrize("at", [(0.15, 0.175), (0.031, 0.175), (0.031, 0.031), (0.27, 0.1)])
def test_it_is_the_sum_over_all_waves_along_the_wall(at: tuple[float, float]) -> None:
    for y in (0.0, SIZE[1]):
        share = wall_share(SIZE, disc(*at, 0.03, y))
        assert share * PISTON_LENGTH * 0.03 == pytest.approx(slow_sum(disc(*at, 0.03), 900), rel=2e-4)
    slot = Patch(centre=(0.15, 0.0, 0.0101), normal=1, sides=(0.298, 0.02))
    assert wall_share(SIZE, slot) * rectangle_length(0.298, 0.02) == pytest.approx(slow_sum(slot, 900), rel=2e-4)


def test_in_the_middle_of_a_square_wall_it_falls_as_karal_says() -> None:
    """Karal 1953 with uniform velocity, as in published/cavity (1.35 sqrt of the area ratio is the pipe's slope)."""
    for ratio in (0.1, 0.2, 0.3):
        side = math.sqrt(math.pi) * 0.02 / ratio
        square = wall_share((side, side, 1.0), Patch(centre=(side / 2, side / 2, 0.0), normal=2, radius=0.02))
        assert square == pytest.approx(wall_factor(ratio**2), abs=0.02)


def test_an_edge_mirrors_a_slot() -> None:
    """Lying on an edge of a large wall, it is half of the slot of twice the height (mirror image)."""
    large = (2000.0, 1.0, 2000.0)
    lying = Patch(centre=(1000.0, 0.0, 0.01), normal=1, sides=(0.2, 0.02))
    expected = rectangle_length(0.2, 0.04) / rectangle_length(0.2, 0.02)
    assert wall_share(large, lying) == pytest.approx(expected, rel=1e-3)


def test_an_opening_as_large_as_its_wall_has_no_end() -> None:
    whole = Patch(centre=(0.15, 0.0, 0.175), normal=1, sides=(0.3, 0.35))
    assert wall_share(SIZE, whole) == pytest.approx(0.0, abs=1e-7)


@pytest.mark.parametrize("at", ['"150 mm", "0 mm", "175 mm"', '"31 mm", "0 mm", "175 mm"', '"31 mm", "0 mm", "31 mm"'])
def test_all_models_tune_a_port_alike_wherever_it_is(at: str) -> None:
    """At low frequency the modal sum of the whole chamber is the truth; a corner took 5 % off it."""
    found = case(PLACED + _port(at), places='rear_at = ["150 mm", "400 mm", "200 mm"]')
    hz = np.linspace(25, 50, 501)
    dips = [hz[np.abs(solve(found, model, hz).impedance)[5:-5].argmin() + 5] for model in ("line", "field")]
    assert dips[0] == pytest.approx(dips[1], rel=0.005)


def _port(at: str) -> str:
    return f'[ports.vent]\nfrom = "box"\nto = "outside"\nlength = "100 mm"\ndiameter = "60 mm"\nfrom_at = [{at}]\n'
