"""Will a port be heard: how fast its air moves against the usual limit, and how large a port would keep to it."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from airpath.acoustics.viscothermal import layer_thickness
from airpath.air import Air
from airpath.case.schema import Case, Port
from airpath.findings.reach import reach
from airpath.findings.wording import sig
from airpath.network.passages import port_section
from airpath.network.response import FloatArray

SPEED_LIMIT_SHARE = 0.05  # of the sound speed: common practice, about 17 m/s
_QUIET_SHARE = 0.5  # of the limit
_FASTER = 1.05  # elsewhere than at the tones: by less is not worth a word
_MOST_LARGER = 4.0  # times the area: more is another box, not a change of this port
_MARGIN = 1.02  # times the area: a wider port has less friction
_ROUNDS = 6  # each brings it some ten times closer
_FINE = 0.020  # m: dimensions below are rounded up to 0.1 mm, others to 1 mm


def open_ways(case: Case) -> list[str]:
    """Return the ports and horns whose air the speed limit is for: a bent port is drawn as a horn."""
    return [*(name for name, port in case.ports.items() if not port.covered), *case.horns]


def fastest_way(case: Case, speeds: Mapping[str, float]) -> tuple[str, float] | None:
    """Return the port or horn with the fastest air, by name, and its speed; None if there are none.

    Never a leak: the limit is for ports, and in a hole so small turbulence, which is not in it, slows the air.
    """
    own = {name: speed for name, speed in speeds.items() if name in case.ports or name in case.horns}
    return max(own.items(), key=lambda item: item[1], default=None)


def speed_verdict(
    case: Case, name: str, at_tones: tuple[FloatArray, FloatArray], sweep: tuple[FloatArray, FloatArray], air: Air
) -> str:
    """Word the risk of audible air noise of a port at its worst tone, and where else in the sweep it is over the limit.

    ``at_tones``, ``sweep``: frequencies [Hz] and peak air speeds [m/s] there, (n,) each.
    The limit of 5 % of the sound speed is common practice. Roozen et al. 1998, J. Acoust. Soc. Am. 104, 1914: blowing
    noise comes from vortices shed at the ends; rounded ends lower it. A risk, not a prediction.
    """
    port, limit = case.ports[name], SPEED_LIMIT_SHARE * air.sound_speed
    (speed, frequency), (most, where) = fastest(at_tones), fastest(sweep)
    at = f"{sig(speed, 2)} m/s at {sig(frequency, 4)} Hz"
    if port.covered:
        return f"{at}: covered, only its own air moves"
    risk = _risk(port, speed, limit)
    if speed >= _QUIET_SHARE * limit:
        risk += _signs(port, speed, frequency, air)
    if most > max(limit, _FASTER * speed):
        but = "" if speed >= limit else "but "
        risk += f"; {but}at {sig(where)} Hz, away from the tones, it reaches {sig(most, 2)} m/s, over the limit"
    if speed >= limit:
        risk += f"; {_larger(case, port, speed / limit, 2 * np.pi * frequency / air.sound_speed)}"
    return f"{at}: {risk}"


def fastest(of: tuple[FloatArray, FloatArray]) -> tuple[float, float]:
    """Return the highest of air speeds [m/s] and where it is [Hz], of frequencies and speeds (n,) each."""
    frequency, speed = of
    worst = int(np.argmax(speed))
    return float(speed[worst]), float(frequency[worst])


def _risk(port: Port, speed: float, limit: float) -> str:
    flared = "flared" in (port.from_end, port.to_end)
    if speed < _QUIET_SHARE * limit:
        return "below half of the usual limit; air noise is unlikely"
    if speed < limit:
        return "inside the usual limit; " + ("its flares keep the risk small" if flared else "listen at the edges")
    return "over the usual limit; " + ("flares help, but expect air noise" if flared else "expect air noise")


def _signs(port: Port, speed: float, frequency: float, air: Air) -> str:
    """Say whether the air leaves the port at each stroke, and whether it rubs along all of its width."""
    section = port_section(port)
    half = min(section.height, section.width or section.height) / 2
    stroke, said = speed / (2 * np.pi * frequency), ""  # peak travel of the air [m]
    if stroke > half:
        travel = f"the air travels {sig(stroke * 1e3, 2)} mm each way"
        said += f"; {travel}, more than half its {_narrow(port)}: vortices form"
    if float(layer_thickness(np.array([2 * np.pi * frequency]), air)[0]) > 0.1 * half:
        said += "; friction in this narrow port is large"
    return said


def _larger(case: Case, port: Port, times: float, k: float) -> str:
    """Say which larger port lets the air through at the same flow, 1/``times`` as fast; ``k``: wave number [1/m].

    A pipe open at its far end: the same tan(k l)/S takes the same flow, 1/cos(k l) of which leaves it (plane waves:
    Rayleigh, Theory of Sound, vol. 2, chapter 12).
    """
    before = reach(case, port)
    angle, wanted = k * before.total, times * _MARGIN
    grown = wanted
    for _ in range(_ROUNDS):
        grown = wanted * math.cos(angle) / math.cos(math.atan(grown * math.tan(angle)))
    if port.stations is not None or grown > _MOST_LARGER or angle > math.pi / 4:
        return f"it takes {sig(times, 2)} times the area to keep to the limit"
    side = _narrow(port)
    new = _round_up(getattr(port, side) * (math.sqrt(grown) if side == "diameter" else grown))
    after = reach(case, port.model_copy(update={side: new}))
    total = math.atan(after.area / before.area * math.tan(angle)) / k
    each = " each" if port.count > 1 else ""
    size = f"a {side} of {sig(new * 1e3)} mm with a length of {sig((port.length + total - after.total) * 1e3)} mm{each}"
    return f"{size} keeps to the limit at the tones, tuned as before"


def _narrow(port: Port) -> str:
    """Return the key, or a word, for the narrow side of a port."""
    if port.width is not None and port.height is not None:
        return "height" if port.height <= port.width else "width"
    return "diameter"


def _round_up(length: float) -> float:
    step = 1e-4 if length < _FINE else 1e-3
    return math.ceil(length / step - 1e-6) * step
