"""Touchstone one-port files as scikit-rf writes them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airpath.measured.reading.sweep import read_sweep

skrf = pytest.importorskip("skrf")


@pytest.mark.parametrize("form", ["ri", "ma", "db"])
@pytest.mark.parametrize("parameter", ["s", "z", "y"])
@pytest.mark.parametrize("reference", [4.0, 50.0])
def test_files_of_scikit_rf(tmp_path: Path, form: str, parameter: str, reference: float) -> None:
    frequency = np.geomspace(20, 2000, 40)
    s = 1j * 2 * np.pi * frequency
    impedance = 3.4 + s * 2.5e-4 + 40 / (1 + s / 500 + 1.5e5 / s)
    network = skrf.Network(f=frequency, f_unit="hz", z=impedance[:, None, None], z0=reference)
    network.write_touchstone(str(tmp_path / "box"), form=form, parameter=parameter, r_ref=reference)
    sweep = read_sweep(next(tmp_path.iterdir()))
    np.testing.assert_allclose(sweep.frequency, frequency, rtol=1e-9)
    np.testing.assert_allclose(sweep.impedance, impedance, rtol=1e-6)
