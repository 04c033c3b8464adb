"""The bundled sweeps of built boxes are what their script makes from today's cases, and say that they are invented."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest

import airpath

DATA = Path(__file__).parents[2] / "cases" / "data"
NAMES = ("rumble-bench-open", "rumble-bench-nose-covered", "ticket-booth-leaky", "buoy-round-built")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    spec = importlib.util.spec_from_file_location("make_box_sweeps", DATA / "make_box_sweeps.py")
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.DATA = tmp_path_factory.mktemp("data")
    script.main()
    return script.DATA


@pytest.mark.parametrize("name", NAMES)
def test_a_sweep_is_what_its_script_makes(name: str, made: Path) -> None:
    kept, new = (airpath.read_sweep(folder / f"{name}.csv") for folder in (DATA, made))
    np.testing.assert_allclose(kept.impedance, new.impedance, rtol=1e-3)
    assert "Invented data, not measured" in (DATA / f"{name}.csv").read_text(encoding="utf-8").splitlines()[0]
