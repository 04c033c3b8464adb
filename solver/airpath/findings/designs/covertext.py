"""Words for covered openings: who is left, where the tuning goes, what it does to the tones, what it endangers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from airpath.acoustics.hearing import a_weighting_db
from airpath.case.media import case_air
from airpath.case.schema import Case
from airpath.findings.airspeed import SPEED_LIMIT_SHARE
from airpath.findings.cautions import excursion, hearing, power
from airpath.findings.explaining.features import turns, vertex
from airpath.findings.explaining.phrases import quoted
from airpath.findings.rooms import door_words
from airpath.findings.tones import HELD_DB
from airpath.findings.wording import decibels, listing, sig
from airpath.network.covered import outlets
from airpath.network.graph import OUTSIDE
from airpath.network.response import SILENT_DB, FloatArray

if TYPE_CHECKING:
    from airpath.findings.designs.cover import Curves

EQUAL_DB = 0.1  # levels closer than this are alike: the state with fewer covers counts as the loudest
LOUDEST = f"the loudest at this tone, or on average; of states within {EQUAL_DB:g} dB the one with the fewest covers"
_WORTH_DB = 0.5  # a smaller change isn't worth a word
_STAYS = 0.01  # relative: a tuning that moves less stays
_SAME = 0.03  # relative: so close a dip is the one that was there
_MOST_TOLD = 16
_MOST_NAMED = 3  # openings in a row that are named one by one
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


@dataclass(frozen=True, kw_only=True)
class State:
    """One combination of covers; lists hold a value per tone, changes are against all open.

    ``air_speed_peak_m_s``: of what stays open; ``dips_hz``: impedance dips at which the air holds the cone,
    the tunings of a box with ports first;
    ``mean_spl_db``: arithmetic mean of the levels in dB, common practice.
    """

    covered: tuple[str, ...]
    spl_db: list[float]
    change_db: list[float]
    impedance_ohm: list[float]
    excursion_peak_m: list[float]
    loading_db: list[float]
    air_speed_peak_m_s: dict[str, list[float]]
    mean_spl_db: float
    mean_change_db: float
    dips_hz: list[float]
    text: str


@dataclass(frozen=True, kw_only=True)
class Held:
    """Where a state's impedance has the dips at which the air holds the cone, and its highest peak [Hz]."""

    dips: list[float]
    peak: float | None

    @classmethod
    def of(cls, frequency: FloatArray, impedance: FloatArray, loading_db: FloatArray) -> Held:
        """Find them in a sweep: |Z| [ohm] and loading [dB], each (n,)."""
        highs, lows = turns(impedance)
        dips = [vertex(frequency, impedance, i)[0] for i in lows.tolist() if loading_db[i] <= HELD_DB]
        top = max(highs.tolist(), key=lambda i: float(impedance[i]), default=None)
        return cls(dips=dips, peak=None if top is None else vertex(frequency, impedance, top)[0])


def sentence(
    case: Case, end: str, openings: tuple[str, ...], covered: tuple[str, ...], held: tuple[Held, Held],
    tones: tuple[FloatArray, FloatArray, FloatArray],
) -> str:  # fmt: skip
    """Say what a state is and does.

    ``held``: of the open box and of this state; ``tones``: frequency [Hz], level [dB] and change [dB] at each.
    """
    frequency, level, change = tones
    if not covered:
        dips = held[0].dips[: max(1, len(case.chambers))]  # as many tunings as chambers, at most
        many = "s" if len(dips) > 1 else ""
        found = f"{_word(case)}{many} at {listing([sig(f) for f in dips])} Hz, " if dips else ""
        return f"All open: {found}mean level {level.mean():.1f} dB."
    fed = [name for name in covered if name in case.horns and case.horns[name].from_ is None]  # no inner end
    where = " at the inner end" if end == "inner" and len(fed) < len(covered) else ""
    start = f"With {_names(case, covered)} covered{where}"
    left = left_over(case, covered)
    if level.max() < SILENT_DB:
        return f"{start}, {left}: nothing opens to the outside, no sound comes out."
    parts = [part for part in (_tuning(case, covered, *held), _levels(frequency, change)) if part]
    return f"{start}, {left}: {', '.join(parts)}."


def left_over(case: Case, covered: tuple[str, ...]) -> str:
    """Say which way the air of the chambers concerned has left."""
    parts: list[str] = []
    tight: list[str] = []
    for group in connected(case):
        ways = [n for n in outlets(case) if (case.ports.get(n) or case.horns[n]).from_ in group]
        if not set(ways) & set(covered):
            continue
        open_ways = [name for name in ways if name not in covered]
        if open_ways:
            parts.append(_open_ways(case, group, open_ways, covered))
            continue
        leaks = [name for name in group if case.chambers[name].leak is not None]
        if leaks:
            its = "its leak" if len(group) == 1 else f"the leak of {quoted(leaks)}"
            parts.append(f"{_closed(group)} but for {its}")
        else:
            tight += group
    if tight:
        parts.append(_closed(tight))
    fed = [name for name in covered if name in case.horns and case.horns[name].from_ is None]
    parts += [f'the horn "{name}" is closed at its mouth' for name in fed]
    return " and ".join(parts)


