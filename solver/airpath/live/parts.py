"""The parts of a case as the page lists them: what each is, and the knobs that turn its dimensions."""

from __future__ import annotations

import math
from typing import Any

from airpath.case.parameters import Parameter, parameters
from airpath.case.schema import Case
from airpath.report.sketching.driverdrawing import DRIVER
from airpath.report.style import tidy

_REACH = 2.0  # a knob goes from half of its value to twice
_STEPS = 150  # of a knob from end to end, about
_DIGITS = 5
_ORDER = {"dimension": 0, "loss": 1, "place": 2, "driver": 3}
_AXES = "xyz"
_UNITS = {"^2": "²", "^3": "³", "*": "·"}
_WORDS = {
    "from_at": "place of the start", "to_at": "place of the end", "rear_at": "place of the cone's rear",
    "front_at": "place of the cone's front", "size": "inside", "loss_q": "absorption Q", "fill": "stuffing",
    "flow_resistivity": "flow resistivity", "flare_radius": "rounding radius",
    "front_along": "the front's place along the horn", "rear_along": "the rear's place along the horn",
}  # fmt: skip


def parts(case: Case) -> list[dict[str, Any]]:
    """Return every part that can be picked: ``name``, ``kind``, ``words``, and for ports whether they are ``shut``."""
    words = part_words(case)
    kinds = {DRIVER: "driver"}
    for kind, tables in (("chamber", case.chambers), ("port", case.ports), ("horn", case.horns)):
        kinds.update(dict.fromkeys(tables, kind))
    return [
        {"name": name, "kind": kind, "words": words[name], "shut": case.ports[name].covered if kind == "port" else None}
        for name, kind in kinds.items()
    ]


def part_words(case: Case) -> dict[str, str]:
    """Return what each part of a case is, in words."""
    driver = case.driver
    out = {DRIVER: f"driver: front to {driver.front}, rear to {driver.rear}"}
    for name, chamber in case.chambers.items():
        volume = chamber.known_volume
        out[name] = f"chamber {name}" + (f", {tidy(volume * 1e3)} L" if volume is not None else ", as drawn")
    for name, port in case.ports.items():
        some = f"{port.count} ports" if port.count > 1 else "port"
        out[name] = f"{some} {name}, from {port.from_} to {port.to}" + (", shut at its end" if port.covered else "")
    for name, horn in case.horns.items():
        out[name] = f"horn {name}, from {horn.from_ or 'the driver'} to {horn.to}"
    return out


def knobs(case: Case, file: Case) -> list[dict[str, Any]]:
    """Return every value that can be turned, with its part, its label, its help text, and the range of its knob.

    ``value``, ``low``, ``high`` and ``step`` are in ``unit``; what the case file may hold is ``least`` to ``most``.
    The range lies around the value in ``file``, so that it stays where it is while the knob is turned.
    """
    found = sorted(parameters(case).values(), key=lambda p: _ORDER[p.kind])
    was = parameters(file)
    return [_knob(case, p, was.get(p.name, p).value / p.si) for p in found]


def _knob(case: Case, p: Parameter, anchor: float) -> dict[str, Any]:
    value = p.value / p.si
    low, high = min(value, anchor / _REACH), max(value, anchor * _REACH)
    if p.kind == "place":
        low, high = 0.0, _side(case, p) / p.si
    low, high = max(low, p.low / p.si), min(high, p.high / p.si)
    step = _round_step((high - low) / _STEPS)
    low, high = (_on_grid(end, anchor, step) for end in (low, high))
    return {
        "name": p.name, "part": DRIVER if p.path[0] == "driver" else str(p.path[1]), "label": _label(p),
        "help": f"{p.text}.", "kind": p.kind, "unit": pretty(p.unit),
        "value": float(f"{value:.{_DIGITS}g}"), "low": low, "high": high, "step": step,
        "least": p.low / p.si, "most": p.high / p.si,
    }  # fmt: skip


def little(p: Parameter) -> float:
    """Return a small round turn of a knob, in its unit: about a fiftieth of its value."""
    return _round_step(abs(p.value) / p.si / 50)


def _label(p: Parameter) -> str:
    tail = p.path[1:] if p.path[0] == "driver" else p.path[2:]
    words = [_AXES[step] if isinstance(step, int) else _WORDS.get(step, step.replace("_", " ")) for step in tail]
    return ", ".join(words)


def _side(case: Case, p: Parameter) -> float:
    """Return how far a place can go [m]: the chamber's side or the horn's length, or twice where it is."""
    table, key, axis = p.path[0], str(p.path[-2] if isinstance(p.path[-1], int) else p.path[-1]), p.path[-1]
    holder: Any = case.driver if table == "driver" else getattr(case, str(table))[p.path[1]]
    space = getattr(holder, {"from_at": "from_", "to_at": "to", "rear_at": "rear", "front_at": "front",
                             "front_along": "front", "rear_along": "rear"}.get(key, ""), None)  # fmt: skip
    chamber = case.chambers.get(space) if isinstance(space, str) else None
    if chamber is not None and chamber.size is not None and isinstance(axis, int):
        return chamber.size[axis]
    horn = case.horns.get(space) if isinstance(space, str) else None
    if horn is not None and horn.known_length is not None:
        return horn.known_length
    return max(2 * p.value, 0.1)


def _round_step(rough: float) -> float:
    """Return 1, 2 or 5 times a power of ten, near a rough step."""
    if rough <= 0 or not math.isfinite(rough):
        return 1.0
    power = 10.0 ** math.floor(math.log10(rough))
    return float(f"{power * next(s for s in (1, 2, 5, 10) if s * power >= rough * 0.7):.1g}")


def _on_grid(value: float, anchor: float, step: float) -> float:
    """Return what lies near a value, a whole number of steps from the anchor."""
    return float(f"{anchor + round((value - anchor) / step) * step:.10g}")


def pretty(unit: str) -> str:
    """Return a unit as it is printed."""
    for written, printed in _UNITS.items():
        unit = unit.replace(written, printed)
    return unit
