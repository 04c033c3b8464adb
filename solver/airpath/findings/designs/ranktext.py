"""Words for a ranking: who is first, what is a tie, what is compared with what, what is dangerous."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np

from airpath.case.media import case_air
from airpath.case.schema import Case
from airpath.findings.airspeed import SPEED_LIMIT_SHARE, open_ways
from airpath.findings.cautions import hearing
from airpath.findings.rooms import door_words
from airpath.findings.wording import listing, sig
from airpath.network.respond import nominal_resistance, source_voltage
from airpath.network.response import FloatArray, Response

_EVEN = 1 + 1e-6  # a clean level is at its limit, not over it


@dataclass(frozen=True, kw_only=True)
class Margin:
    """How much more drive a limit leaves [dB] at the tone ``at_hz`` (full size) where it leaves least."""

    db: float
    at_hz: float
    element: str


def drive_words(voltage: float | None, power: float | None, clean: bool) -> str:
    """Say what drives the designs."""
    if clean:
        return "each tone as loud as the first limit allows (xmax, power rating, air speed in a port)"
    return f"{sig(power)} W into Re" if power is not None else f"{sig(voltage or 0.0)} V"


def place_words(found: list[tuple[str, int, float]], moved: Callable[[int, int], float]) -> list[str]:
    """Say the order; ``found``: name, place, mean level [dB]; ``moved``: what moves the difference of two [dB]."""
    groups = [list(group) for _, group in groupby(range(len(found)), key=lambda i: found[i][1])]
    texts = []
    for group in groups:
        first, last = group[0], group[-1]
        (name, place, mean), lowest = found[first], found[last][2]
        if len(group) == 1:
            texts.append(f'Place {place}: "{name}", {mean:.1f} dB on average.')
            continue
        names = listing([f'"{found[i][0]}"' for i in group])
        texts.append(
            f"Place {place} is a tie: {names}, {mean:.1f} dB on average, are {mean - lowest:.1f} dB apart, within what "
            f"1 mm and 5 % can move, {moved(first, last):.1f} dB."
        )
    for one, other in pairwise(group[0] for group in groups):
        gap = found[one][2] - found[other][2]
        digits = 2 if f"{gap:.1f}" == f"{moved(one, other):.1f}" else 1  # so that it shows which is larger
        texts.append(
            f'"{found[one][0]}" leads "{found[other][0]}" by {gap:.{digits}f} dB; 1 mm and 5 % move their difference '
            f"by {moved(one, other):.{digits}f} dB."
        )
    return texts


def notes(cases: Sequence[Case], names: list[str], tones: FloatArray, *, own: bool) -> list[str]:
    """Say what is compared with what, and how."""
    out = []
    if own:
        first = next(i for i, case in enumerate(cases) if case.tones)
        text = f'The tones are those of "{names[first]}"'
        others = [f'"{n}"' for n, c in zip(names, cases, strict=True) if c.tones and not _same_tones(c, tones)]
        out.append(text + (f"; {listing(others)} {'name' if len(others) > 1 else 'names'} others." if others else "."))
    if any(case.scale != 1 for case in cases):
        scales = ", ".join(f"{n} 1:{c.scale:g}" for n, c in zip(names, cases, strict=True))
        out.append(
            f"Compared at full-size frequency and volume ({scales}); level, excursion and air speed are those of the "
            "models as they are built, with the drivers as they are."
        )
    if len({(c.listener, c.room) for c in cases}) > 1:
        out.append("The files place the listener or the room differently: each level is as its own file says.")
    out += [f'"{n}" is heard {door_words(c)}.' for n, c in zip(names, cases, strict=True) if door_words(c)]
    out.append(
        "Volume: the air in chambers, ports and horns; walls, bracing and driver come on top, as no file knows them."
    )
    out.append(
        "Mean: arithmetic mean of the levels in dB (common practice). 1 mm and 5 %: every dimension off by 1 mm and "
        "every driver value by 5 %, each on its own, as a root of the sum of squares; the same driver in two designs "
        "is off alike in both. Closer designs are called a tie."
    )
    outlines = [x.outline for c in cases for x in c.chambers.values()]
    outlines += [x.outline for c in cases for x in c.horns.values()]
    if any(outline is not None for outline in outlines):
        out.append("The points of a drawing are not moved: 1 mm is of what the case file itself gives.")
    return out


def _same_tones(case: Case, tones: FloatArray) -> bool:
    own = np.array(case.tones) / case.scale
    return len(own) == len(tones) and bool(np.allclose(own, tones, rtol=1e-6))


def dangers(name: str, case: Case, response: Response, level: FloatArray, voltage: FloatArray) -> list[str]:
    """Return the dangers of one design at its drive, by its name."""
    drive, tones = voltage / source_voltage(case), response.frequency
    out = hearing(case, tones, level)
    xmax, rating = case.driver.xmax, case.driver.power
    travel = response.excursion_peak * drive
    if xmax is not None and travel.max() > xmax * _EVEN:
        i = int(travel.argmax())
        out.append(f"{sig(travel[i] * 1e3, 2)} mm at {sig(tones[i], 4)} Hz, beyond xmax ({sig(xmax * 1e3, 2)} mm).")
    power = float((voltage**2).max()) / nominal_resistance(case)
    if rating is not None and power > rating * case.driver.count * _EVEN:
        out.append(f"{sig(power)} W into Re, over the power rating ({sig(rating * case.driver.count)} W).")
    limit = SPEED_LIMIT_SHARE * case_air(case).sound_speed
    for way in open_ways(case):
        speed = response.openings[way].air_speed_peak * drive
        if speed.max() > limit * _EVEN:
            i = int(speed.argmax())
            out.append(
                f'{sig(speed[i], 2)} m/s in "{way}" at {sig(tones[i], 4)} Hz, over the usual limit '
                f"({sig(limit, 2)} m/s): expect air noise."
            )
    as_built = "" if case.scale == 1 else f" (the 1:{case.scale:g} model, at its own frequencies)"
    return [f'"{name}"{as_built}: {text}' for text in out]
