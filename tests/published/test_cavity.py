"""Cuboid chamber against closed forms and published values (cavity.toml)."""

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from airpath.acoustics.patch import Patch
from airpath.air import Air
from airpath.elements.cuboid import Cuboid

TABLE = tomllib.loads(Path(__file__).with_name("cavity.toml").read_text())["value"]
AIR = Air(density=1.204, sound_speed=343.2, viscosity=1.8206e-5, prandtl=0.708, gamma=1.4)
STILL = AIR.lossless()


def rows(quantity):
    found = [row for row in TABLE if row["quantity"] == quantity]
    assert found
    return found


def self_inertance(size, patch):
    """Return the inertance over density [1/m], far below the first mode, the compliance taken off."""
    omega = np.array([2 * np.pi * 2.0])
    chamber = Cuboid(size=size, patches=(patch,))
    room = chamber.impedance(omega, STILL)[0] - STILL.bulk_modulus / (1j * omega[0] * chamber.volume)
    return float(room[0, 0].imag / (omega[0] * STILL.density))


def test_modes_of_a_rigid_cuboid():
    for row in rows("mode_frequencies"):
        air = Air(
            density=1.2, sound_speed=row["inputs"]["sound_speed"], viscosity=0.0, prandtl=0.7, gamma=1.4
        )
        patch = Patch(centre=(0.1, 0.1, 0.0), normal=2, radius=0.05)
        modes = Cuboid(size=tuple(row["inputs"]["size_m"]), patches=(patch,)).modes(air, 1.0, 620.0)
        assert [m.frequency_hz for m in modes] == pytest.approx(row["value"], rel=row["tolerance"])
        assert modes[0].order == (1, 0, 0)


def test_small_disc_in_a_large_wall_is_a_baffled_piston():
    for row in rows("disc_in_large_wall"):
        size, a = tuple(row["inputs"]["size_m"]), row["inputs"]["radius_m"]
        patch = Patch(centre=(size[0] / 2, size[1] / 2, 0.0), normal=2, radius=a)
        length = self_inertance(size, patch) * patch.area / a
        assert length == pytest.approx(row["value"], rel=row["tolerance"])


def test_small_rectangle_in_a_large_wall():
    for row in rows("rectangle_in_large_wall"):
        size, sides = tuple(row["inputs"]["size_m"]), tuple(row["inputs"]["sides_m"])
        patch = Patch(centre=(size[0] / 2, size[1] / 2, 0.0), normal=2, sides=sides)
        length = self_inertance(size, patch) * patch.area / sides[1]
        assert length == pytest.approx(row["value"], rel=row["tolerance"])


def test_disc_on_the_end_of_a_duct_falls_with_area_ratio():
    for row in rows("disc_on_end_of_duct"):
        for ratio, expected in zip(row["inputs"]["radius_ratio"], row["value"], strict=True):
            side, length, a = 0.2, 1.0, 0.2 * ratio / math.sqrt(math.pi)
            patch = Patch(centre=(side / 2, side / 2, 0.0), normal=2, radius=a)
            plane = length / (3 * side**2)  # closed plane-wave duct: one third of its length moves
            added = (self_inertance((side, side, length), patch) - plane) * patch.area / a
            assert added == pytest.approx(expected, rel=row["tolerance"])


def strips(height, depth, at, count):
    """Return ``count`` full-depth strips over x = 0 to height in the plane z = at."""
    width = height / count
    return [
        Patch(centre=((i + 0.5) * width, depth / 2, at), normal=2, sides=(width, depth)) for i in range(count)
    ]


def join(height, small, count):
    """Return the added length over the smaller height of a step between two cuboids joined strip by strip."""
    depth, long = 0.05, 0.4
    omega = np.array([2 * np.pi * 0.05])

    def duct(tall):
        far = Patch(centre=(tall / 2, depth / 2, long), normal=2, sides=(tall, depth))
        return Cuboid(size=(tall, depth, long), patches=(far, *strips(small, depth, 0.0, count)))

    y = np.zeros((count + 2, count + 2), dtype=complex)
    for end, tall in enumerate((height, small)):
        index = np.array([end, *range(2, count + 2)])
        y[np.ix_(index, index)] += duct(tall).admittance(omega, STILL)[0]
    outer = y[:2, :2] - y[:2, 2:] @ np.linalg.solve(y[2:, 2:], y[2:, :2])
    total = (-1.0 / outer[0, 1]).imag / (omega[0] * STILL.density)
    return float(total * depth - long / height - long / small)


@pytest.mark.parametrize("case", range(4))
def test_step_between_plates(case):
    row = rows("step_between_plates")[0]
    ratio, exact = row["inputs"]["height_ratio"][case], row["value"][case]
    n = np.arange(1, 400_000)
    piston = 2 / np.pi * np.sum(np.sinc(n * ratio) ** 2 / n)
    lengths = [join(0.1, 0.1 * ratio, count) for count in (1, 6, 24)]
    assert lengths[0] == pytest.approx(piston, rel=1e-4)
    assert lengths[0] > lengths[1] > lengths[2] > exact * (1 - 1e-4)
    assert lengths[2] == pytest.approx(exact, rel=row["tolerance"])


@pytest.mark.parametrize("row", rows("duct_attenuation"), ids=lambda row: f"{row['inputs']['frequency_hz']}")
def test_wall_loss_of_a_duct(row):
    width, height, f = (row["inputs"][key] for key in ("width_m", "height_m", "frequency_hz"))
    length, omega = 3.0, np.array([2 * np.pi * f])
    ends = tuple(
        Patch(centre=(width / 2, height / 2, z), normal=2, sides=(width, height)) for z in (0.0, length)
    )
    y = Cuboid(size=(width, height, length), patches=ends).admittance(omega, AIR)[0]
    propagation = np.arccosh(-y[0, 0] / y[0, 1]) / length
    assert abs(propagation.real) == pytest.approx(row["value"], rel=row["tolerance"])