def _closed(chambers: list[str]) -> str:
    return f"{quoted(chambers)} {'are' if len(chambers) > 1 else 'is'} closed"


def _open_ways(case: Case, group: list[str], ways: list[str], covered: tuple[str, ...]) -> str:
    names = quoted(ways)
    if len(ways) > _MOST_NAMED and len(ways) + len(covered) == len(outlets(case)):
        return f"the other {_count(len(ways))} stay open"
    if len(ways) > 1:
        return f"{names} stay open"
    if len(group) == 1:
        return f'{names} alone opens "{group[0]}"'
    if len(group) < len(case.chambers) or len(group) >= len(_NUMBERS):
        return f"{names} sees {quoted(group)}"
    return f"{names} sees " + ("both chambers" if len(group) == 2 else f"all {_NUMBERS[len(group)]} chambers")


def connected(case: Case) -> list[list[str]]:
    """Return the chambers in groups that ports or horns inside the box join."""
    group = {name: {name} for name in case.chambers}
    inner = [(p.from_, p.to) for p in case.ports.values() if p.to != OUTSIDE and not p.covered]
    inner += [(h.from_, h.to) for h in case.horns.values() if h.to != OUTSIDE and h.from_ is not None]
    for a, b in inner:
        both = group[a] | group[b]
        group |= dict.fromkeys(both, both)
    return [[name for name in case.chambers if name in some] for some in {id(g): g for g in group.values()}.values()]


def _tuning(case: Case, covered: tuple[str, ...], before: Held, after: Held) -> str:
    """Say where the lowest dip goes; of a box that is closed all round, where it resonates."""
    if set(outlets(case)) == set(covered):
        return "" if after.peak is None else f"the box resonates at {sig(after.peak)} Hz"
    if not before.dips:
        return ""
    word, old = _word(case), before.dips[0]
    if not after.dips:
        return f"the {word} at {sig(old)} Hz is gone"
    kept = next((dip for dip in before.dips[1:] if abs(after.dips[0] / dip - 1) < _SAME), None)
    if kept is not None and len(after.dips) < len(before.dips):
        return f"the {word} at {sig(old)} Hz is gone, that at {sig(kept)} Hz stays"
    several = len(before.dips) > 1 or len(after.dips) > 1
    start, new = f"the lowest {word}" if several else word, after.dips[0]
    if abs(new / old - 1) < _STAYS:
        return f"{start} stays at {sig(new)} Hz"
    return f"{start} {'falls' if new < old else 'rises'} from {sig(old)} to {sig(new)} Hz"


def _word(case: Case) -> str:
    """A horn's dips are waves along it, no tuning of a chamber."""
    return "impedance dip" if case.horns else "tuning"


def _levels(frequency: FloatArray, change: FloatArray) -> str:
    up, down = int(change.argmax()), int(change.argmin())
    told = [i for i, worth in ((up, change[up] >= _WORTH_DB), (down, change[down] <= -_WORTH_DB)) if worth]
    if not told:
        return f"level within {_WORTH_DB:g} dB at every tone"
    return " and ".join(f"{decibels(float(change[i]))} dB at {sig(float(frequency[i]), 4)} Hz" for i in told)


def answer(
    case: Case, states: tuple[State, ...], tones_hz: FloatArray, best: tuple[int, ...], best_mean: int
) -> str:
    """Say which state is the loudest at each tone and on average, and what it costs to keep that one."""
    if len(states) < 2:
        return ""
    parts, always = [], set(best) == {best_mean}
    for i in dict.fromkeys(best):
        mine = [j for j, found in enumerate(best) if found == i]
        at = listing([f"{sig(float(tones_hz[j]), 4)} Hz" for j in mine])
        at = "every tone" if always and len(mine) > 1 else at
        gain = [decibels(states[i].change_db[j]) for j in mine]
        far = [j for j in mine if case.driver.xmax is not None and states[i].excursion_peak_m[j] > case.driver.xmax]
        beyond = f", beyond xmax at {listing([f'{sig(float(tones_hz[j]), 4)} Hz' for j in far])}" if far else ""
        changes = f" ({listing(gain)} dB)" if states[i].covered else ""
        parts.append(f"{at} {state_name(case, states[i].covered)}{changes}{beyond}")
    kept = states[best_mean]
    start = f"On average over the tones the loudest is the box {state_name(case, kept.covered)}:"
    if always:
        start = "The mean over the tones is" if len(best) > 1 else "The level is"
    mean = f"{start} {kept.mean_spl_db:.1f} dB"
    if kept.covered and len(best) > 1:
        worst = int(np.argmin(kept.change_db))
        mean += f", {decibels(kept.mean_change_db)} dB against all open"
        if kept.change_db[worst] <= -_WORTH_DB:
            mean += f", but {decibels(kept.change_db[worst])} dB at {sig(float(tones_hz[worst]), 4)} Hz"
    door = door_words(case)
    return f"Loudest at {'; at '.join(parts)}. {mean}." + (f" All of this {door}." if door else "")


