"""The same box at another scale: exact without losses, sqrt(n) with them, written with comments kept."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings

from airpath.acoustics.viscothermal import Section
from airpath.air import air_at
from airpath.case import load
from airpath.case.scaling import EXPONENT, scaled, scaled_files
from airpath.case.schema import Case
from airpath.cli.main import main
from airpath.elements.duct import medium
from airpath.errors import CaseError
from airpath.findings.designs.scaling import compare_scales
from airpath.network.build import build, models_for
from airpath.network.respond import respond, solve
from airpath.network.response import Response
from airpath.network.solve import solve_network
from airpath.units import DIMENSIONS
from case_texts import VALID, write
from random_boxes import as_case, box_files

CASES = Path(__file__).parents[2] / "cases"
BENCH = CASES / "rumble-bench.toml"
PLAIN = ["fog-signal", "lantern-slot", "rumble-bench", "ticket-booth"]


def lossless(case: Case, model: str, frequency: np.ndarray) -> Response:
    """Solve a case in its own air without viscosity and heat conduction."""
    network = build(case, model)
    network = replace(network, air=network.air.lossless())
    return respond(case, network, solve_network(network, 2 * np.pi * frequency), model)


def assert_the_same(model_: Response, full: Response, factor: float, tolerance: float) -> None:
    for a, b in (
        (model_.impedance, full.impedance), (model_.excursion_peak * factor, full.excursion_peak),
        (model_.pressure, full.pressure), (model_.cone_velocity, full.cone_velocity),
        *((o.air_speed_peak, full.openings[n].air_speed_peak) for n, o in model_.openings.items()),
    ):  # fmt: skip
        assert np.abs(np.abs(b) - np.abs(a)).max() <= tolerance * np.abs(a).max()


@pytest.mark.parametrize("name", PLAIN)
@pytest.mark.parametrize("factor", [4.0, 1 / 3])
def test_without_losses_the_curves_are_the_same(name: str, factor: float) -> None:
    """Similarity (dimensional analysis, common practice): same curves at frequency/n, to 1e-9, in every fidelity."""
    case = load(CASES / f"{name}.toml")
    full = scaled(case, case.scale / factor)
    f = np.geomspace(case.sweep.start, case.sweep.stop, 120)
    for model in models_for(case):
        assert_the_same(lossless(case, model, f), lossless(full, model, f / factor), factor, 1e-9)


@settings(max_examples=20, derandomize=True, deadline=None)
@given(text=box_files())
def test_any_box_is_the_same_without_losses(text: str) -> None:
    case = as_case(text)
    f = np.geomspace(20, 700, 40)
    for model in ("lumped", "line"):
        assert_the_same(lossless(case, model, f), lossless(scaled(case, 0.2), model, f / 5), 5.0, 1e-8)


@pytest.mark.parametrize(("base", "model"), [("round", "line"), ("tapped", "line"), ("inside", "line")])
def test_every_key_scales(base: str, model: str, tmp_path: Path) -> None:
    """The cases that give every key of every table: none of them is forgotten, or these would differ."""
    case = load(write(tmp_path, VALID[base]))
    f = np.geomspace(case.sweep.start, 500, 40)
    full = scaled(case, case.scale / 2.5)
    assert_the_same(lossless(case, model, f), lossless(full, model, f / 2.5), 2.5, 1e-8)
    assert full.driver.xmax == (None if case.driver.xmax is None else pytest.approx(2.5 * case.driver.xmax))


def test_each_dimension_has_one_exponent() -> None:
    """They follow from lengths n, times n, densities 1 and ohms 1: products of units agree."""
    e = EXPONENT
    assert set(e) == set(DIMENSIONS)
    force = e["mass"] + e["length"] + 2 * e["frequency"]
    assert force == 2  # pressure times area
    assert e["compliance"] == e["length"] - force
    assert e["mechanical resistance"] == force - (e["length"] + e["frequency"])
    assert 2 * e["voltage"] == e["power"] + e["resistance"]
    assert e["power"] == force + e["length"] + e["frequency"]
    assert e["force factor"] == force - (e["voltage"] - e["resistance"])
    assert e["inductance"] == e["resistance"] - e["frequency"]
    assert e["flow resistivity"] == e["pressure"] - (e["length"] + e["frequency"]) - e["length"]


def test_with_losses_the_attenuation_goes_by_the_square_root() -> None:
    """Layers thin as 1/sqrt(f): alpha L of a 1:4 model is twice that of the full size (leading term, wide tubes)."""
    air = air_at()

    def attenuation(diameter: float, length: float, frequency: float) -> float:
        omega = np.array([2 * np.pi * frequency])
        density, compressibility = medium(Section(height=diameter), omega, air)
        return -float((omega * np.sqrt(density * compressibility)).imag[0]) * length

    for diameter, within in ((1.0, 1e-3), (0.1, 1e-2)):
        ratio = attenuation(diameter / 4, 0.5, 120) / attenuation(diameter, 2.0, 30)
        assert ratio == pytest.approx(2, rel=within)


def test_a_quarter_scale_model_at_112_hz_stands_for_28_hz() -> None:
    """Common practice."""
    case = load(BENCH)
    assert (case.scale, case.tones[0], scaled(case, 1.0).tones[0]) == (4.0, 112.0, 28.0)
    assert scaled(case, 1.0).scale == 1.0


def test_the_file_reads_back_as_the_scaled_case_with_its_comments() -> None:
    text = BENCH.read_text(encoding="utf-8")
    case = load(BENCH)
    files = scaled_files(case, text, 1.0, Path("full.toml"))
    assert list(files) == ["full.toml"]
    new = tomllib.loads(files["full.toml"])
    assert new["ports"]["nose"]["length"] == "248 mm"
    assert new["tones"] == ["28 Hz", "32 Hz", "40 Hz", "72 Hz"]
    assert new["driver"]["Qms"] == tomllib.loads(text)["driver"]["Qms"]
    comments = [line.partition("#")[2] for line in text.splitlines() if "#" in line]
    assert [line.partition("#")[2] for line in files["full.toml"].splitlines() if "#" in line] == comments


@pytest.mark.parametrize("base", ["round", "tapped", "inside"])
def test_the_written_file_is_the_scaled_case(base: str, tmp_path: Path) -> None:
    path = write(tmp_path, VALID[base])
    case = load(path)
    for keep in (False, True):
        files = scaled_files(case, path.read_text(), case.scale / 1.6, tmp_path / "other.toml", keep_driver=keep)
        (tmp_path / "other.toml").write_text(files["other.toml"])
        again, wanted = load(tmp_path / "other.toml"), scaled(case, case.scale / 1.6, keep_driver=keep)
        data, expected = again.model_dump(), wanted.model_dump()
        data.pop("title")
        expected.pop("title")
        assert _flat(data) == pytest.approx(_flat(expected), rel=1e-8)
        assert (again.driver.Sd == case.driver.Sd) is keep


def _flat(data: object, path: str = "") -> dict[str, object]:
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, (list, tuple)) else None
    if items is None:
        return {path: data} if isinstance(data, float) else {}
    return {k: v for key, value in items for k, v in _flat(value, f"{path}.{key}").items()}


def test_a_kept_driver_is_told_apart_from_losses() -> None:
    case = load(BENCH)
    kept = compare_scales(case, scaled(case, 1.0, keep_driver=True), keep_driver=True, model="line")
    similar = compare_scales(case, scaled(case, 1.0), model="line")
    for a, b in zip(kept.tones, similar.tones, strict=True):
        assert a.losses_db == pytest.approx(b.change_db, abs=1e-9)
        assert a.losses_db + a.driver_db == pytest.approx(a.change_db)
        assert b.driver_db == 0
        assert b.scaled_frequency_hz == b.frequency_hz / 4
    assert max(abs(t.driver_db) for t in kept.tones) > 3
    deepest = min((t for t in similar.turns if t.kind == "dip"), key=lambda t: t.frequency_hz)
    assert deepest.scaled_impedance_ohm < deepest.impedance_ohm  # less loss: a deeper dip
    assert any("square root" in sentence for sentence in similar.sentences)


def test_the_command_writes_the_file_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    target = tmp_path / "new" / "full.toml"
    assert main(["scale", str(BENCH), "--to", "1", "--out", str(target), "--model", "line"]) == 0
    said = capsys.readouterr().out
    assert "times 64" in said
    assert [p.name for p in target.parent.iterdir()] == ["full.toml"]
    assert load(target).scale == 1.0


def test_outlines_are_copied_scaled(tmp_path: Path) -> None:
    target = tmp_path / "full.toml"
    seat = CASES / "partition-seat.toml"
    assert main(["scale", str(seat), "--to", "1", "--out", str(target), "--model", "line", "--quiet"]) == 0
    assert sorted(p.name for p in tmp_path.iterdir()) == ["full-main.toml", "full.toml"]
    full, small = load(target), load(seat)
    f = np.array([28.0, 80.0])
    assert_the_same(lossless(small, "line", 4 * f), lossless(full, "line", f), 4.0, 1e-6)
    with pytest.raises(CaseError, match="file of its own"):
        scaled(small, 1.0)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["{case}", "--to", "1", "--out", "{case}"], "belongs to the case itself"),
        (["{case}", "--to", "4", "--out", "full.toml"], "at 1:4 already"),
        (["{case}", "--to", "1", "--out", "."], "this is a folder"),
        (["{drawn}", "--to", "2", "--out", "full.toml"], "expected a .toml outline"),
        (["{case}", "--to", "0.01", "--out", "full.toml"], "full.toml: "),
    ],
)
def test_wrong_ways_are_refused_and_leave_nothing(
    words: list[str], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    aside, here = tmp_path / "aside", tmp_path / "here"
    aside.mkdir()
    here.mkdir()
    monkeypatch.chdir(here)
    before = BENCH.read_bytes()
    names = {"case": BENCH, "drawn": write(aside, VALID["drawn"])}
    assert main(["scale", *(word.format(**names) for word in words)]) == 2
    assert said in capsys.readouterr().err
    assert not list(here.iterdir())
    assert BENCH.read_bytes() == before


def test_a_scale_that_is_no_number(capsys: pytest.CaptureFixture[str]) -> None:
    for word in ("full", "0", "-1"):
        with pytest.raises(SystemExit) as stopped:
            main(["scale", str(BENCH), "--to", word, "--out", "x.toml"])
        assert stopped.value.code == 2
        assert "expected a number from 0.01 to 100" in capsys.readouterr().err


def test_levels_that_part_by_nothing_are_said_so_and_tones_are_as_given() -> None:
    case = load(BENCH)
    near, far = (compare_scales(case, scaled(case, to), model="lumped") for to in (4.001, 1.0))
    assert near.band_text == "Over the whole band the levels part by less than 0.05 dB."
    assert far.band_text.endswith(f"and by {far.largest_db:.1f} dB at 1:1 near {far.largest_at_hz:.3g} Hz.")
    apart = np.abs(solve(scaled(case, 1.0), "lumped").spl_db - solve(case, "lumped").spl_db)
    within = float(far.band_text.split("less than ")[1].split(" dB")[0])
    assert np.mean(apart < within) >= 0.95
    assert np.mean(apart < within - 0.1) < 0.95
    even = replace(far, usual_db=far.largest_db / 2)
    assert even.band_text.startswith(f"Over the whole band the levels part by {far.largest_db:.1f} dB at most, at 1:1")
    assert [tone.frequency_hz for tone in far.tones] == list(case.tones)
    assert [tone.scaled_frequency_hz for tone in far.tones] == [tone / 4 for tone in case.tones]


def test_what_can_hurt_at_the_new_scale_is_said() -> None:
    """At full size the level is the same four times farther away, at a lower tone; limits and drive have grown."""
    case = load(BENCH)
    loud = case.model_copy(update={"drive": case.drive.model_copy(update={"voltage": 60.0})})
    quiet, found = (compare_scales(c, scaled(c, 1.0), model="lumped") for c in (case, loud))
    assert not [text for text in quiet.warnings if "Excursion" in text]
    assert all(text.startswith("At 1:1: ") for text in found.warnings)
    hearing, excursion, power = found.warnings
    assert "Hearing: " in hearing
    assert "at 4 m at" in hearing
    assert "xmax is 16 mm" in excursion
    assert "rated for 640 W" in power
