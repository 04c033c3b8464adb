"""Fresh words and numbers against the checked-in reports; `make reports` remakes them, CHANGELOG.md says why."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import pytest

_spec = importlib.util.spec_from_file_location("make_reports", Path(__file__).with_name("make_reports.py"))
make_reports = importlib.util.module_from_spec(_spec)
sys.modules["make_reports"] = make_reports
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


@pytest.mark.parametrize("shown", make_reports.PREDICTED, ids=lambda shown: shown.folder)
def test_prediction_is_current(shown, tmp_path):
    words = shown.run(tmp_path)
    old = json.loads((shown.text.parent / "result.json").read_text(encoding="utf-8"))
    fresh = make_reports.thinned(json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8")))
    same(fresh, old, shown.folder)
    assert words == shown.text.read_text(encoding="utf-8")


@pytest.mark.parametrize("shown", make_reports.OTHERS, ids=lambda shown: f"{shown.folder}-{shown.words}")
def test_words_are_current(shown, tmp_path):
    assert shown.run(tmp_path) == shown.text.read_text(encoding="utf-8")
