"""Make the invented sweeps of built boxes: rumble bench open and with its nose covered, leaky ticket booth, buoy bell.

Run it from the top of the repository: ``.venv/bin/python cases/data/make_box_sweeps.py``. Every number is made up: the
case is changed a little, as if built not quite as drawn, solved one fidelity above the one that the fit uses where the
case has one, and 0.5 % of noise is added.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import airpath
from airpath.case.parameters import parameters
from airpath.measured.fitting.freedom import Free, with_leak

CASES = Path(__file__).parents[1]
DATA = CASES / "data"
NOISE = 0.005  # of the impedance, each part
POINTS = 240
BENCH = {"ports.nose.length": 65e-3, "driver.fs": 95.5, "driver.Qes": 0.50, "driver.Vas": 1.36e-3}  # SI
BUOY = {"ports.round.length": 113e-3, "driver.fs": 49.5, "driver.Qms": 4.6, "driver.Vas": 11e-3}  # SI
BOOTH = {"driver.fs": 60.0, "driver.Vas": 8.2e-3, "chambers.box.leak.diameter": 6e-3}  # SI


def built(case: airpath.Case, values: dict[str, float]) -> airpath.Case:
    """Return a case with other values."""
    for name, value in values.items():
        if "leak" in name:
            case = with_leak(case, name.split(".")[1])
        case = Free(parameter=parameters(case)[name], width=1.0).put(case, value)
    return case


def write(name: str, what: str, case: airpath.Case, model: str, seed: int) -> None:
    """Write one sweep."""
    frequency = np.geomspace(case.sweep.start, case.sweep.stop, POINTS)
    rng = np.random.default_rng(seed)
    noise = NOISE * (rng.normal(size=POINTS) + 1j * rng.normal(size=POINTS))
    z = airpath.solve(case, model, frequency).impedance * np.exp(noise)
    head = f"# Invented data, not measured: {what}.\n# Made by make_box_sweeps.py.\n"
    rows = [f"{f:.3f},{abs(x):.4f},{np.rad2deg(np.angle(x)):.3f}\n" for f, x in zip(frequency, z, strict=True)]
    (DATA / f"{name}.csv").write_text(head + "frequency Hz,impedance ohm,phase deg\n" + "".join(rows))


def main() -> None:
    """Write the files."""
    bench = built(airpath.load(CASES / "rumble-bench.toml"), BENCH)
    write("rumble-bench-open", "the rumble bench as built", bench, "field", 1)
    nose = bench.ports["nose"].model_copy(update={"covered": True})
    capped = bench.model_copy(update={"ports": {**bench.ports, "nose": nose}})
    write("rumble-bench-nose-covered", "the rumble bench as built, its nose covered", capped, "field", 2)
    booth = built(airpath.load(CASES / "ticket-booth.toml"), BOOTH)
    write("ticket-booth-leaky", "the ticket booth as built, a cable hole left open", booth, "line", 3)
    (DATA / "buoy-round-built.csv").touch()  # the case names it, so it must be there
    buoy = built(airpath.load(CASES / "buoy-round.toml"), BUOY)
    write("buoy-round-built", "the buoy bell, round port, as built", buoy, "line", 4)


if __name__ == "__main__":
    main()
