"""Fresh numbers against the checked-in reports; `make reports` remakes them, CHANGELOG.md says why they changed."""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path

import pytest

import airpath

ROOT = Path(__file__).parents[2]
CASES = sorted((ROOT / "cases").glob("*.toml"))
_spec = importlib.util.spec_from_file_location("make_reports", Path(__file__).with_name("make_reports.py"))
make_reports = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(make_reports)
TOLERANCE = 1e-6  # libraries' last digits differ between machines; a change of the physics does not stay below it


def same(new, old, where: str) -> None:
    if isinstance(old, dict):
        assert sorted(new) == sorted(old), where
        for key in old:
            same(new[key], old[key], f"{where}.{key}")
    elif isinstance(old, list):
        assert len(new) == len(old), where
        for i, (a, b) in enumerate(zip(new, old, strict=True)):
            same(a, b, f"{where}[{i}]")
    elif isinstance(old, float) and not where.endswith("power_balance_error"):
        assert new == pytest.approx(old, rel=TOLERANCE, abs=1e-12), where
    elif not isinstance(old, float):
        assert new == old, where


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_report_is_current(path):
    old = json.loads((ROOT / "reports" / path.stem / "result.json").read_text(encoding="utf-8"))
    fresh = make_reports.thinned(airpath.predict(airpath.load(path)).to_dict())
    same(json.loads(json.dumps(fresh)), old, path.stem)


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_summary_is_current(path):
    prediction = airpath.predict(airpath.load(path))
    text = (ROOT / "reports" / path.stem / "summary.txt").read_text(encoding="utf-8")
    assert make_reports.summary(prediction) == text
