"""Sweeps of boxes that differ from their case in a known way: what differs is found, and the rest is left alone."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import airpath
from airpath.case.parameters import parameters
from airpath.cli.main import main
from airpath.errors import SweepError
from airpath.findings.explaining.explanation import explanation
from airpath.measured.compare import Comparison, compare
from airpath.measured.comparewords import in_common
from airpath.measured.reading.sweep import MeasuredSweep, read_sweep
from airpath.report.figures.causes import numbered_impedance
from airpath.report.figures.curves import impedance
from bench_boxes import TEXTS
from bench_boxes import box as load
from driver_sweeps import swept


def measured(case: airpath.Case, model: str = "line", noise: float = 0.003, phase: bool = True) -> MeasuredSweep:
    response = airpath.solve(case, model)
    return swept(response.impedance, response.frequency, noise=noise, phase=phase)


@lru_cache
def as_built(name: str, phase: bool = True) -> Comparison:
    return compare(load(name), measured(load(name), phase=phase))


def texts(found: Comparison) -> str:
    return "\n".join(match.text for match in found.matches)


@pytest.mark.parametrize("phase", [True, False])
def test_a_box_as_drawn_has_nothing_left_over(phase: bool) -> None:
    found = as_built("booth", phase)
    assert found.explained.model == "line" and found.rms["line"] < 0.005 < found.rms["lumped"]
    assert all(match.measured and match.predicted for match in found.matches)
    assert found.doubts == []
    strong = [m for m in found.matches if m.feature and m.feature.q]
    assert len(strong) == 3
    for match in strong:
        assert match.deviation is not None and abs(match.deviation) < 0.01
        assert match.feature is not None and match.feature.cause.text in match.text
        assert "the same" in match.text or "lower" in match.text or "higher" in match.text


@pytest.mark.parametrize("phase", [True, False])
def test_a_broad_ripple_that_no_curve_settles_is_not_called_missing(phase: bool) -> None:
    """In a small room a broad resonance rides on the flank of a peak; noise decides whether a fit finds it."""
    found = as_built("booth in a room", phase)
    assert all(match.measured and match.predicted for match in found.matches)


@pytest.mark.parametrize(("parameter", "factor"), [("ports.vent.length", 1.1), ("chambers.box.volume", 0.92)])
def test_what_moves_a_dip_is_named_with_its_size(parameter: str, factor: float) -> None:
    """The text names the value that was changed, among the two offered, within a quarter of the change."""
    case = load("booth")
    known = parameters(case)[parameter]
    found = compare(case, measured(known.changed(known.value * factor)))
    dip = next(m for m in found.matches if m.measured and m.measured.kind == "dip")
    assert dip.deviation is not None and np.sign(dip.deviation) == np.sign(1 - factor)
    assert "It would fit with" in dip.text
    if parameter in dip.text:
        said = float(dip.text.split(f"{parameter} at about ")[1].split()[0])
        assert said == pytest.approx(known.value * factor / known.si, rel=abs(factor - 1) / 3)


def test_a_resonance_that_no_model_has_is_left_over() -> None:
    case = load("booth")
    response = airpath.solve(case, "line")
    f = response.frequency
    z = response.impedance + 1.2 / (1 + 15j * (f / 412 - 412 / f))
    found = compare(case, swept(z, f, noise=0.003))
    left = [m for m in found.matches if m.predicted is None]
    assert any(abs(m.measured.frequency_hz - 412) < 4 and "nothing in any model" in m.text for m in left if m.measured)
    assert all(300 < m.measured.frequency_hz < 500 for m in left if m.measured)


def test_a_resonance_that_only_a_higher_model_has() -> None:
    """Made by the line model, compared by the lumped one: the pipe's ripple has no counterpart, but line has one."""
    case = load("slot")
    found = compare(case, measured(case, noise=0.0002), "lumped")
    assert "nothing in the lumped model, but the line model has one at" in texts(found)


def test_a_resonance_that_was_not_built() -> None:
    case = load("pair")
    closed = case.model_copy(update={"ports": {**case.ports, "throat": case.ports["throat"].model_copy(
        update={"diameter": case.ports["throat"].diameter * 0.2})}})  # fmt: skip
    found = compare(case, measured(closed), "line")
    gone = [m for m in found.matches if m.measured is None]
    assert any("does not show" in m.text and "throat" in m.text for m in gone)


def test_noise_hides_and_is_not_blamed() -> None:
    """What is too weak for the noise of the sweep is not called missing."""
    found = compare(load("pair"), measured(load("pair"), noise=0.01), "line")
    assert all(m.measured is not None for m in found.matches)


