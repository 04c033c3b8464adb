"""Driver values from sweeps: truth inside the stated errors, doubts said, the table loads."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.air import air_at
from airpath.cli.main import main
from airpath.errors import SweepError
from airpath.measured.drivers.driver import driver_values
from airpath.measured.reading.sweep import MeasuredSweep
from driver_sweeps import GRID, driver_impedance, swept

DRIVER = {"Mms": 0.0116, "Cms": 6.2e-4, "Rms": 1.05, "Bl": 6.3, "Re": 5.7, "Le": 2.2e-4, "Le2": 5e-4, "Re2": 7.0}
SD = 88e-4
MASS = {"added_mass": 0.008}


def made(noise: float = 0.0, seed: int = 1, **changes: float) -> MeasuredSweep:
    return swept(driver_impedance(GRID, **{**DRIVER, **changes}), noise=noise, seed=seed)


def test_truth_lies_in_the_stated_intervals() -> None:
    """Of all values of 40 noisy pairs of sweeps, 95 % intervals hold the truth in 90 to 98 of 100."""
    truth = {**DRIVER, "fs": 1 / (2 * np.pi * np.sqrt(DRIVER["Mms"] * DRIVER["Cms"]))}
    truth["Vas"] = air_at().bulk_modulus * SD**2 * DRIVER["Cms"]
    hits = []
    for seed in range(40):
        found = driver_values(made(0.005, 2 * seed), made(0.005, 2 * seed + 1, **MASS), Sd=SD, **MASS)
        assert found.warnings == []
        hits += [abs(found.values[n].value - x) < 1.96 * found.values[n].std for n, x in truth.items()]
    assert 0.90 <= np.mean(hits) <= 0.98


def test_known_volume_does_not_care_for_the_air_in_front() -> None:
    """On a box the cone carries another mass of air: fc Qec/(fs Qes) is free of it (Small 1972)."""
    stiff = air_at().bulk_modulus * SD**2 / 10e-3
    closed = swept(driver_impedance(GRID, **{**DRIVER, "Mms": DRIVER["Mms"] * 1.05}, box_stiffness=stiff))
    found = driver_values(made(), closed, Sd=SD, known_volume=10e-3)
    assert found.values["Mms"].value == pytest.approx(DRIVER["Mms"], rel=1e-4)
    assert found.values["Bl"].value == pytest.approx(DRIVER["Bl"], rel=1e-4)
    assert found.classical["Vas"] == pytest.approx(found.values["Vas"].value, rel=0.02)


@pytest.mark.parametrize("coil", [{}, {"Le": 4e-4}, {"Le": 2e-4, "Le2": 5e-4, "Re2": 7.0}])
def test_the_coil_is_as_rich_as_the_data(coil: dict[str, float]) -> None:
    plain = {name: value for name, value in DRIVER.items() if name not in ("Le", "Le2", "Re2")}
    found = driver_values(swept(driver_impedance(GRID, **plain, **coil), noise=0.005))
    assert {"Le", "Le2", "Re2"} & found.values.keys() == coil.keys()


def test_a_sweep_that_ends_early_has_no_coil() -> None:
    low = GRID[GRID < 150]
    found = driver_values(swept(driver_impedance(low, **{**DRIVER, "Le": 1e-5, "Le2": 0.0}), low, noise=0.005))
    assert not {"Le", "Le2"} & found.values.keys()
    assert any("does not show up to 149 Hz" in note for note in found.notes)


def test_free_air_alone_says_what_is_missing() -> None:
    found = driver_values(made())
    assert {"fs", "Qms", "Qes", "Qts", "Re", "Le"} <= found.values.keys() and "Mms" not in found.values
    assert any("Mms, Cms, Rms, Bl and Vas need a second sweep" in note for note in found.notes)
    assert "# Vas is not known" in found.table


def test_a_coil_that_tilts_the_peak_is_no_fault_of_the_sweep() -> None:
    """A broad peak at 116 Hz under a strong coil: the ruler reads Qms 9 % high, on the fitted curve just as much."""
    coil = {"Le": 1.2e-3, "Le2": 9e-4, "Re2": 7.2}
    Cms, Rms = 1 / ((2 * np.pi * 116) ** 2 * 0.0116), 2 * np.pi * 116 * 0.0116 / 1.7
    driver = {"Cms": Cms, "Rms": Rms, "Bl": float(np.sqrt(Rms * 1.7 * 5.7 / 0.39)), **coil}
    found = driver_values(made(**driver), made(**driver, **MASS), Sd=SD, **MASS)
    assert found.values["Qms"].value == pytest.approx(1.7, rel=1e-4)
    assert found.classical["Qms"] > 1.08 * 1.7
    assert found.warnings == [] and any("tilts their flanks" in note for note in found.notes)


def test_doubts_go_with_the_table() -> None:
    """A wrong curve: the table says so itself, and the misfit is the same number in both places."""
    z = made().impedance
    assert z is not None
    found = driver_values(swept(z * (1 + 0.12 * np.sin(8 * np.log(GRID)))))
    assert any(f"by {100 * found.misfit:.1f} % rms" in warning for warning in found.warnings)
    assert all(f"# Careful: {warning}" in found.table for warning in found.warnings)


def test_given_resistance_is_kept() -> None:
    found = driver_values(made(), made(**MASS), Sd=SD, Re=5.5, **MASS)
    assert found.values["Re"].value == pytest.approx(5.5)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda z: z * (1 + 0.3 * np.exp(-0.5 * ((GRID - 80) / 4) ** 2)), "peaks differs"),
        (lambda z: z * (1 + 0.12 * np.sin(8 * np.log(GRID))), "departs from the fit"),
        (lambda z: np.where(np.isin(np.arange(500), (120, 121)), 1.6 * z, z), "outliers"),
    ],
)
def test_what_is_wrong_with_a_curve_is_said(spoil: object, words: str) -> None:
    clean = driver_impedance(GRID, **DRIVER)
    assert driver_values(swept(clean, noise=0.005)).warnings == []
    assert any(words in warning for warning in driver_values(swept(spoil(clean), noise=0.005)).warnings)  # type: ignore[operator]


def test_outliers_do_not_spoil_the_values() -> None:
    z = driver_impedance(GRID, **DRIVER)
    z[[110, 140]] *= 2
    found, clean = driver_values(swept(z, noise=0.003)), driver_values(swept(driver_impedance(GRID, **DRIVER)))
    for name in ("fs", "Qms", "Qes"):
        assert found.values[name].value == pytest.approx(clean.values[name].value, rel=0.01)


def test_warm_coil_and_small_shift_are_said() -> None:
    warm = driver_values(made(), made(Re=6.2, **MASS), Sd=SD, **MASS)
    assert any("warm" in warning for warning in warm.warnings)
    assert warm.values["Mms"].value == pytest.approx(DRIVER["Mms"], rel=1e-3)
    little = driver_values(made(), made(added_mass=0.001), Sd=SD, added_mass=0.001)
    assert any("moves by 4 % only" in warning for warning in little.warnings)


def test_wrong_files_are_refused() -> None:
    with pytest.raises(SweepError, match="an added mass lowers it"):
        driver_values(made(**MASS), made(), Sd=SD, **MASS)
    with pytest.raises(SweepError, match="a closed box raises it"):
        driver_values(made(), made(**MASS), Sd=SD, known_volume=0.01)
    with pytest.raises(SweepError, match="no peak stands out"):
        driver_values(swept(np.full(len(GRID), 8.0 + 0j)))
    low = GRID[GRID < 60]
    with pytest.raises(SweepError, match=r"no peak|flank above"):
        driver_values(swept(driver_impedance(low, **DRIVER), low))
    with pytest.raises(ValueError, match="needs Sd"):
        driver_values(made(), made(**MASS), **MASS)


def written(folder: Path, name: str, sweep: MeasuredSweep) -> str:
    assert sweep.phase_deg is not None
    rows = zip(sweep.frequency, sweep.magnitude, sweep.phase_deg, strict=True)
    (folder / name).write_text("Hz,ohm,deg\n" + "\n".join(f"{f:.5f},{m:.5f},{p:.4f}" for f, m, p in rows))
    return str(folder / name)


def test_command_prints_a_table_that_loads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    free, heavy = written(tmp_path, "free.csv", made()), written(tmp_path, "heavy.csv", made(**MASS))
    words = ["driver", free, "--sd", "88 cm^2", "--added-mass", "8 g", heavy, "--out", str(tmp_path / "new" / "d.toml")]
    assert main(words) == 0
    shown = capsys.readouterr().out
    assert "[driver]" in shown and "standard error" in shown and "drive softly" in shown
    case = airpath.load(tmp_path / "new" / "d.toml")
    assert shown.count((tmp_path / "new" / "d.toml").read_text()) == 1
    assert case.driver.Re == pytest.approx(5.7, rel=1e-3)
    assert np.isfinite(airpath.solve(case, frequency_hz=[GRID[0]]).impedance).all()  # as it stands
    assert main([*words[:-2], "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result["driver"]["Mms_kg"]["value"] == pytest.approx(DRIVER["Mms"], rel=1e-3)
    assert {"fs_Hz", "Qts", "Vas_m3", "Cms_m_per_N", "Rms_N_s_per_m", "Bl_T_m"} <= result["driver"].keys()


@pytest.mark.parametrize(
    ("extra", "words"),
    [
        (["--added-mass", "8 g", "{}"], "--sd is missing"),
        (["--sd", "88"], "an area needs its unit"),
        (["--sd", "88 cm^2", "--known-volume", "8 g", "{}"], '"g" is no unit of volume'),
        (["--re", "0 ohm"], "more than zero"),
        (["--sd", "88 cm^2", "--added-mass", "8 g", "none.csv"], "none.csv"),
    ],
)
def test_wrong_options_are_one_message(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], extra: list[str], words: str
) -> None:
    free = written(tmp_path, "free.csv", made())
    assert main(["driver", free, *(part.format(free) for part in extra)]) == 2
    said = capsys.readouterr()
    assert words in said.err and said.err.count("\n") == 1 and said.out == ""


DATA = Path(__file__).parents[2] / "cases" / "data"


def test_demo_sweeps_are_those_of_their_script(tmp_path: Path) -> None:
    """And they give the driver that the script writes out, within their own errors."""
    import importlib.util

    spec = importlib.util.spec_from_file_location("make_driver_sweeps", DATA / "make_driver_sweeps.py")
    assert spec is not None and spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.HERE = tmp_path
    script.main()
    made_now = sorted(tmp_path.glob("*.csv"))
    assert len(made_now) == 3
    for path in made_now:
        assert path.read_text() == (DATA / path.name).read_text()
        assert "Invented" in path.read_text().splitlines()[0]
    free, heavy, closed = (airpath.read_sweep(DATA / f"ticket-booth-{n}.csv") for n in ("free", "6g", "12L"))
    by_mass = driver_values(free, heavy, Sd=script.SD, added_mass=6e-3)
    by_volume = driver_values(free, closed, Sd=script.SD, known_volume=12e-3)
    for name, truth in (("Mms", script.MMS), ("Cms", script.CMS), ("Bl", script.BL), ("Re", script.RE)):
        assert abs(by_mass.values[name].value - truth) < 3 * by_mass.values[name].std
        assert by_volume.values[name].value == pytest.approx(truth, rel=0.01)
