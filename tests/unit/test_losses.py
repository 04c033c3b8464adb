"""Losses told from a sweep: leak or absorption, in which chamber, how much, and the Q of each tuning."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

import airpath
from airpath.case.parameters import parameters
from airpath.case.spaces import Leak
from airpath.measured.losses import Losses, losses
from bench_boxes import box
from driver_sweeps import swept


def lossy(name: str, chamber: str, leak_mm: float | None = None, loss_q: float | None = None) -> airpath.Case:
    case = box(name)
    change = {"leak": None if leak_mm is None else Leak.model_validate({"diameter": f"{leak_mm} mm"}), "loss_q": loss_q}
    table = case.chambers[chamber].model_copy(update=change)
    case = case.model_copy(update={"chambers": {**case.chambers, chamber: table}})
    for key, factor in (("driver.fs", 1.01), (next(n for n in parameters(case) if n.endswith("length")), 1.02)):
        known = parameters(case)[key]
        case = known.changed(known.value * factor)
    return case


@lru_cache
def told(
    name: str, chamber: str, leak_mm: float | None = None, loss_q: float | None = None, phase: bool = True
) -> Losses:
    response = airpath.solve(lossy(name, chamber, leak_mm, loss_q), "line")
    return losses(box(name), swept(response.impedance, response.frequency, noise=0.004, phase=phase))


@pytest.mark.parametrize(("leak_mm", "loss_q", "phase"), [(4.0, None, True), (4.0, None, False), (None, 25.0, True)])
def test_leak_and_absorption_of_a_vented_box(leak_mm: float | None, loss_q: float | None, phase: bool) -> None:
    found = told("booth", "box", leak_mm, loss_q, phase)
    assert found.way == ("leak" if leak_mm else "absorption") and found.sure and found.chamber == "box"
    # the vent's length is off, but its diameter is what follows: a leak's width takes some of that
    assert found.value == pytest.approx(leak_mm or loss_q, rel=0.25 if leak_mm else 0.05)
    assert "lowers the peak at" in found.text


def test_q_of_the_tuning() -> None:
    """As measured: that of the box that made the sweep, by its own natural frequency; as drawn: of the case."""
    found = told("booth", "box", None, 25.0)
    truth = next(f for f in airpath.explain(lossy("booth", "box", None, 25.0), "line") if f.kind == "dip" and f.q)
    drawn = next(f for f in airpath.explain(box("booth"), "line") if f.kind == "dip" and f.q)
    assert len(found.tunings) == 1
    assert found.tunings[0].q == pytest.approx(truth.q, rel=0.1)
    assert found.tunings[0].q_drawn == pytest.approx(drawn.q, rel=0.01)
    assert found.tunings[0].frequency_hz == pytest.approx(truth.frequency_hz, rel=0.003)


@pytest.mark.parametrize("chamber", ["box", "tail"])
def test_the_chamber_that_leaks(chamber: str) -> None:
    found = told("pair", chamber, 4.0)
    assert (found.way, found.chamber) == ("leak", chamber)


def test_waves_that_the_line_lacks_are_no_losses() -> None:
    """The rumble bench solved as standing waves has no loss that its case lacks, though the line model sees one."""
    case = airpath.load(Path(__file__).parents[2] / "cases" / "rumble-bench.toml")
    frequency = np.geomspace(40, 2000, 150)
    measured = swept(airpath.solve(case, "field", frequency).impedance, frequency, noise=0.005)
    assert losses(case, measured, "line").way == "absorption"
    found = losses(case, measured, "line", "field")
    assert found.way is None and "no further absorption" in found.text
    shown = found.at([128.0, 300.0])
    assert [round(t.frequency_hz) for t in shown.tunings] == [129]


def test_a_tight_box_has_no_more_loss() -> None:
    found = told("booth", "box")
    assert found.way is None and "no leak and no further absorption" in found.text
