"""Make the invented sweeps of the ticket booth's driver: free air, 6 g on the cone, on a closed box of 12 L.

Run it from the top of the repository: ``.venv/bin/python cases/data/make_driver_sweeps.py``. Every number is made up:
the driver's impedance is written out from its mechanics, and 0.5 % of noise is added.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
FREQUENCY = np.geomspace(10.0, 10_000.0, 300)  # Hz
NOISE = 0.005  # of the impedance, each part
MMS, CMS, RMS, BL, SD = 9.9e-3, 0.75e-3, 0.93, 6.6, 88e-4  # kg, m/N, N s/m, T m, m^2: a little off its data sheet
RE, LE, LE2, RE2 = 5.6, 0.3e-3, 0.35e-3, 8.0  # ohm, H, H, ohm
STIFFNESS_OF_AIR = 142e3  # Pa, at about 20 degC and sea level
SWEEPS = {
    "ticket-booth-free": ("in free air", 0.0, np.inf),
    "ticket-booth-6g": ("in free air with 6 g of putty on the cone", 6e-3, np.inf),
    "ticket-booth-12L": ("on a closed empty box of 12 L", 0.0, 12e-3),
}


def impedance(added_mass: float, volume: float) -> np.ndarray:
    """Return the impedance [ohm] at the frequencies."""
    s = 2j * np.pi * FREQUENCY
    air = STIFFNESS_OF_AIR * SD**2 / volume
    mechanics = RMS + s * (MMS + added_mass) + (1 / CMS + air) / s
    return RE + s * LE + s * LE2 * RE2 / (s * LE2 + RE2) + BL**2 / mechanics


def main() -> None:
    """Write the files."""
    for seed, (name, (what, mass, volume)) in enumerate(SWEEPS.items()):
        rng = np.random.default_rng(seed)
        noise = NOISE * (rng.normal(size=len(FREQUENCY)) + 1j * rng.normal(size=len(FREQUENCY)))
        z = impedance(mass, volume) * np.exp(noise)
        head = f"# Invented data, not measured: the ticket booth's driver {what}.\n# Made by make_driver_sweeps.py.\n"
        rows = [f"{f:.3f},{abs(x):.4f},{np.rad2deg(np.angle(x)):.3f}\n" for f, x in zip(FREQUENCY, z, strict=True)]
        (HERE / f"{name}.csv").write_text(head + "frequency Hz,impedance ohm,phase deg\n" + "".join(rows))


if __name__ == "__main__":
    main()
