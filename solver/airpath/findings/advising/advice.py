"""What to change where a wave troubles a tone or the band. Every rule and every sentence about advice is here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np

from airpath.case.parameters import Parameter
from airpath.case.schema import Case
from airpath.findings.advising.moves import moves_off
from airpath.findings.advising.nodes import places
from airpath.findings.advising.stuffing import least, present
from airpath.findings.advising.trial import BAND_DB, Box, unwanted
from airpath.findings.explaining.causes import Cause
from airpath.findings.explaining.prominence import prominence_db
from airpath.findings.explaining.sensitivity import Sensitivity
from airpath.findings.tones import band, label
from airpath.findings.wording import decibels, percent, sig
from airpath.network.respond import solve
from airpath.network.response import Response

_ONE_WAVE = 0.2  # of a frequency: features of one cause further apart are not one wave
_PLACES = 4
_SAID_DB = 0.05  # a smaller loss is none
_SILENT = 0.1  # of its height: less is silence

Aim = Literal["off a tone", "out of the band", "silence", "damp"]


@dataclass(frozen=True, kw_only=True)
class Advice:
    """One change, solved again before it is said: ``parameter`` from ``was`` to ``value``, both in ``unit``.

    ``becomes_hz``: where the feature lies then, None if it is gone; ``changed``: the case with the change in it,
    ``model``: the fidelity of the advice.
    """

    aim: Aim
    parameter: str
    unit: str
    was: float
    value: float
    becomes_hz: float | None
    text: str
    changed: Case
    model: str

    @cached_property
    def response(self) -> Response:
        """The changed box over the sweep, solved when first asked for."""
        return solve(self.changed, self.model)

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the ``explain`` result."""
        keys = ("aim", "parameter", "unit", "was", "value", "becomes_hz", "text")
        return {key: getattr(self, key) for key in keys}


@dataclass(frozen=True, kw_only=True)
class Trouble:
    """A wave that is in the way: its ``members`` are features of one cause, ``first`` the one that advice is for.

    ``tone`` [Hz]: that it sits on; None: it is in the band and no tone is near. ``stands_out_db``: of the level.
    """

    members: tuple[int, ...]
    first: int
    tone: float | None
    stands_out_db: float


def advise(box: Box, why: Sequence[Cause], turns: Sequence[list[Sensitivity]]) -> list[list[Advice]]:
    """Return advice per feature of a box; ``why``: their causes, ``turns``: their sensitivities.

    Only waves that trouble a tone or the band get any, once for each wave, and only what was solved and helps.
    """
    out: list[list[Advice]] = [[] for _ in box.found]
    for trouble in troubles(box, why):
        cause = why[trouble.first]
        tries = [_moved(box, trouble, turns[trouble.first])]
        chamber = cause.type == "chamber-mode" and cause.element in box.case.chambers  # not the room around the box
        if chamber and isinstance(cause.order, list):
            tries.append(_silenced(box, trouble, cause.element, cause.order))
        if chamber:
            tries.append(_damped(box, trouble, cause.element))
        out[trouble.first] = [advice for advice in tries if advice is not None]
    return out


def troubles(box: Box, why: Sequence[Cause]) -> list[Trouble]:
    """Return the waves in the way: on a tone and 0.5 dB of level there, or in the band and 1 dB.

    A horn's waves are its working; only its peaks are in the way of a tone, where it lets go of the cone.
    """
    low, high = band(box.case)
    inside = [
        i
        for i, spot in enumerate(box.found)
        if low <= spot.frequency <= high and why[i].type in ("pipe", "chamber-mode") and spot.omega is not None
    ]
    loud = [i for i in inside if box.stands_out_db.get(i, 0.0) >= BAND_DB]
    loud.sort(key=lambda i: -box.stands_out_db[i])
    on_tones = [
        (tone, i)
        for tone, found in box.troubled.items()
        for i in sorted(found, key=lambda i: abs(box.found[i].frequency - tone))
    ]
    out: list[Trouble] = []
    done: set[int] = set()
    for tone, i in [*on_tones, *((None, i) for i in loud)]:
        if i not in done and unwanted(why[i].type, box.found[i]):
            members = _members(box, why, i)
            done |= set(members)
            apart = max(box.stands_out_db.get(j, 0.0) for j in members)
            out.append(Trouble(members=members, first=i, tone=tone, stands_out_db=apart))
    return out


def _members(box: Box, why: Sequence[Cause], first: int) -> tuple[int, ...]:
    """Return the features of one wave: the same cause, not far away."""
    one, place = why[first], box.found[first].frequency
    return tuple(
        i
        for i, other in enumerate(why)
        if (other.type, other.element, other.order) == (one.type, one.element, one.order)
        and abs(box.found[i].frequency / place - 1) < _ONE_WAVE and box.found[i].omega is not None
    )


def _moved(box: Box, trouble: Trouble, turns: list[Sensitivity]) -> Advice | None:
    """Return the smallest change of one dimension that takes a wave off a tone, or out of the band of the tones."""
    tone = trouble.tone
    if tone is None and len(box.case.tones) < 2:
        return None
    low, high = band(box.case) if tone is None else (tone, tone)
    for move in moves_off(box, trouble.members, low, high, turns):
        tried = Box.of(move.parameter.changed(move.value), box.model, box.sweep)
        if tried is None or _harm(box, tried, trouble):
            continue
        there = box.follow(trouble.first, tried)
        if there is None or (tone is None and low <= tried.found[there].frequency <= high):
            continue
        aim: Aim = "out of the band" if tone is None else "off a tone"
        now = tried.found[there].frequency
        goal = f"off the tone at {_hertz(low)}"
        if tone is None:
            goal = f"out of the band of the tones, {_hertz(low)} to {_hertz(high)}"
        spot = box.found[trouble.first]
        kind, was = spot.kind, _hertz(spot.frequency)
        text = f"{_change(move.parameter, move.value)} moves this {kind} from {was} to {_hertz(now)}, {goal}."
        text += _cost(box, tried, tone)
        return _advice(tried, aim, move.parameter, move.value, now, text)
    return None


