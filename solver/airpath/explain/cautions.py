"""What can hurt ears, driver or box at the case's drive, said before anybody switches on."""

from __future__ import annotations

import numpy as np

from airpath.acoustics.hearing import NIOSH_LIMIT_DBA, a_weighting_db, exposure_minutes
from airpath.case.schema import Case
from airpath.network.response import Response


def cautions(case: Case, sweep: Response, at_tones: Response) -> list[str]:
    """Return one sentence per danger; ``sweep`` over the band, ``at_tones`` at the case's tones, same fidelity."""
    return [*_hearing(case, at_tones), *_excursion(case, sweep), *_power(case, sweep)]


def _hearing(case: Case, at_tones: Response) -> list[str]:
    level = at_tones.spl_db + a_weighting_db(at_tones.frequency)
    worst = int(level.argmax())
    if level[worst] < NIOSH_LIMIT_DBA:
        return []
    place = "in the room" if case.room is not None else f"at {case.listener.distance:g} m"
    return [
        f"Hearing: {level[worst]:.0f} dBA {place} at {at_tones.frequency[worst]:.4g} Hz; NIOSH (1998) allows "
        f"{_duration(exposure_minutes(float(level[worst])))} a day. Protect ears, keep your distance; local rules on "
        "noise at work apply."
    ]


def _duration(minutes: float) -> str:
    if minutes >= 120:
        return f"{minutes / 60:.1f} hours"
    return f"{minutes:.0f} min" if minutes >= 2 else f"{minutes * 60:.0f} s"


def _excursion(case: Case, sweep: Response) -> list[str]:
    xmax = case.driver.xmax
    if xmax is None:
        return []
    over = np.flatnonzero(sweep.excursion_peak > xmax)
    if not len(over):
        return []
    worst = int(sweep.excursion_peak.argmax())
    low, high = sweep.frequency[over[0]], sweep.frequency[over[-1]]
    where = f"near {low:.3g} Hz" if len(over) == 1 else f"between {low:.3g} and {high:.3g} Hz"
    return [
        f"Excursion: the cone passes xmax {where}: up to {sweep.excursion_peak[worst] * 1e3:.2g} mm at "
        f"{sweep.frequency[worst]:.3g} Hz, xmax is {xmax * 1e3:.2g} mm. Lower the level or cut these frequencies; a "
        "linear model says nothing of what happens beyond."
    ]


def _power(case: Case, sweep: Response) -> list[str]:
    rating = case.driver.power
    if rating is None:
        return []
    drawn = sweep.voltage * np.abs(sweep.current) * np.cos(np.angle(sweep.impedance))
    worst, total = int(drawn.argmax()), rating * case.driver.count
    if drawn[worst] <= total:
        return []
    return [
        f"Power: the driver takes {drawn[worst]:.3g} W at {sweep.frequency[worst]:.3g} Hz, its rating is {total:.3g} W: a "
        "steady tone at this level can burn the coil. Amplifiers run from the mains: leave their inside to qualified "
        "people."
    ]
