"""The room around the box: level at the tones for each state of its door, against the same box outdoors."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.ends import piston_length
from airpath.air import Air
from airpath.case.media import case_air
from airpath.case.schema import Case, Listener, Room
from airpath.case.surroundings import first_mode_length, missing_places, outer_places
from airpath.findings.wording import decibels, listing, sig
from airpath.network.build import models_for
from airpath.network.listening import SOLID_ANGLE
from airpath.network.respond import solve
from airpath.network.response import Response
from airpath.network.surroundings import door_inner_length, door_section

_NEAR_DB = 1.0  # a gain this small is none
_ONE_SPRING = 0.5  # of the first standing wave: a rigid pipe has no pressure left at its driven end, p ~ cot(k l)


@dataclass(frozen=True, kw_only=True)
class DoorState:
    """The door standing open by ``opening_m2`` (0: shut): what it does at the tones.

    ``gain_db``: level against the same box in free half space; ``closed_form_db``: the same for a room that is one
    spring with the door's air as a plug; ``helmholtz_hz``: where these two ring, None when shut. ``curve_spl_db`` (n,):
    the level over the sweep.
    """

    opening_m2: float
    helmholtz_hz: float | None
    spl_db: list[float]
    gain_db: list[float]
    closed_form_db: list[float]
    curve_spl_db: NDArray[np.float64]
    text: str

    @property
    def label(self) -> str:
        """The state in a word or two."""
        return f"{sig(self.opening_m2)} m² open" if self.opening_m2 > 0 else "shut"


@dataclass(frozen=True, kw_only=True)
class Doors:
    """The room with its door in every state of the case; ``distance_m``: of the listener outdoors.

    ``outdoors_spl_db`` (n,): the level over the sweep of the same box in free half space; ``waves_need``: what it takes
    to solve the room's standing waves, in words.
    """

    model: str
    volume_m3: float
    first_mode_hz: float
    distance_m: float
    tones_hz: list[float]
    outdoors_spl_db: NDArray[np.float64]
    states: list[DoorState]
    waves_need: str

    @property
    def doubt(self) -> str:
        """A sentence about tones at which the room is no longer one spring; empty if there are none."""
        first, half = sig(self.first_mode_hz), sig(_ONE_SPRING * self.first_mode_hz)
        if max(self.tones_hz) <= _ONE_SPRING * self.first_mode_hz:
            return ""
        if self.model == "field":
            return f"From {half} Hz on, half the room's first standing wave, the places of box and listener count."
        return (
            f"From {half} Hz on, half the room's first standing wave, the room is no longer one spring as in this "
            f"model: levels above are rough, from {first} Hz on a mean at best; {self.waves_need}."
        )

    def to_dict(self) -> dict[str, Any]:
        """Return the table under the names of ``result.json``."""
        keys = ("model", "volume_m3", "first_mode_hz", "distance_m", "tones_hz")
        states = [vars(state) | {"curve_spl_db": state.curve_spl_db.tolist()} for state in self.states]
        curve = {"outdoors_spl_db": self.outdoors_spl_db.tolist()}
        return {**{key: getattr(self, key) for key in keys}, **curve, "states": states}


def doors(case: Case, at_tones: Response, sweep: Response) -> Doors | None:
    """Solve a case with its door in every state; None without a room.

    ``at_tones`` and ``sweep``: the case solved in the wanted fidelity, with its door in the first state.
    """
    room = case.room
    if room is None:
        return None
    air, distance, model = case_air(case), _distance(case), sweep.model
    tones, count = at_tones.frequency, len(at_tones.frequency)
    every = np.concatenate([tones, sweep.frequency])
    alone = _outdoors(case, distance)
    outdoors = solve(alone, model if model in models_for(alone) else "line", every).spl_db
    first = air.sound_speed / (2 * first_mode_length(room)[0])
    states: list[DoorState] = []
    for area in dict.fromkeys(room.opening or (0.0,)):
        ajar = case.model_copy(update={"room": room.model_copy(update={"opening": (area,)})})
        level = solve(ajar, model, every).spl_db if states else np.concatenate([at_tones.spl_db, sweep.spl_db])
        plug = door_mass(room, area, air)
        ring = None if plug is None else helmholtz(room, plug, air)
        gain = (level - outdoors)[:count].tolist()
        states.append(
            DoorState(
                opening_m2=area, helmholtz_hz=ring, spl_db=level[:count].tolist(), gain_db=gain,
                closed_form_db=closed_form_gain(room, plug, distance, tones, air).tolist(),
                curve_spl_db=level[count:], text=_text(area, ring, first, tones.tolist(), gain),
            )
        )  # fmt: skip
    return Doors(
        model=model, volume_m3=room.known_volume, first_mode_hz=first, distance_m=distance, tones_hz=tones.tolist(),
        outdoors_spl_db=outdoors[count:], states=states, waves_need=_waves_need(case),
    )  # fmt: skip


def door_words(case: Case) -> str:
    """Return how the door of a room with several states stands in all that is solved for one; empty without any."""
    states = () if case.room is None else tuple(dict.fromkeys(case.room.opening))
    if len(states) < 2:
        return ""
    stands = f"open by {sig(states[0])} m²" if states[0] > 0 else "shut"
    return f"with the room's door {stands}, the first of its {len(states)} states"


def solved_by(case: Case, model: str) -> str:
    """Return by which model and with which state of the room's door something is solved: "by the line model"."""
    door = door_words(case)
    return f"by the {model} model" + (f", {door}" if door else "")