def test_all_off_alike_is_one_cause() -> None:
    case = load("horn")
    sweep = measured(case)
    slow = MeasuredSweep(frequency=sweep.frequency * 0.97, magnitude=sweep.magnitude, phase_deg=sweep.phase_deg,
                         source=sweep.source)  # fmt: skip
    assert "ll lie about 3 % lower than predicted" in compare(case, slow, "line").summary
    assert "ll lie" not in as_built("booth").summary


@pytest.mark.parametrize("phase", [True, False])
def test_a_case_without_inductance_is_compared_with_that_of_the_sweep(phase: bool) -> None:
    case = load("booth")
    bare = case.model_copy(update={"driver": case.driver.model_copy(update={"Le": 0.0})})
    found = compare(bare, measured(case, phase=phase))
    assert [doubt.check for doubt in found.doubts] == ["no coil"]
    said = float(found.doubts[0].text.split("Le = ")[1].split()[0])
    assert said == pytest.approx(case.driver.Le * 1e3, rel=0.1)
    assert all(match.measured and match.predicted for match in found.matches)


def test_sweeps_that_do_not_overlap_are_refused() -> None:
    case = load("booth")
    f = np.geomspace(5000, 10_000, 50)
    with pytest.raises(SweepError, match="hardly a frequency in common"):
        compare(case, swept(np.full(50, 8.0 + 0j), f))


def write(folder: Path, sweep: MeasuredSweep) -> Path:
    assert sweep.phase_deg is not None
    rows = zip(sweep.frequency, sweep.magnitude, sweep.phase_deg, strict=True)
    (folder / "sweep.csv").write_text("\n".join(f"{f:.4f} {m:.4f} {p:.3f}" for f, m, p in rows))
    return folder / "sweep.csv"


def test_command_with_a_sweep(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write(tmp_path, measured(load("booth")))
    (tmp_path / "booth.toml").write_text(TEXTS["booth"])
    words = ["explain", str(tmp_path / "booth.toml"), "--sweep", str(path), "--out", str(tmp_path / "out")]
    assert main(words) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "Measured: sweep.csv" in shown and "departs from the sweep by" in shown and "Measured dip at 69" in shown
    page = (tmp_path / "out" / "explain.html").read_text()
    assert "<h2>Measured</h2>" in page and '"measured"' in page
    result = json.loads((tmp_path / "out" / "explain.json").read_text())
    assert len(result["measured"]) >= 3 and result["sweep"]["file"] == "sweep.csv"
    assert {"measured", "predicted", "deviation", "cause", "text"} == result["measured"][0].keys()


def test_pictures_name_what_was_measured() -> None:
    case = airpath.load(Path(__file__).parents[2] / "cases" / "buoy-round.toml")
    sweep = read_sweep(case.resolve(str(case.measured)))
    for figure in (impedance(airpath.predict(case), sweep=sweep), numbered_impedance(explanation(case), sweep)):
        legend = figure.axes[0].get_legend()
        assert legend is not None and [text.get_text() for text in legend.get_texts()] == ["measured"]
    assert impedance(airpath.predict(case)).axes[0].get_legend() is None


def test_the_sweep_of_the_case_itself(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The key ``measured`` is read by explain and drawn by predict; a broken file stops both."""
    write(tmp_path, measured(load("booth")))
    (tmp_path / "box.toml").write_text('measured = "sweep.csv"\n' + TEXTS["booth"])
    assert main(["explain", str(tmp_path / "box.toml"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["measured"]
    assert main(["predict", str(tmp_path / "box.toml"), "--out", str(tmp_path / "p")]) == 0
    assert "Round marks: measured, sweep.csv" in (tmp_path / "p" / "report.html").read_text()
    (tmp_path / "sweep.csv").write_text("20,5\n20,6\n")
    capsys.readouterr()
    for command in ("explain", "predict"):
        assert main([command, str(tmp_path / "box.toml"), "--out", str(tmp_path / "none")]) == 2
        assert "sweep.csv, line 2:" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()


def test_several_features_off_each_by_its_own_share_point_to_the_fit() -> None:
    def said(*off: float) -> str:
        return in_common([SimpleNamespace(deviation=one) for one in off])

    assert "airpath fit" in said(0.05, -0.02, 0.06)
    assert "airpath fit" in said(0.05, -0.02)
    assert said(0.05, 0.0, 0.001) == said(0.05) == ""
    assert "one cause of all" in said(0.05, 0.051, 0.052) and "airpath fit" not in said(0.05, 0.051, 0.052)
