"""How much stuffing it takes to damp a standing wave of a chamber."""

from __future__ import annotations

from airpath.case.schema import Case
from airpath.case.spaces import Fill
from airpath.findings.advising.trial import Box
from airpath.findings.explaining.features import RIPPLE

USUAL = 5000.0  # Pa s/m^2: loose polyester or wool wadding, as packed by common practice
STEPS = 20  # of the volume: nobody measures stuffing closer than to 5 %
_HALF = 0.5


def present(case: Case, chamber: str) -> tuple[float, float]:
    """Return the flow resistivity [Pa s/m^2] of a chamber's stuffing, or the usual one, and its part of the volume."""
    fill = case.chambers[chamber].fill
    return (USUAL, 0.0) if fill is None else (fill.flow_resistivity, fill.fraction)


def stuffed(case: Case, chamber: str, fraction: float) -> Case:
    """Return the case with a part of a chamber stuffed."""
    resistivity, _ = present(case, chamber)
    fill = Fill.model_validate({"flow_resistivity": f"{resistivity:.9g} Pa*s/m^2", "fraction": fraction})
    table = case.chambers[chamber].model_copy(update={"fill": fill})
    return case.model_copy(update={"chambers": {**case.chambers, chamber: table}})


def least(box: Box, which: int, chamber: str) -> tuple[float, Box] | None:
    """Return the least fraction, in steps of 5 %, that halves a feature's height, and the box with it; None if none.

    Height: by what share it changes the impedance; below 0.1 % it is
    gone. More stuffing never means more height, so the steps are halved, not tried one by one.
    """
    before = box.height(which)
    low, high, best = int(present(box.case, chamber)[1] * STEPS), STEPS + 1, None
    while high - low > 1:
        middle = (low + high) // 2
        tried = Box.of(stuffed(box.case, chamber, middle / STEPS), box.model, box.sweep)
        if tried is None:
            return None
        there = box.follow(which, tried)
        height = 0.0 if there is None else tried.height(there)
        if height <= max(_HALF * before, RIPPLE):
            high, best = middle, tried
        else:
            low = middle
    return None if best is None else (high / STEPS, best)
