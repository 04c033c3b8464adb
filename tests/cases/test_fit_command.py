"""``airpath fit`` on boxes built a little differently from their plan: values, files, words and refusals."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.case.load import parse
from airpath.cli.main import main
from airpath.measured.fitting.fit import CoveredSweep, fit
from airpath.measured.fitting.squares import covered
from airpath.measured.reading.sweep import MeasuredSweep
from measured_boxes import changed, measured, scaled

ROOT = Path(__file__).parents[2]
BOOTH, BENCH = (ROOT / "cases" / f"{name}.toml" for name in ("ticket-booth", "rumble-bench"))


def write(path: Path, sweep: MeasuredSweep) -> str:
    phase = sweep.phase_deg if sweep.phase_deg is not None else np.full(len(sweep.frequency), np.nan)
    rows = [
        f"{f:.6g}, {z:.6g}" + ("" if np.isnan(p) else f", {p:.4f}")
        for f, z, p in zip(sweep.frequency, sweep.magnitude, phase, strict=True)
    ]
    path.write_text("\n".join(["# made up", "Hz, ohm, degrees", *rows]) + "\n", encoding="utf-8")
    return str(path)


@pytest.fixture
def booth(tmp_path: Path) -> str:
    built = scaled(airpath.load(BOOTH), {"ports.vent.length": 1.04, "driver.fs": 1.06})
    return write(tmp_path / "booth.csv", measured(built, 150))


def test_fit_writes_result_page_and_the_case_with_its_comments(booth, tmp_path, capsys):
    out = tmp_path / "out"
    words = ["fit", str(BOOTH), "--sweep", booth, "--free", "vent.length=5 mm,driver.fs=5 %", "--out", str(out)]
    assert main([*words, "--tolerance", "0 mm", "--driver-tolerance", "0"]) == 0
    printed = capsys.readouterr()
    assert printed.err == "" and "What differs: driver.fs is 61." in printed.out
    assert "ports.vent.length is 1" in printed.out
    result = json.loads((out / "fit.json").read_text(encoding="utf-8"))
    length = result["parameters"]["ports.vent.length"]
    assert (length["unit"], length["was"]) == ("mm", pytest.approx(125.0))
    assert abs(length["value"] - 130.0) < 2.5 * length["std"] < 3
    assert result["rms_error_after"] < 0.007 < 0.05 < result["rms_error_before"]
    again = airpath.load(out / "ticket-booth-fitted.toml")
    assert again.ports["vent"].length * 1e3 == pytest.approx(length["value"], rel=1e-5)
    before = [line for line in BOOTH.read_text(encoding="utf-8").splitlines() if line.lstrip().startswith("#")]
    text = (out / "ticket-booth-fitted.toml").read_text(encoding="utf-8")
    assert [line for line in text.splitlines() if line.lstrip().startswith("#")] == before
    page = (out / "fit.html").read_text(encoding="utf-8")
    assert "ports.vent.length" in page and "no permit" in page and "http" not in page.replace("http-equiv", "").replace(
        "http://www.w3.org", "")  # fmt: skip


def test_json_is_all_there_is_and_nothing_is_written(booth, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["fit", str(BOOTH), "--sweep", booth, "--free", "driver.fs", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert list(result["parameters"]) == ["driver.fs"]
    assert [file.name for file in tmp_path.iterdir()] == ["booth.csv"]


def test_the_case_s_own_sweep_and_paths_in_the_fitted_case(booth, tmp_path):
    case = tmp_path / "mine.toml"
    case.write_text('measured = "booth.csv"\n' + BOOTH.read_text(encoding="utf-8"), encoding="utf-8")
    assert main(["fit", str(case), "--free", "driver.fs", "--quiet", "--out", str(tmp_path / "a" / "b")]) == 0
    again = airpath.load(tmp_path / "a" / "b" / "mine-fitted.toml")
    assert again.measured == "../../booth.csv"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--free", "vent.lenght"], '"vent.length" is the nearest known value'),
        (["--free", "fs=much"], 'driver.fs=much": expected how far it may be off'),
        (["--tolerance", "1"], '--tolerance "1": a length needs its unit'),
        (["--driver-tolerance", "5"], "expected a number from 0 to 1"),
        (["--free", "fs", "--driver-tolerance", "0"], 'as in "driver.fs=5 %"'),
        (["--model", "magic"], "choose from lumped, line"),
        (["--sweep", "nowhere.csv"], "nowhere.csv"),
        (["--sweep", "BOOTH:went"], '"vent" is the nearest known port'),
    ],
)
def test_wrong_input_is_one_message(words, message, booth, tmp_path, capsys):
    out = tmp_path / "out"
    words = [word.replace("BOOTH", booth) for word in words]
    sweep = [] if "--sweep" in words else ["--sweep", booth]
    assert main(["fit", str(BOOTH), *sweep, *words, "--out", str(out)]) == 2
    error = capsys.readouterr().err
    assert message in error and "Traceback" not in error
    assert not out.exists()


def test_without_a_sweep_there_is_nothing_to_fit(capsys):
    assert main(["fit", str(BOOTH)]) == 2
    assert "--sweep is missing" in capsys.readouterr().err


def test_a_sweep_from_elsewhere_is_refused(tmp_path, capsys):
    far = tmp_path / "far.csv"
    far.write_text("\n".join(f"{f}, 8, 0" for f in range(30_000, 31_000, 50)), encoding="utf-8")
    assert main(["fit", str(BOOTH), "--sweep", str(far)]) == 2
    assert "0 of its 20 points" in capsys.readouterr().err


def test_auto_says_why_and_names_the_right_kind_of_value(booth):
    result = fit(airpath.load(BOOTH), airpath.read_sweep(booth), localise=False)
    taken = {choice.name for choice in result.choices if choice.taken}
    assert {value.name for value in result.values} == taken
    assert "driver.fs" in taken and len(taken & {"ports.vent.length", "ports.vent.diameter"}) <= 1
    assert all(choice.why for choice in result.choices)
    assert not result.structural
    assert abs(result["driver.fs"].value - 1.06 * 58) < 3 * result["driver.fs"].std


def test_magnitude_alone_works(tmp_path):
    case = airpath.load(BOOTH)
    built = scaled(case, {"driver.fs": 1.05, "driver.Qes": 0.93})
    whole = fit(case, measured(built, 150), ["driver.fs", "driver.Qes"], tolerance=0, driver_tolerance=0.05)
    half = fit(case, measured(built, 150, phase=False), ["driver.fs", "driver.Qes"], tolerance=0, driver_tolerance=0.05)
    for result in (whole, half):
        assert abs(result["driver.Qes"].value / 0.4278 - 1) < 0.01
    assert half["driver.fs"].std_noise > 1.1 * whole["driver.fs"].std_noise  # half the data know less


def test_a_wild_point_changes_nothing():
    case = airpath.load(BOOTH)
    sweep = measured(scaled(case, {"ports.vent.length": 1.04}), 150)
    spoiled = sweep.magnitude.copy()
    spoiled[[20, 60, 61, 110]] *= [2.0, 0.4, 1.7, 3.0]
    wild = MeasuredSweep(frequency=sweep.frequency, magnitude=spoiled, phase_deg=sweep.phase_deg, source=sweep.source)
    free = ["vent.length=6 mm", "driver.fs", "driver.Qes"]
    good, bad = (fit(case, each, free, tolerance=0) for each in (sweep, wild))
    assert bad["ports.vent.length"].value == pytest.approx(good["ports.vent.length"].value, abs=0.6e-3)
    assert bad["ports.vent.length"].std < 2 * good["ports.vent.length"].std


def test_sweeps_with_openings_covered_tell_more_together():
    case = airpath.load(BENCH)
    built = scaled(case, {"ports.nose.length": 1.05, "ports.rear.length": 0.96})
    free = ["nose.length=4 mm", "rear.length=4 mm", "throat.length=4 mm", "driver.fs"]
    states = [
        CoveredSweep(measured=measured(covered(built, names), 120, seed=i, model="lumped"), covered=names)
        for i, names in enumerate(((), ("nose",), ("rear",)))
    ]
    alone, together = (
        fit(case, sweeps, free, tolerance=0, driver_tolerance=0.05, model="lumped") for sweeps in (states[:1], states)
    )
    for name in ("nose", "rear"):
        value = together[f"ports.{name}.length"]
        assert value.std < 0.8 * alone[value.name].std
        assert abs(value.value - built.ports[name].length) < 3 * value.std
    assert [curve.covered for curve in together.curves] == [(), ("nose",), ("rear",)]


def test_a_value_that_the_sweep_cannot_see_is_said_to_be_unseen():
    """Far above the tuning only the coil is heard: nothing of the port, nothing of the box."""
    case = airpath.load(BOOTH)
    high = case.model_copy(update={"sweep": case.sweep.model_copy(update={"start": 900.0, "stop": 4000.0})})
    sweep = measured(scaled(high, {"chambers.box.volume": 1.05, "driver.Le": 1.03}), 100)
    result = fit(high, sweep, ["box.volume=5 %", "vent.length=4 mm", "driver.Le"], tolerance=0, driver_tolerance=0.05)
    for name in ("chambers.box.volume", "ports.vent.length"):
        value = result[name]
        assert not value.seen and "not seen" in value.text
        assert value.std > 0.7 * value.width
    assert abs(result["driver.Le"].value / 0.45e-3 - 1.03) < 0.01 and result["driver.Le"].seen
    assert any("does not see chambers.box.volume and ports.vent.length" in sentence for sentence in result.summary)


def test_values_that_act_alike_are_named_as_a_pair():
    """In a closed box the spring of the suspension and that of the air only show by their sum."""
    case = airpath.load(BOOTH)
    closed = case.model_copy(update={"ports": {}})
    result = fit(closed, measured(closed, 150), ["driver.Vas=10 %", "box.volume=10 %", "fs=5 %"], tolerance=0,
                 driver_tolerance=0)  # fmt: skip
    assert {result.ties[0].first, result.ties[0].second} == {"driver.Vas", "chambers.box.volume"}
    assert any("chambers.box.volume" in text and "can't be told apart" in text for text in result.summary)


def test_an_absurd_value_is_called_suspicious():
    case = airpath.load(BOOTH)
    result = fit(case, measured(scaled(case, {"ports.vent.length": 1.2}), 150), ["vent.length", "driver.fs"])
    assert abs(result["ports.vent.length"].pull) > 3
    assert any("ports.vent.length" in warning for warning in result.warnings)


def test_a_leak_is_found_from_nothing_and_none_where_there_is_none():
    case = airpath.load(BOOTH)
    names = ["box.leak.diameter", "driver.Qms=5 %", "driver.fs=5 %"]
    leaky = fit(case, measured(changed(case, {"chambers.box.leak.diameter": 0.004}), 150), names, tolerance=0,
                driver_tolerance=0)  # fmt: skip
    found = leaky["chambers.box.leak.diameter"]
    assert found.seen and found.was is None and found.low < 0.004 < found.high
    assert leaky.case.chambers["box"].leak is not None
    tight = fit(case, measured(case, 150), names, tolerance=0, driver_tolerance=0)
    none = tight["chambers.box.leak.diameter"]
    assert not none.seen and "no leak seen" in none.text and none.high < 0.004
    assert tight.case.chambers["box"].leak is None


def test_waves_that_the_line_model_lacks_are_not_blamed_on_the_box():
    """A sweep made by the field model: the line model says that the other one is closer, and that one says nothing."""
    case = airpath.load(BENCH)
    made = measured(case, 120, model="field")
    said = fit(case, made, ["driver.fs", "driver.Qes"]).warnings
    assert any("--model field" in warning for warning in said)
    assert not any("--model field" in w for w in fit(case, made, ["driver.fs", "driver.Qes"], model="field").warnings)
    plain = measured(case, 120)
    assert not any("--model field" in warning for warning in fit(case, plain, ["driver.fs"]).warnings)


@pytest.mark.parametrize("phase", [True, False])
@pytest.mark.parametrize("free", ["auto", "driver.*"])
def test_an_inductance_that_the_case_lacks_is_fitted_too(phase, free):
    """A data sheet often gives none; no hole in the box is blamed for it, and the fitted case has it."""
    case = airpath.load(BOOTH)
    text = BOOTH.read_text(encoding="utf-8").replace("\nLe =", "\n# Le =")
    result = fit(parse(text, BOOTH), measured(case, 200, 0.003, phase=phase), free)
    coil = result["driver.Le"]
    assert coil.was is None and coil.seen and coil.low < case.driver.Le < coil.high
    assert coil.std < 0.1 * coil.value
    assert not result.structural and result.misfit is None
    assert any("the case gives none" in sentence for sentence in result.summary)
    assert '\nLe = "' in result.written(text)