def doubts(case: Case, covered: list[tuple[str, ...]], band: Curves, at_tones: Curves) -> list[str]:
    """Return the dangers of the worst states: ears, excursion, power, and air speeds over the limit."""
    loudest = int((at_tones.spl_db + a_weighting_db(at_tones.frequency)).max(axis=1).argmax())  # as ears weigh it
    out = hearing(case, at_tones.frequency, at_tones.spl_db[loudest])
    out = [text + _which(case, covered, loudest) for text in out]
    for values, caution in ((band.excursion_peak, excursion), (band.power, power)):
        worst = int(values.max(axis=1).argmax())
        told = caution(case, band.frequency, values[worst])
        out += [text + _which(case, covered, worst) for text in told]
    return [*out, *_over_xmax(case, covered, at_tones), *_fast_air(case, covered, at_tones)]


def _which(case: Case, covered: list[tuple[str, ...]], i: int) -> str:
    """Say which state a caution is of; nothing for a box that has one only."""
    return f" This is {state_name(case, covered[i])}." if len(covered) > 1 else ""


def _over_xmax(case: Case, covered: list[tuple[str, ...]], at_tones: Curves) -> list[str]:
    """Name the tones at which covering takes the cone beyond xmax, and the worst state of each."""
    xmax = case.driver.xmax
    if xmax is None:
        return []
    out = []
    for j, tone in enumerate(at_tones.frequency.tolist()):
        travel = at_tones.excursion_peak[:, j]
        over = np.flatnonzero(travel > xmax)
        if len(over):
            worst = int(travel.argmax())
            many = f"in {len(over)} of {len(travel)} states" if len(travel) > 1 else "as it is"
            out.append(
                f"Excursion at {sig(tone, 4)} Hz: beyond xmax {many}; most, {_of(travel[worst] * 1e3, xmax * 1e3)} mm, "
                f"{state_name(case, covered[worst])}."
            )
    return out


def _of(value: float, limit: float) -> str:
    """Say a value beyond its limit with so many digits that it shows."""
    digits = next((n for n in (2, 3) if sig(value, n) != sig(limit, n)), 4)
    return f"{sig(value, digits)} mm of {sig(limit, 3)}"


def _fast_air(case: Case, covered: list[tuple[str, ...]], at_tones: Curves) -> list[str]:
    """Name the ports and horns whose air passes the limit in some state, and the worst state of each."""
    limit = SPEED_LIMIT_SHARE * case_air(case).sound_speed
    out = []
    for name, speed in at_tones.air_speed_peak.items():
        highest = np.nan_to_num(speed)
        if name in {*case.ports, *case.horns} and highest.max() > limit:
            i, j = np.unravel_index(int(highest.argmax()), highest.shape)
            out.append(
                f'Air in "{name}": up to {sig(float(highest[i, j]), 2)} m/s at '
                f"{sig(float(at_tones.frequency[j]), 4)} Hz {state_name(case, covered[int(i)])}, over the usual "
                f"limit of {sig(limit, 2)} m/s: expect air noise."
            )
    return out


def told(states: tuple[State, ...], best: tuple[int, ...], best_mean: int) -> list[int]:
    """Return the states that are worth a sentence: all of few; of many the open one, singles, the best, all covered."""
    every = range(len(states))
    if len(states) <= _MOST_TOLD:
        return list(every)
    most = max(len(state.covered) for state in states)
    last = [i for i in every if len(states[i].covered) == most]
    some = {*(last if len(last) == 1 else []), best_mean, *best}
    return [i for i in every if i in some or len(states[i].covered) <= 1]


def state_name(case: Case, covered: tuple[str, ...]) -> str:
    """Return how sentences call a state."""
    return f"with {_names(case, covered)} covered" if covered else "with all open"


def _names(case: Case, covered: tuple[str, ...]) -> str:
    """Name what is covered; of many, what is not."""
    every = outlets(case)
    left = [name for name in every if name not in covered]
    if len(covered) <= _MOST_NAMED or len(left) > _MOST_NAMED:
        return quoted(list(covered))
    return f"all but {quoted(left)}" if left else f"all {_count(len(every))}"


def _count(number: int) -> str:
    return _NUMBERS[number] if number < len(_NUMBERS) else str(number)
