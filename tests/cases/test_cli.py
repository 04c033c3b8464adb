"""Every bundled case through the command line, and the promises of the commands."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

import airpath
from airpath.cli.main import main

ROOT = Path(__file__).parents[2]
CASES = sorted((ROOT / "cases").glob("*.toml"))


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_predict_writes_the_report_and_says_what_it_did(path, tmp_path, capsys):
    out = tmp_path / "report"
    assert main(["predict", str(path), "--out", str(out)]) == 0
    printed = capsys.readouterr()
    assert airpath.load(path).title in printed.out
    assert printed.err == ""
    names = {file.name for file in out.iterdir()}
    assert {"result.json", "curves.csv", "report.html"} <= names
    result = json.loads((out / "result.json").read_text(encoding="utf-8"))
    assert set(result["models"]) == set(airpath.predict(airpath.load(path)).responses)
    shown = [row["frequency_hz"] for row in result["tones"]][:: len(result["models"])]
    assert shown == pytest.approx(result["tones_hz"], rel=1e-12)


def test_json_is_all_there_is_on_stdout(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["predict", str(CASES[0]), "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    case = airpath.load(CASES[0])
    response = airpath.solve(case, model="line")
    assert result["models"]["line"]["impedance_ohm"]["re"] == response.impedance.real.tolist()
    assert list(tmp_path.iterdir()) == []


def test_ports_json_names_every_port(capsys):
    path = ROOT / "cases" / "rumble-bench.toml"
    assert main(["ports", str(path), "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["ports"]
    assert list(rows) == ["nose", "throat", "rear"]
    for row in rows.values():
        ends = row["end_correction_from_m"] + row["end_correction_to_m"]
        assert row["effective_length_m"] > ends > 0
        assert row["air_speed_limit_m_s"] == pytest.approx(0.05 * 344, rel=1e-3)


def test_ports_are_written_as_they_are_shown(tmp_path, capsys):
    path = ROOT / "cases" / "rumble-bench.toml"
    assert main(["ports", str(path), "--json", "--out", str(tmp_path / "out")]) == 0
    [file] = (tmp_path / "out").iterdir()
    assert file.name == "ports.json"
    assert json.loads(file.read_text(encoding="utf-8")) == json.loads(capsys.readouterr().out)


def test_one_model_only(capsys):
    assert main(["predict", str(CASES[0]), "--json", "--model", "lumped"]) == 0
    assert list(json.loads(capsys.readouterr().out)["models"]) == ["lumped"]


def test_unknown_model_is_refused(tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["predict", str(CASES[0]), "--model", "magic", "--out", str(out)]) == 2
    assert "lumped, line" in capsys.readouterr().err
    assert not out.exists()


def test_wrong_input_leaves_the_folder_alone(tmp_path, capsys):
    bad, out = tmp_path / "bad.toml", tmp_path / "out"
    bad.write_text('title = "x"\n[driver]\nfs = 12\n', encoding="utf-8")
    out.mkdir()
    (out / "keep.txt").write_text("mine", encoding="utf-8")
    assert main(["predict", str(bad), "--out", str(out)]) == 2
    error = capsys.readouterr().err
    assert "bad.toml" in error and "[driver]" in error and "fs" in error
    assert [file.name for file in out.iterdir()] == ["keep.txt"]


def test_missing_file_is_one_message(capsys):
    assert main(["predict", "no-such.toml"]) == 2
    assert "no-such.toml" in capsys.readouterr().err


def test_quiet_prints_nothing(tmp_path, capsys):
    assert main(["predict", str(CASES[0]), "--quiet", "--out", str(tmp_path / "o")]) == 0
    assert capsys.readouterr() == ("", "")


def test_demo_runs_from_any_folder(tmp_path):
    run = subprocess.run(
        [sys.executable, "-m", "airpath", "demo"], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    assert "Rumble bench" in run.stdout
    assert (tmp_path / "airpath-out" / "rumble-bench" / "report.html").is_file()


def test_demo_names_its_cases_as_json_too(capsys):
    assert main(["demo", "--list", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == sorted(path.stem for path in CASES)


def test_help_imports_no_numerics():
    code = (
        "import sys; from airpath.cli.main import parser; parser(); "
        "print([m for m in ('numpy', 'pint') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"


def test_a_calculation_that_cannot_be_trusted_is_status_3(tmp_path, capsys, monkeypatch):
    def lost(*_):
        raise airpath.AccuracyError("the power balance is off by 0.2, the limit is 1e-6")

    monkeypatch.setattr("airpath.findings.predict.respond", lost)
    out = tmp_path / "out"
    assert main(["predict", str(CASES[0]), "--json", "--out", str(out)]) == 3
    printed = capsys.readouterr()
    assert (printed.out, printed.err) == ("", "airpath: the power balance is off by 0.2, the limit is 1e-6\n")
    assert not out.exists()
