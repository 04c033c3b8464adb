"""The explanation as a whole: who does the work, what the cone feels, what is said of fidelities left out."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.cli.main import main
from airpath.findings.explaining.explanation import Explanation
from airpath.network.respond import solve

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))


@cache
def explained(path: Path) -> Explanation:
    return airpath.explanation(airpath.load(path))


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_shares_of_the_work_add_up_and_follow_the_volume_velocity(path):
    found = explained(path)
    work, response = found.work, found.responses[found.model]
    assert set(work.share) == {name for name, o in response.openings.items() if o.pressure is not None}
    assert np.sum(list(work.share.values()), axis=0) == pytest.approx(1, abs=1e-12)
    flow = [response.openings[name].volume_velocity for name in work.share]
    total = np.abs(np.sum(flow, axis=0)) / np.sum(np.abs(flow), axis=0)
    assert work.together == pytest.approx(total, abs=1e-12)
    assert np.all(work.together <= 1 + 1e-12)


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_what_is_said_of_a_tone_holds_in_a_solve_of_its_own(path):
    found = explained(path)
    at_tones = solve(found.case, found.model, found.case.tones)
    assert [held.frequency_hz for held in found.tones] == pytest.approx(found.case.tones)
    for i, held in enumerate(found.tones):
        assert held.loading_db == pytest.approx(at_tones.loading_db[i], abs=1e-9)
        flow = {name: at_tones.openings[name].volume_velocity[i] for name in held.openings}
        strongest = max(flow.values(), key=abs)
        for name, worker in held.openings.items():
            cosine = (flow[name] * np.conj(strongest)).real / abs(flow[name]) / abs(strongest)
            assert worker.way == ("with" if cosine >= 0.5 else "against" if cosine <= -0.5 else "aside")
        for kind, near in (("peak", held.peak), ("dip", held.dip)):
            places = [f.frequency_hz for f in found.features if f.kind == kind]
            distance = min((f - held.frequency_hz for f in places), key=lambda d: abs(np.log1p(d / held.frequency_hz)))
            if abs(np.log2(1 + distance / held.frequency_hz)) > 1:  # an octave off is not near
                assert near is None
                assert f"nearest {kind}" not in held.text
                continue
            assert near is not None
            assert near.distance_hz == pytest.approx(distance)
            assert found.features[near.number - 1].kind == kind
            assert f"nearest {kind} (number {near.number})" in held.text


def test_below_the_tuning_cone_and_vent_work_against_each_other_and_above_with_each_other():
    # Small 1973, J. Audio Eng. Soc. 21, 316: below the tuning the vent's output is in antiphase with the cone's.
    case = airpath.load(next(path for path in CASES if path.stem == "ticket-booth"))
    low, high = airpath.explanation(case.model_copy(update={"tones": (35.0, 110.0)})).tones
    assert {worker.way for worker in low.openings.values()} == {"with", "against"}
    assert "against it" in low.text
    assert {worker.way for worker in high.openings.values()} == {"with"}
    assert "in step with it" in high.text


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_the_result_is_json_with_one_entry_per_feature_and_tone(path):
    found = explained(path)
    again = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert len(again["features"]) == len(found.features)
    assert [tone["frequency_hz"] for tone in again["tones"]] == pytest.approx(found.case.tones)
    assert list(found.responses)[-1] == found.model


def test_a_fidelity_that_can_not_be_built_is_said_to_be_missing(tmp_path):
    """An opening too large for its wall stops the field model, not the line model that was asked for."""
    bench = next(path for path in CASES if path.stem == "rumble-bench").read_text(encoding="utf-8")
    text = re.sub(r'(name = )?from_at = \["0 mm", "50 mm", "25 mm"\]', 'from_at = ["0 mm", "50 mm", "5 mm"]', bench)
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    case = airpath.load(tmp_path / "bench.toml")
    found = airpath.explanation(case, "line")
    assert list(found.responses) == ["lumped", "line"]
    (note,) = found.missing
    assert note.startswith("The field model can't be built")
    assert "stays inside the walls" in note
    with pytest.raises(airpath.CaseError):
        airpath.explanation(case)


def test_a_long_list_is_cut_on_the_terminal_and_says_so(capsys, tmp_path, monkeypatch):
    monkeypatch.setattr("airpath.cli.explain._SHOWN", 3)
    path = next(path for path in CASES if path.stem == "lantern-slot")
    many = len(explained(path).features)
    assert many > 3
    assert main(["explain", str(path), "--out", str(tmp_path / "out")]) == 0
    text = capsys.readouterr().out
    assert "\n3. " in text
    assert "\n4. " not in text
    assert f"\n{many - 3} more from " in text
    assert (tmp_path / "out" / "explain.html").read_text(encoding="utf-8").count('id="feature-') == many


def test_faint_waves_of_a_horn_share_a_line_on_the_terminal(capsys, tmp_path):
    path = next(path for path in CASES if path.stem == "fog-signal")
    assert main(["explain", str(path), "--out", str(tmp_path / "out")]) == 0
    text = capsys.readouterr().out
    first, last = map(int, re.search(r"\n(\d+) to (\d+)\. Faint ones from", text).groups())
    features = explained(path).features
    assert last - first >= 2
    assert f"\n{first - 1}. " in text
    assert not any(f"\n{number}. " in text for number in range(first, last + 1))
    for i in range(first - 1, last):
        beside = [f.impedance_ohm for f in features[i - 1 : i + 2] if f is not features[i]]
        assert (features[i].cause.type, features[i].cause.element) == ("horn", "horn")
        assert features[i].kind == "ripple" or min(abs(features[i].impedance_ohm / z - 1) for z in beside) < 0.03


@pytest.mark.parametrize(("start", "said"), [("30 Hz", True), ("15 Hz", False)])
def test_a_peak_below_the_sweep_is_told(tmp_path, start, said):
    """The slot's lower peak is near 25 Hz (feature 1 of the case as it is, from 20 Hz on)."""
    text = next(path for path in CASES if path.stem == "lantern-slot").read_text(encoding="utf-8")
    (tmp_path / "slot.toml").write_text(text.replace('start = "20 Hz"', f'start = "{start}"'), encoding="utf-8")
    found = airpath.explanation(airpath.load(tmp_path / "slot.toml"), "lumped")
    note = "The impedance falls from 30 Hz on: a peak lies below the sweep; a lower sweep.start shows it."
    assert (note in found.missing) is said
    assert len(found.missing) == said
    assert any(f.kind == "peak" and f.frequency_hz < 30 for f in found.features) is not said
