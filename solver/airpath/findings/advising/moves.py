"""The smallest change of one dimension that takes a wave to another frequency, found on the solved box."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from airpath.case.parameters import Parameter, parameters
from airpath.errors import AirpathError
from airpath.findings.advising.trial import Box, clearance
from airpath.findings.explaining.features import Spot
from airpath.findings.explaining.resonances import refine
from airpath.findings.explaining.sensitivity import Sensitivity
from airpath.network.build import build

LARGEST = 0.3  # of a dimension that a change may be
_ROOM = 1.15  # of the least clearance
_CANDIDATES = 6
_WORSE = 1.25  # times the size of a change: one that a straight line makes larger is
_ROUNDS = 5
_STEPS = 6
_CLOSE = 1e-4  # of a frequency


@dataclass(frozen=True, kw_only=True)
class Move:
    """A dimension and its new ``value`` [SI], rounded for the workshop."""

    parameter: Parameter
    value: float

    @property
    def size(self) -> float:
        """Relative size of the change."""
        return abs(self.value / self.parameter.value - 1)


def moves_off(
    box: Box, members: Sequence[int], low: float, high: float, turns: list[Sensitivity]
) -> Iterator[Move]:
    """Yield the changes that take all ``members`` (features of one wave) out of ``low`` to ``high`` [Hz].

    The smallest first; by half-widths beyond, at least 1 %. ``turns``: what moves the wave most.
    """
    dimensions = parameters(box.case)
    found = []
    for turn in turns:
        parameter = dimensions.get(turn.parameter)
        if parameter is None or parameter.kind != "dimension":
            continue
        slope = turn.hz_per_unit / parameter.si
        for edge, target in _targets(box, members, low, high):
            first = parameter.value + (target - box.found[edge].frequency) / slope
            if abs(first / parameter.value - 1) < 1.5 * LARGEST:
                found.append((abs(first / parameter.value - 1), parameter, edge, target, first))
    waiting: list[Move] = []
    for size, parameter, edge, target, first in sorted(found, key=lambda entry: entry[0])[:_CANDIDATES]:
        while waiting and _WORSE * waiting[0].size < size:  # a straight line is not that far from the truth
            yield waiting.pop(0)
        move = _solved(box, parameter, box.found[edge], target, first)
        if move is not None and move.size <= LARGEST:
            waiting = sorted([*waiting, move], key=lambda move: move.size)
    yield from waiting


def _targets(box: Box, members: Sequence[int], low: float, high: float) -> Iterator[tuple[int, float]]:
    """Yield the last member on the way up and where it has to go, then the same for the way down."""
    last = min(members, key=lambda i: box.found[i].frequency)
    yield last, high + _ROOM * clearance(box.found[last])
    last = max(members, key=lambda i: box.found[i].frequency)
    yield last, low - _ROOM * clearance(box.found[last])


def _solved(box: Box, parameter: Parameter, spot: Spot, target: float, first: float) -> Move | None:
    """Find the value that puts a feature's natural frequency on ``target`` [Hz]: secants from ``first``."""
    assert spot.omega is not None
    beside = spot.frequency - spot.omega.real / (2 * np.pi)  # an extremum lies beside its natural frequency
    x, omega = [parameter.value, first], [spot.omega]
    for _ in range(_ROUNDS):
        if not parameter.low <= x[-1] <= parameter.high:
            return None
        try:
            network = build(parameter.changed(x[-1]), box.model)
        except (AirpathError, ValueError):
            return None
        start = omega[-1] * ((target - beside) * 2 * np.pi / omega[-1].real)
        found = complex(refine(network, np.array([start]), spot.cone, _STEPS, _CLOSE)[0])
        if not np.isfinite(found):
            return None
        omega.append(found)
        hertz = [w.real / (2 * np.pi) + beside for w in omega[-2:]]
        if abs(hertz[1] / target - 1) < _CLOSE:
            return Move(parameter=parameter, value=rounded(parameter, x[-1]))
        if hertz[1] == hertz[0]:
            return None
        x.append(x[-1] + (target - hertz[1]) * (x[-1] - x[-2]) / (hertz[1] - hertz[0]))
    return None


def rounded(parameter: Parameter, value: float) -> float:
    """Return a value [SI] on the next mark away from the present one: marks of 1, 2 or 5 in the unit shown.

    No coarser than a third of the change.
    """
    change = (value - parameter.value) / parameter.si
    decade = 10.0 ** np.floor(np.log10(abs(change) / 3))
    mark = max(step for step in (decade, 2 * decade, 5 * decade) if step <= abs(change) / 3 * (1 + 1e-9))
    steps = value / parameter.si / mark
    whole = np.ceil(steps - 1e-9) if change > 0 else np.floor(steps + 1e-9)
    return float(f"{whole * mark:.10g}") * parameter.si