def _waves_need(case: Case) -> str:
    assert case.room is not None
    if case.room.size is None:
        return "give the room's size and every place in it for the field model"
    lacks = missing_places(case)
    return f"give {listing(lacks)} for the field model" if lacks else "the field model has them"


def door_mass(room: Room, area: float, air: Air) -> float | None:
    """Return the inertance [kg/m^4] of the air in a door that stands open by an area [m^2]; None when shut.

    rho (l_in + l_out)/S for a thin wall: a baffled piston outside (8/(3 pi) radii if round), a flanged end inside.
    Source: Rayleigh, Theory of Sound, vol. 2, section 307 and appendix A. Checked by: physics/test_rooms.
    """
    if area <= 0:
        return None
    section = door_section(room, area)
    return air.density * (door_inner_length(room, section) + piston_length(section)) / area


def helmholtz(room: Room, plug: float, air: Air) -> float:
    """Return the frequency [Hz] at which a room and the plug of air in its door ring (Helmholtz)."""
    return math.sqrt(air.bulk_modulus / (plug * room.known_volume)) / (2 * math.pi)


def closed_form_gain(
    room: Room, plug: float | None, distance: float, frequency_hz: NDArray[np.float64], air: Air
) -> NDArray[np.float64]:
    """Return the pressure per flow in a room that is one spring, against j w rho/(2 pi r) in half space [dB].

    1/Z = j w V (1 - j/Q)/(rho c^2) + 1/(j w m): shut and without loss, 2 pi r c^2/(w^2 V).
    Source: Kinsler et al., Fundamentals of Acoustics, ch. 10 (from memory). Checked by: physics/test_rooms.
    """
    omega = 2 * np.pi * frequency_hz
    admittance = 1j * omega * room.known_volume * (1 - 1j / room.loss_q) / air.bulk_modulus
    if plug is not None:
        admittance = admittance + 1 / (1j * omega * plug)
    outdoors = omega * air.density / (SOLID_ANGLE["half"] * distance)
    return np.asarray(-20 * np.log10(np.abs(admittance) * outdoors))


def _distance(case: Case) -> float:
    """Return how far the listener is: from the cone, or the first opening, if both places are known."""
    places = [place for _, _, place, _ in outer_places(case).values() if place is not None]
    if case.listener.at is None or not places:
        return case.listener.distance
    return math.dist(case.listener.at, places[0])


def _outdoors(case: Case, distance: float) -> Case:
    """Return the same box on its own in half space, the listener ahead of it."""
    sides = {"front": "front_at", "rear": "rear_at"}
    gone = {key: None for side, key in sides.items() if getattr(case.driver, side) == "outside"}
    return case.model_copy(
        update={
            "room": None,
            "listener": Listener.model_construct(distance=distance, space="half", at=None),
            "driver": case.driver.model_copy(update=gone),
            "ports": {name: port.model_copy(update={"at": None}) for name, port in case.ports.items()},
            "horns": {name: horn.model_copy(update={"at": None}) for name, horn in case.horns.items()},
        }
    )


def _text(area: float, ring: float | None, first: float, tones: list[float], gain: list[float]) -> str:
    """Say what a state of the door does to the tones."""
    high, low = int(np.argmax(gain)), int(np.argmin(gain))
    if len(tones) == 1:
        effect = f"{_verb(gain[0])} {sig(tones[0], 4)} Hz{_by(gain[0])}"
    elif gain[high] - gain[low] < _NEAR_DB:
        effect = f"changes every tone by about {decibels(gain[high])} dB"
    else:
        effect = " and ".join(f"{_verb(gain[i])} {sig(tones[i], 4)} Hz{_by(gain[i])}" for i in (high, low))
    if area <= 0 or ring is None:
        return f"shut, the room is one spring well below its first standing wave at {sig(first)} Hz; this {effect}"
    where = f"near {sig(ring)} Hz by the closed form" + (", above its first standing wave" if ring > first else "")
    return f"open by {sig(area)} m², the room and its door ring {where}; this {effect}"


def _verb(gain: float) -> str:
    return "leaves" if abs(gain) < _NEAR_DB else "lifts" if gain > 0 else "lowers"


def _by(gain: float) -> str:
    return " as it is" if abs(gain) < _NEAR_DB else f" by {sig(abs(gain), 2)} dB"
