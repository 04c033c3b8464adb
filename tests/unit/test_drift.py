"""Two sweeps of one box: the value that changed between them is named, with its size, and no other."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.acoustics.driver import mechanical_set
from airpath.case.parameters import parameters
from airpath.cli.main import main
from airpath.measured.drift import Drift, drift
from airpath.measured.reading.sweep import MeasuredSweep
from bench_boxes import TEXTS, box
from driver_sweeps import swept


def mechanical(case: airpath.Case) -> airpath.Case:
    """The same box, its driver by its mechanical values: a warm coil changes Re alone."""
    driver = case.driver
    values = mechanical_set(driver.given, driver.Sd, driver.Re)
    given = {"Mms": values.Mms, "Cms": values.Cms, "Rms": values.Rms, "Bl": values.Bl}
    none = dict.fromkeys(("fs", "Qms", "Qes", "Vas"))
    return case.model_copy(update={"driver": driver.model_copy(update={**none, **given})})


@lru_cache
def built() -> airpath.Case:
    """The booth as it came out: port and volume a little off, the driver by its mechanical values."""
    case = mechanical(box("booth"))
    for name, factor in (("ports.vent.length", 1.03), ("chambers.box.volume", 0.98), ("driver.Cms", 1.04)):
        known = parameters(case)[name]
        case = known.changed(known.value * factor)
    return case


def sweep(seed: int, changes: dict[str, float] | None = None, phase: bool = True) -> MeasuredSweep:
    case = built()
    for name, factor in (changes or {}).items():
        known = parameters(case)[name]
        case = known.changed(known.value * factor)
    response = airpath.solve(case, "line")
    return swept(response.impedance, response.frequency, noise=0.004, seed=seed, phase=phase, name=f"day-{seed}.csv")


def found(changes: dict[str, float], phase: bool = True) -> Drift:
    return drift(box("booth"), sweep(1, phase=phase), sweep(2, changes, phase=phase))


CHANGES = {
    "driver.Re": 1.09, "driver.Cms": 1.15, "driver.Rms": 1.3, "ports.vent.length": 0.94, "chambers.box.volume": 1.05,
}  # fmt: skip


@pytest.mark.parametrize(("name", "phase"), [*((name, True) for name in CHANGES), ("driver.Cms", False)])
def test_what_changed_is_named(name: str, phase: bool) -> None:
    result = found({name: CHANGES[name]}, phase)
    assert [change.parameter for change in result.changes] == [name]
    change = result.changes[0]
    assert change.relative == pytest.approx(CHANGES[name] - 1, abs=max(4 * change.std, 0.006))
    assert result.after < 2.2 * result.noise and result.before > 1.3 * result.after


def test_two_changes_at_once() -> None:
    result = found({"driver.Re": 1.06, "driver.Cms": 1.12})
    assert {change.parameter for change in result.changes} == {"driver.Re", "driver.Cms"}


def test_a_warm_coil_says_how_warm() -> None:
    """Copper: 0.39 % per K (common value; IEC 60028, from memory, 0.393 % at 20 degC)."""
    change = found({"driver.Re": 1.078}).changes[0]
    warm = float(change.text.split("about ")[1].split(" K")[0])
    assert warm == pytest.approx(20, abs=1) and "warmer" in change.text


def test_a_covered_opening_is_named() -> None:
    """A hand over one opening of a box of two chambers, and a warm coil: no other value stands in for the hand."""
    case = mechanical(box("pair"))
    name = next(n for n, port in case.ports.items() if port.to == "outside")
    table = case.ports[name].model_copy(update={"covered": True})
    shut = case.model_copy(update={"ports": {**case.ports, name: table}})
    warm = parameters(shut)["driver.Re"]
    shut = warm.changed(warm.value * 1.08)
    one, two = (airpath.solve(c, "line") for c in (case, shut))
    sweeps = [swept(r.impedance, r.frequency, noise=0.004, seed=i) for i, r in enumerate((one, two))]
    result = drift(case, *sweeps)
    assert result.summary.startswith(f'"{name}" was covered in between.')
    warmer, *rest = result.changes
    assert warmer.parameter == "driver.Re" and warmer.relative == pytest.approx(0.08, abs=0.01)
    assert all(abs(change.relative) < 0.02 for change in rest) and "doubt small ones" in result.summary
    assert result.after < 2 * result.noise < 0.1 * result.before


def test_nothing_changed() -> None:
    for seed in range(2, 5):
        result = drift(box("booth"), sweep(1), sweep(seed))
        assert result.changes == [] and "Nothing changed" in result.summary


def test_what_the_model_lacks_cancels() -> None:
    """Both sweeps carry the same resonance that the case does not have; the warm coil is still all that changed."""
    def ringing(one: MeasuredSweep) -> MeasuredSweep:
        f = one.frequency
        z = one.impedance * (1 + 0.1 / (1 + 12j * (f / 300 - 300 / f)))
        return MeasuredSweep(frequency=f, magnitude=np.abs(z), phase_deg=np.rad2deg(np.angle(z)), source=one.source)

    result = drift(box("booth"), ringing(sweep(1)), ringing(sweep(2, {"driver.Re": 1.08})))
    assert [change.parameter for change in result.changes] == ["driver.Re"]
    assert result.changes[0].relative == pytest.approx(0.08, abs=0.006)


def written(folder: Path, name: str, one: MeasuredSweep) -> str:
    assert one.phase_deg is not None
    rows = zip(one.frequency, one.magnitude, one.phase_deg, strict=True)
    (folder / name).write_text("\n".join(f"{f:.4f};{m:.4f};{p:.3f}" for f, m, p in rows))
    return str(folder / name)


def test_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "booth.toml").write_text(TEXTS["booth"])
    first, second = written(tmp_path, "cold.csv", sweep(1)), written(tmp_path, "warm.csv", sweep(2, {"driver.Re": 1.1}))
    case, out = str(tmp_path / "booth.toml"), str(tmp_path / "o")
    words = ["explain", case, "--sweep", first, "--against", second, "--out", out]
    assert main(words) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "From cold.csv to warm.csv" in shown and "driver.Re: 5.7" in shown and "K warmer" in shown
    result = json.loads((tmp_path / "o" / "explain.json").read_text())
    assert result["drift"]["changes"][0]["parameter"] == "driver.Re"
    assert "From cold.csv to warm.csv" in (tmp_path / "o" / "explain.html").read_text()
    assert main(["explain", str(tmp_path / "booth.toml"), "--against", second]) == 2
    assert "--against needs --sweep" in capsys.readouterr().err
