"""How loud each tone may get before the first limit is reached: xmax, the power rating, the air speed in a port."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from airpath.case.media import case_air
from airpath.case.schema import Case
from airpath.findings.airspeed import SPEED_LIMIT_SHARE, open_ways
from airpath.findings.wording import sig
from airpath.network.respond import nominal_resistance, source_voltage
from airpath.network.response import Response

Limit = Literal["xmax", "power", "air speed"]
CLEAN_NOTE = (
    "By the linear model, which knows no compression, distortion or warm coil: an upper bound. Power counts into Re; "
    "the air speed limit is the usual 5 % of the sound speed. No promise that it sounds clean or that the driver "
    "lives. Such levels can harm hearing: keep away, protect ears, follow local rules on noise."
)


@dataclass(frozen=True, kw_only=True)
class CleanRow:
    """One tone: at ``voltage_v`` (RMS, ``power_w`` into Re) the first ``limit`` is reached, at level ``spl_db``.

    ``element``: the driver, or the port whose air is too fast; ``reached``: the limit in words. None without any limit.
    """

    frequency_hz: float
    voltage_v: float | None
    power_w: float | None
    limit: Limit | None
    element: str | None
    spl_db: float | None
    reached: str

    @property
    def text(self) -> str:
        """Drive and what is reached, in words."""
        if self.voltage_v is None or self.power_w is None:
            return self.reached
        return f"{sig(self.voltage_v)} V ({sig(self.power_w)} W into Re), where {self.reached}"

    def to_dict(self) -> dict[str, Any]:
        """Return the row under the names of the ``clean_level`` result."""
        return {**asdict(self), "text": self.text}


def clean_rows(case: Case, at_tones: Response) -> list[CleanRow]:
    """Return one row per frequency of a response that was solved at the tones.

    Everything grows in proportion to the voltage: excursion (peak) up to ``xmax``, air speed (peak) in every open port
    and horn up to 5 % of the sound speed (common practice), V^2/Re up to the rating of all drivers together.
    """
    drive, ohms = source_voltage(case), nominal_resistance(case)
    reached: list[tuple[Limit, str, Any]] = []  # limit, whose, voltage (tones,) at which it is reached
    if case.driver.xmax is not None:
        reached.append(("xmax", "driver", drive * case.driver.xmax / at_tones.excursion_peak))
    if case.driver.power is not None:
        rated = np.sqrt(case.driver.power * case.driver.count * ohms)
        reached.append(("power", "driver", np.full(len(at_tones.frequency), rated)))
    limit = SPEED_LIMIT_SHARE * case_air(case).sound_speed
    with np.errstate(divide="ignore"):  # air that nothing moves: a port of a chamber that only the outside joins
        reached += [
            ("air speed", name, drive * limit / at_tones.openings[name].air_speed_peak)
            for name in open_ways(case)
        ]
    return [_row(case, at_tones, i, reached, drive, ohms) for i in range(len(at_tones.frequency))]


def _row(
    case: Case, at_tones: Response, i: int, reached: list[tuple[Limit, str, Any]], drive: float, ohms: float
) -> CleanRow:
    tone = float(at_tones.frequency[i])
    reached = [limit for limit in reached if np.isfinite(limit[2][i])]
    if not reached:
        text = "no limit known: the case gives neither xmax nor power, and no air moves in an open port"
        return CleanRow(
            frequency_hz=tone, voltage_v=None, power_w=None, limit=None, element=None, spl_db=None, reached=text
        )
    kind, element, volts = min(reached, key=lambda found: float(found[2][i]))
    voltage = float(volts[i])
    level = float(at_tones.spl_db[i]) + 20 * float(np.log10(voltage / drive))
    return CleanRow(
        frequency_hz=tone, voltage_v=voltage, power_w=voltage**2 / ohms, limit=kind, element=element, spl_db=level,
        reached=_reason(case, kind, element),
    )  # fmt: skip


def _reason(case: Case, kind: Limit, element: str) -> str:
    if kind == "air speed":
        return f'the air in "{element}" reaches {sig(SPEED_LIMIT_SHARE * case_air(case).sound_speed, 2)} m/s'
    if kind == "power":
        many = f" of {case.driver.count} drivers" if case.driver.count > 1 else ""
        return f"the power rating{many}, {sig((case.driver.power or 0.0) * case.driver.count)} W, is reached"
    return f"the cone reaches xmax, {sig((case.driver.xmax or 0.0) * 1e3, 2)} mm"
