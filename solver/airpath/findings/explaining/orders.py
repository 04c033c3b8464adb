"""Which one of its row a wave is: half-waves in a port, (nx, ny, nz) in a chamber, and how long its path is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airpath.case.schema import Case
from airpath.elements.cuboid import Cuboid
from airpath.findings.explaining.features import Spot
from airpath.findings.reach import reach
from airpath.findings.wording import sig
from airpath.network.graph import Network
from airpath.network.horns import horn_way

_FORKED = 0.01  # modes closer than this share of their frequency are told apart by how well they couple
_BELOW_WAVES = 0.85  # of the first standing wave: a room that rings lower is one spring
_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


@dataclass(frozen=True, kw_only=True)
class Order:
    """``number``: of half-waves or quarter-waves, per side of a cuboid, or None; ``phrase``: the wave in words."""

    number: int | list[int] | None
    phrase: str


def order_of(
    case: Case, network: Network, kind: str, element: str, spot: Spot, nth: int, last: float
) -> Order:
    """Return the order of a wave in ``element`` ("pipe", "horn" or "chamber-mode"); no order for other causes.

    ``nth``: a horn's waves are counted as they come, peaks and dips apart; ``last`` [Hz]: where the one before it is.
    """
    if kind == "pipe":
        return _pipe(case, network, element, spot.frequency)
    if kind == "horn":
        return _horn(case, network, element, spot.frequency, nth, last)
    if kind == "chamber-mode":
        return _chamber(case, network, element, spot.frequency)
    if element == "room":
        return _room(network, spot.frequency)
    return Order(number=None, phrase="")


def ordinal(number: int) -> str:
    """Return "first", "second", ..., in figures from 11 on: "11th", "21st", "112th"."""
    if number <= len(_ORDINALS):
        return _ORDINALS[number - 1]
    teen = number // 10 % 10 == 1
    return f"{number}{'th' if teen else {1: 'st', 2: 'nd', 3: 'rd'}.get(number % 10, 'th')}"


def _pipe(case: Case, network: Network, name: str, frequency: float) -> Order:
    length = reach(case, case.ports[name]).total
    waves = length * frequency / network.air.sound_speed
    if case.ports[name].covered:
        number = max(1, round(2 * waves + 0.5))
        return Order(
            number=number,
            phrase=f'the {ordinal(number)} quarter-wave resonance of the closed port "{name}", {sig(length, 2)} m long '
            "with its end",
        )
    number = max(1, round(2 * waves))
    text = f'the {ordinal(number)} half-wave of the port "{name}", {sig(length, 2)} m long with its ends'
    return Order(number=number, phrase=text)


def _horn(case: Case, network: Network, name: str, frequency: float, nth: int, last: float) -> Order:
    horn = horn_way(case, name)
    across = horn.cut_on(network.air.sound_speed)
    if across is None or frequency <= across:
        phrase = f'the {ordinal(nth)} wave along the horn "{name}", {sig(horn.length, 3)} m long'
        return Order(number=nth, phrase=phrase)
    phrase = f'the {ordinal(nth)} wave inside the drawn horn "{name}"'
    if last <= across:  # said of the first one
        phrase += f", which is too wide for plane waves above {sig(across)} Hz: from there on waves run across it too"
    return Order(number=nth, phrase=phrase)


def _chamber(case: Case, network: Network, name: str, frequency: float) -> Order:
    element = next(b.element for b in network.branches if b.owner == name)
    size = case.chambers[name].size
    speed = network.air.sound_speed
    if isinstance(element, Cuboid):
        modes = [m for m in element.modes(network.air, 0.7 * frequency, 1.4 * frequency) if any(m.order)]
        if modes:
            best = max(
                modes, key=lambda m: np.abs(m.coupling).max() / (abs(m.frequency_hz / frequency - 1) + _FORKED)
            )
            return Order(number=list(best.order), phrase=f'the standing wave {best.order} of chamber "{name}"')
    elif element.kind == "field-chamber":
        waves = element.model.modes.frequency_hz(speed)  # type: ignore[attr-defined]
        number = 1 + int(np.argmin(np.abs(waves[1:] / frequency - 1)))
        return Order(number=number, phrase=f'standing wave number {number} of chamber "{name}"')
    elif size is not None:
        axis = int(np.argmax(size))
        order = [0, 0, 0]
        order[axis] = max(1, round(2 * size[axis] * frequency / speed))
        return Order(
            number=order,
            phrase=f'the standing wave ({order[0]}, {order[1]}, {order[2]}) of the {sig(size[axis], 3)} m long '
            f'chamber "{name}"',
        )
    return Order(number=None, phrase=f'a standing wave of chamber "{name}"')


def _room(network: Network, frequency: float) -> Order:
    """A room rings as one spring with its door, from its first standing wave on by the nearest of these."""
    text = "the room around the box: its air is the spring, what stands open in it the plug"
    element = next((b.element for b in network.branches if b.role == "room" and isinstance(b.element, Cuboid)), None)
    if element is None:
        return Order(number=None, phrase=text)
    waves = [m for m in element.modes(network.air, 0.0, 1.5 * frequency) if any(m.order)]
    if not waves or frequency < _BELOW_WAVES * waves[0].frequency_hz:
        return Order(number=None, phrase=text)
    best = min(waves, key=lambda m: abs(m.frequency_hz / frequency - 1))
    return Order(number=list(best.order), phrase=f"the standing wave {best.order} of the room around the box")