def _harm(box: Box, tried: Box, trouble: Trouble) -> bool:
    """Whether a wave is still on the tone, a new one on another, or a tone pays for the change."""
    still = any(
        found if tone == trouble.tone else len(found) > len(box.troubled[tone])
        for tone, found in tried.troubled.items()
    )
    return still or not tried.keeps_tones_of(box, trouble.tone, trouble.stands_out_db)


def _silenced(box: Box, trouble: Trouble, chamber: str, order: list[int]) -> Advice | None:
    """Return the move of one opening onto a pressure node that takes the wave's drive away."""
    ringing = [i for i in trouble.members if box.found[i].cone == "free"]
    for place in places(box.case, chamber, order)[:_PLACES] if ringing else []:
        parameter = place.parameter
        value = place.value
        tried = Box.of(parameter.changed(value), box.model, box.sweep)
        if tried is None or _harm(box, tried, trouble):
            continue
        left = [(i, there) for i in ringing if (there := box.follow(i, tried)) is not None]
        if any(tried.height(there) > _SILENT * box.height(i) for i, there in left) or _heard(box, tried, ringing):
            continue
        what = "the driver" if place.joint.startswith("driver.") else label(place.joint.rpartition(".")[0])
        wave = f"standing wave ({', '.join(str(n) for n in order)})"
        text = f"{_change(parameter, value)} puts {what} on a pressure node of the {wave}: {_gone(bool(left))}."
        text += _cost(box, tried, trouble.tone)
        now = tried.found[left[0][1]].frequency if left else None
        return _advice(tried, "silence", parameter, value, now, text)
    return None


def _heard(box: Box, tried: Box, ringing: Sequence[int]) -> bool:
    """Whether the level still shows waves of the box where they were: more than half of them, and more than 1 dB."""
    before = np.array([box.stands_out_db.get(i, 0.0) for i in ringing])
    spots = [box.found[i] for i in ringing]
    places, widths = [s.frequency for s in spots], [s.q or 1.0 for s in spots]
    now = np.abs(prominence_db(tried.case, tried.network, tried.model, places, widths))
    return bool(np.any(now > np.maximum(before / 2, BAND_DB)))


def _damped(box: Box, trouble: Trouble, chamber: str) -> Advice | None:
    """Return the stuffing that damps a standing wave to half its height, or below what is listed."""
    ringing = [i for i in trouble.members if box.found[i].cone == "free"]
    found = least(box, ringing[0], chamber) if ringing else None
    if found is None:
        return None
    fraction, tried = found
    if not tried.keeps_tones_of(box, trouble.tone, trouble.stands_out_db):
        return None
    there = box.follow(ringing[0], tried)
    resistivity, was = present(box.case, chamber)
    much = percent(fraction) if not was else f"{percent(fraction)} instead of {percent(was)}"
    effect = "damps it until it shows no more" if there is None else "takes half of its height or more"
    text = f'Stuffing {much} of chamber "{chamber}" ({sig(resistivity)} Pa s/m^2) {effect}.'
    return Advice(
        aim="damp", parameter=f"chambers.{chamber}.fill.fraction", unit="", was=was, value=fraction,
        becomes_hz=None if there is None else tried.found[there].frequency, text=text + _cost(box, tried, trouble.tone),
        changed=tried.case, model=tried.model,
    )  # fmt: skip


def _advice(
    tried: Box, aim: Aim, parameter: Parameter, value: float, becomes_hz: float | None, text: str
) -> Advice:
    return Advice(
        aim=aim, parameter=parameter.name, unit=parameter.unit, was=parameter.value / parameter.si,
        value=value / parameter.si, becomes_hz=becomes_hz, text=text, changed=tried.case, model=tried.model,
    )  # fmt: skip


def _change(parameter: Parameter, value: float) -> str:
    """Say a change: Taking ports.slot.length from 420 mm to 410 mm."""
    was, now = (sig(x / parameter.si, 6) for x in (parameter.value, value))
    unit = f" {parameter.unit}" if parameter.unit else ""
    return f"Taking {parameter.name} from {was}{unit} to {now}{unit}"


def _cost(box: Box, tried: Box, tone: float | None) -> str:
    """Say what a change does to the level at ``tone``, and what it costs at the other one that loses most."""
    if not box.case.tones:
        return ""
    change = dict(zip(box.case.tones, (tried.at_tones.spl_db - box.at_tones.spl_db).tolist(), strict=True))
    said = ""
    if tone is not None and abs(change[tone]) >= _SAID_DB:
        said = f" The level at {_hertz(tone)} changes by {decibels(change[tone])} dB."
    worst = min((t for t in change if t != tone), key=lambda t: change[t], default=None)
    if worst is not None and change[worst] <= -_SAID_DB:
        said += f" It costs {-change[worst]:.1f} dB at {_hertz(worst)}."
    return said


def _gone(left: bool) -> str:
    return "less than a tenth of it is left" if left else "it vanishes"


def _hertz(frequency: float) -> str:
    return f"{sig(frequency, 4)} Hz"
