"""What can hurt ears, driver or box at the case's drive, said before anybody switches on."""

from __future__ import annotations

import numpy as np

from airpath.acoustics.hearing import NIOSH_LIMIT_DBA, a_weighting_db, exposure_minutes
from airpath.case.schema import Case
from airpath.findings.wording import sig
from airpath.network.response import FloatArray, Response


def cautions(case: Case, sweep: Response, at_tones: Response) -> list[str]:
    """Return one sentence per danger; ``sweep`` over the band, ``at_tones`` at the case's tones, same fidelity."""
    return [
        *hearing(case, at_tones.frequency, at_tones.spl_db),
        *excursion(case, sweep.frequency, sweep.excursion_peak),
        *power(case, sweep.frequency, sweep.power),
    ]


def hearing(case: Case, frequency: FloatArray, spl_db: FloatArray) -> list[str]:
    """Return a caution if a level (n,) [dB] at some frequency (n,) [Hz] harms ears."""
    level = spl_db + a_weighting_db(frequency)
    worst = int(level.argmax())
    if level[worst] < NIOSH_LIMIT_DBA:
        return []
    place = f"at {case.listener.distance:g} m" if case.listener.at is None else "at the listener"
    place = "in the room" if case.room is not None else place
    return [
        f"Hearing: {level[worst]:.0f} dBA {place} at {sig(frequency[worst], 4)} Hz; NIOSH (1998) allows "
        f"{_duration(exposure_minutes(float(level[worst])))} a day. Protect ears, keep your distance; local rules on "
        "noise at work apply."
    ]


def _duration(minutes: float) -> str:
    if minutes >= 120:
        return f"{minutes / 60:.1f} hours"
    return f"{minutes:.0f} min" if minutes >= 2 else f"{minutes * 60:.0f} s"


def excursion(case: Case, frequency: FloatArray, excursion_peak: FloatArray) -> list[str]:
    """Return a caution if an excursion (n,) [m] over frequency (n,) [Hz] passes xmax."""
    xmax = case.driver.xmax
    if xmax is None:
        return []
    over = np.flatnonzero(excursion_peak > xmax)
    if not len(over):
        return []
    worst = int(excursion_peak.argmax())
    low, high = frequency[over[0]], frequency[over[-1]]
    part = "" if over[-1] - over[0] < len(over) else "in parts of the band "
    where = f"near {sig(low)} Hz" if len(over) == 1 else f"{part}between {sig(low)} and {sig(high)} Hz"
    most, at = sig(excursion_peak[worst] * 1e3, 2), sig(frequency[worst])
    return [
        f"Excursion: the cone passes xmax {where}: up to {most} mm at {at} Hz, xmax is {sig(xmax * 1e3, 2)} mm. Lower "
        "the level or cut these frequencies; a linear model says nothing of what happens beyond."
    ]


def power(case: Case, frequency: FloatArray, drawn: FloatArray) -> list[str]:
    """Return a caution if the power drawn (n,) [W] over frequency (n,) [Hz] passes the rating."""
    rating = case.driver.power
    if rating is None:
        return []
    worst, total = int(drawn.argmax()), rating * case.driver.count
    if drawn[worst] <= total:
        return []
    most, at = sig(drawn[worst]), sig(frequency[worst])
    return [
        f"Power: the driver takes {most} W at {at} Hz and is rated for {sig(total)} W: a steady tone "
        "at this level can burn the coil. Amplifiers run from the mains: leave their inside to qualified "
        "people."
    ]
