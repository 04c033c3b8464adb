"""Sets of driver values in a case file: any that determines the driver does, one that contradicts itself is told so."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

import airpath
from airpath.acoustics.driver import mechanical_set
from airpath.case import Case
from airpath.case.load import parse
from case_texts import toml

SMALL = {"fs": "62 Hz", "Qms": 4.1, "Qes": 0.52, "Vas": "1.9 L"}
REST = {"Sd": "55 cm^2", "Re": "3.4 ohm", "rear": "box"}


def box(**values: Any) -> Case:
    data = {"driver": {**values, **REST}, "chambers": {"box": {"volume": "3 L"}}, "sweep": {"points_per_octave": 12}}
    return parse(toml(data), Path("booth.toml"))


def mechanical() -> dict[str, str]:
    driver = box(**SMALL).driver
    found = mechanical_set(driver.given, driver.Sd, driver.Re)
    return {
        "Mms": f"{found.Mms * 1e3:.12g} g", "Cms": f"{found.Cms * 1e3:.12g} mm/N", "Rms": f"{found.Rms:.12g} kg/s",
        "Bl": f"{found.Bl:.12g} T*m",
    }  # fmt: skip


def test_sets_that_say_the_same_give_the_same_impedance() -> None:
    """Thiele 1961, Small 1972: the small-signal set, the mechanical one and mixes of both are one driver."""
    other, all_values = mechanical(), {**SMALL, **mechanical()}
    wanted = airpath.solve(box(**SMALL)).impedance
    mixes = [("fs", "Mms", "Rms", "Bl"), ("Cms", "Mms", "Qms", "Qes"), ("fs", "Vas", "Qms", "Bl")]
    for values in (other, all_values, *({name: all_values[name] for name in names} for names in mixes)):
        np.testing.assert_allclose(airpath.solve(box(**values)).impedance, wanted, rtol=1e-9)
        assert airpath.predict(box(**values)).warnings == []


@pytest.mark.parametrize(("factor", "percent"), [(1.04, None), (0.96, None), (1.5, "50 %"), (0.8, "20 %")])
def test_a_set_that_contradicts_itself_is_a_warning_with_both_values(factor: float, percent: str | None) -> None:
    grams = float(mechanical()["Mms"].split()[0])
    warnings = airpath.predict(box(**SMALL, Mms=f"{factor * grams:.12g} g")).warnings
    if percent is None:
        assert warnings == []
        return
    (said,) = warnings
    assert f"Mms = {factor * grams:.4g} g is given, the other values make it {grams:.4g} g" in said
    assert f"they differ by {percent}." in said
