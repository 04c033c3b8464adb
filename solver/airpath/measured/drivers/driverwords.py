"""What there is to say about driver values: doubts, hints, and the table to paste into a case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from airpath.findings.wording import listing, percent, sig
from airpath.measured.drivers.motor import Circuit, Fit
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.units import parse_quantity

UNITS = {"fs": "Hz", "Re": "ohm", "Le": "H", "Le2": "H", "Re2": "ohm", "Sd": "m^2", "Mms": "kg", "Cms": "m/N",
         "Rms": "N*s/m", "Bl": "T*m", "Vas": "m^3"}  # fmt: skip
_SHOWN = {"fs": ("Hz", "frequency"), "Re": ("ohm", "resistance"), "Le": ("mH", "inductance"),
          "Le2": ("mH", "inductance"), "Re2": ("ohm", "resistance"), "Sd": ("cm^2", "area"), "Mms": ("g", "mass"),
          "Cms": ("mm/N", "compliance"), "Rms": ("kg/s", "mechanical resistance"), "Bl": ("T*m", "force factor"),
          "Vas": ("L", "volume")}  # fmt: skip
_TABLE = ("fs", "Qms", "Qes", "Vas", "Sd", "Re", "Le", "Le2", "Re2")
_APART = {"fs": 0.02, "Qms": 0.08, "Qes": 0.06, "Qts": 0.06, "Mms": 0.1, "Vas": 0.1}
_MISFIT = 0.02
_UNSURE = 0.1
_RE_APART = 0.03
_LEAST_SHIFT = 0.1  # a second resonance that differs by less makes mass and stiffness unsure
_DIGITS = 5
_KEEP_LOW = (
    "These are small-signal values: drive softly. Measure again at half the voltage; fs must stay where it is."
)
_NOISE_ALONE = "The standard errors are those of the curves; an error in Sd, mass or volume comes on top."


@dataclass(frozen=True, kw_only=True)
class Value:
    """A value in SI with its standard error."""

    value: float
    std: float


def shown(name: str, si: float, digits: int = _DIGITS) -> str:
    """Return a driver value with its usual unit, as in "62.3 Hz"."""
    if name not in _SHOWN:
        return sig(si, digits)
    unit, dimension = _SHOWN[name]
    return f"{sig(si / parse_quantity(f'1 {unit}', dimension), digits)} {unit}"


def driver_table(values: Mapping[str, Value]) -> str:
    """Return a ``[driver]`` table for a case file; what is not known stands there as a comment."""
    lines = ["[driver]                      # from measured sweeps; front and rear: put in what the cone faces"]
    for name in _TABLE:
        if name in values:
            written = shown(name, values[name].value)
            text = f"{name} = {written}" if name not in _SHOWN else f'{name} = "{written}"'
            error = values[name].std
            lines.append(f"{text:<30}# standard error {shown(name, error, 2)}" if error else text)
        elif name in ("Vas", "Sd"):
            lines.append(f"# {name} is not known from this sweep")
    lines += ['measured_in = "free air"', 'front = "outside"', 'rear = "outside"']
    more = [f"{name} {shown(name, values[name].value, 4)}" for name in ("Mms", "Cms", "Rms", "Bl") if name in values]
    return "\n".join(lines + ([f"# the same driver: {', '.join(more)}"] if more else [])) + "\n"


def warnings(
    values: dict[str, Value], classical: dict[str, float], ruled: dict[str, float], whole: Fit,
    sweeps: list[MeasuredSweep], circuits: list[Circuit], Re: float | None,
) -> list[str]:  # fmt: skip
    """Return what makes the values doubtful, a sentence each; ``ruled``: the peaks of the fitted curves, read alike."""
    out = []
    if _apart(classical, ruled):
        said = _apart(classical, {name: value.value for name, value in values.items()}) or _apart(classical, ruled)
        out.append(f"The reading of the peaks differs from the fit of the whole curve: {listing(said)}. "
                   "Look at the curve: a rattle, a second peak, too few points or too much drive do that.")  # fmt: skip
    for sweep, residual, dropped in zip(sweeps, whole.residuals, whole.dropped, strict=True):
        size = np.where(np.isin(sweep.frequency, dropped), 0.0, np.abs(residual))
        rms = float(np.sqrt(np.mean(size**2)))
        if rms > _MISFIT:
            worst = int(np.argmax(size))
            out.append(f"{sweep.source.name}: a driver in free air or a closed box has no such curve: it departs "
                       f"from the fit by {percent(rms, 1)} rms, "
                       f"most at {sig(sweep.frequency[worst])} Hz ({percent(size[worst])}).")
        if len(dropped):
            out.append(f"{sweep.source.name}: left out as outliers: {listing([sig(f, 4) for f in dropped[:4]])} Hz"
                       + (f" and {len(dropped) - 4} more." if len(dropped) > 4 else "."))  # fmt: skip
    if len(circuits) == 2:
        rest = [float(np.exp(circuit.logs(whole.x)[0])) for circuit in circuits]
        if Re is None and abs(rest[1] / rest[0] - 1) > _RE_APART:
            out.append(f"The two sweeps have Re = {sig(rest[0])} and {sig(rest[1])} ohm: the coil was warm in one of "
                       "them, or a cable differs. Let it cool and measure again.")  # fmt: skip
        f0 = [float(np.exp(circuit.logs(whole.x)[5])) for circuit in circuits]
        shift = abs(f0[1] / f0[0] - 1)
        if shift < _LEAST_SHIFT:
            out.append(f"The resonance moves by {percent(shift)} only: take more mass or a smaller volume; "
                       "a quarter and more gives Mms, Bl and Vas well.")  # fmt: skip
    unsure = [name for name, v in values.items() if v.std > _UNSURE * v.value]
    if unsure:
        out.append(f"{listing(unsure)}: known to worse than {percent(_UNSURE)} only.")
    return out


def _apart(classical: Mapping[str, float], other: Mapping[str, float]) -> list[str]:
    """Return which values of the peaks are far from others, and how far."""
    return [f"{name} by {100 * (classical[name] / other[name] - 1):+.0f} %" for name, limit in _APART.items()
            if name in classical and name in other and abs(classical[name] / other[name] - 1) > limit]  # fmt: skip


def tilted(values: Mapping[str, Value], classical: Mapping[str, float], ruled: Mapping[str, float]) -> list[str]:
    """Return the note that the reading of the peaks is off on the fitted curve too: no fault of the sweep."""
    said = _apart(classical, {name: value.value for name, value in values.items()})
    if not said or _apart(classical, ruled):
        return []
    return [f"The peaks alone read {listing(said)} off, as the coil's inductance tilts their flanks; the fit of the "
            "whole curve allows for that."]  # fmt: skip


def notes(coil: tuple[str, ...], free: MeasuredSweep, mass: bool | None) -> list[str]:
    """Return what to know about the values; ``mass``: whether the second sweep had one, None without a second."""
    said = {
        (): f"The coil's inductance does not show up to {sig(free.frequency[-1])} Hz.",
        ("Le",): "The coil is a plain inductance Le as far as the data tell.",
        ("Le", "Le2", "Re2"): "The coil is lossy: Le and a pair Le2, Re2 fit better than Le alone.",
    }[coil]
    if mass is None:
        more = "Mms, Cms, Rms, Bl and Vas need a second sweep, with an added mass or on a known closed volume."
    elif mass:
        more = "The mass must sit still on the cone (putty, evenly around the centre); take it off afterwards."
    else:
        more = ("The box must be airtight and empty, its volume what the driver leaves of it; the air is taken at "
                "20 degC and 101.325 kPa.")  # fmt: skip
    return [said, more, _KEEP_LOW, *([] if mass is None else [_NOISE_ALONE])]
