"""The whole prediction of a case: every fidelity over the sweep, the tones, the ports, what to be careful of."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.acoustics.driver import mechanical_set
from airpath.air import Air
from airpath.case.media import case_air
from airpath.case.parameters import parameters
from airpath.case.schema import Case, Chamber, Horn
from airpath.elements.base import Omega
from airpath.findings.cautions import cautions
from airpath.findings.clean import CleanRow, clean_rows
from airpath.findings.explaining.features import turns
from airpath.findings.ports import PortRow, port_rows
from airpath.findings.rooms import Doors, doors
from airpath.findings.tones import ToneRow, tone_rows
from airpath.findings.wording import percent, sig
from airpath.network.build import build, chosen_model, models_for
from airpath.network.graph import Network
from airpath.network.respond import respond
from airpath.network.response import Response
from airpath.network.reuse import Reusing
from airpath.network.solve import State
from airpath.network.surroundings import is_placed
from airpath.network.sweep import sweep_frequencies

_MOST_AUTOMATIC_TONES = 4
_PARTING_DB = 1.0


@dataclass(frozen=True, kw_only=True)
class Prediction:
    """Everything that ``predict`` shows.

    ``responses``: per fidelity over the sweep, simplest first; ``tones_hz``: the case's tones, or the impedance dips if
    it names none; ``tones``: rows per tone and fidelity; ``ports``: by the highest fidelity; ``warnings``: doubts
    about the input and dangers; ``notes``: what was assumed; ``parting``: where the fidelities part, in a sentence;
    ``tones_text``: how the tones were chosen if the case names none, else empty; ``doors``: the room's table, if any;
    ``clean``: per tone the loudest level before a limit is reached, by the highest fidelity.
    """

    case: Case
    air: Air
    responses: dict[str, Response]
    tones_hz: NDArray[np.float64]
    tones: list[ToneRow]
    ports: dict[str, PortRow]
    warnings: list[str]
    notes: list[str]
    parting: str
    tones_text: str
    doors: Doors | None
    clean: list[CleanRow]

    @property
    def best(self) -> str:
        """The highest fidelity that was solved."""
        return list(self.responses)[-1]

    def best_tones(self) -> list[ToneRow]:
        """Return the tone rows of the highest fidelity."""
        return [row for row in self.tones if row.model == self.best]

    def to_dict(self) -> dict[str, Any]:
        """Return the result under the names of ``result.json``."""
        first = next(iter(self.responses.values()))
        room = {} if self.doors is None else {"room": self.doors.to_dict()}
        return {
            "title": self.case.title,
            "scale": self.case.scale,
            "air": {"density_kg_m3": self.air.density, "sound_speed_m_s": self.air.sound_speed},
            "frequency_hz": first.frequency.tolist(),
            "tones_hz": self.tones_hz.tolist(),
            "models": {name: response.to_dict() for name, response in self.responses.items()},
            "tones": [row.to_dict() for row in self.tones],
            "ports": {name: row.to_dict() for name, row in self.ports.items()},
            "clean_level": [row.to_dict() for row in self.clean],
            **room,
            "warnings": self.warnings,
            "notes": self.notes,
        }


def predict(
    case: Case, models: str | Sequence[str] | None = None, solver: Callable[[Network, Omega], State] | None = None,
    *, brief: bool = False,
) -> Prediction:  # fmt: skip
    """Solve a case in every fidelity that it allows, or in those that ``models`` names.

    ``solver``: solves a network at angular frequencies [rad/s], for those who remember parts of it for longer than one
    prediction; ``brief``: without the tables that take solves of their own, of ports and of the room.
    Raises FidelityError, CaseError or AccuracyError.
    """
    asked = (models,) if isinstance(models, str) else models or models_for(case)
    for model in asked:
        chosen_model(case, model)
    networks, solver = {model: build(case, model) for model in asked}, solver or Reusing()
    frequency = sweep_frequencies(case)
    responses = {m: respond(case, n, solver(n, 2 * np.pi * frequency), m) for m, n in networks.items()}
    best = list(networks)[-1]
    tones, tones_text = np.array(case.tones), ""
    if not case.tones:
        tones, tones_text = own_tones(responses[best])
    at_tones = {m: respond(case, n, solver(n, 2 * np.pi * tones), m) for m, n in networks.items()}
    rows = {m: tone_rows(case, response) for m, response in at_tones.items()}
    notes = list(dict.fromkeys(note for network in networks.values() for note in network.notes))
    return Prediction(
        case=case,
        air=case_air(case),
        responses=responses,
        tones_hz=tones,
        tones=[rows[m][i] for i in range(len(tones)) for m in networks],
        ports={} if brief else port_rows(case, networks[best], best, at_tones[best], responses[best]),
        warnings=[*_doubts(case), *cautions(case, responses[best], at_tones[best])],
        notes=notes,
        parting=_parting(case, responses),
        tones_text=tones_text,
        doors=None if brief else doors(case, at_tones[best], responses[best]),
        clean=clean_rows(case, at_tones[best]),
    )


def ports(case: Case, model: str = "line") -> dict[str, PortRow]:
    """Return the port table of a case; air speeds at its tones, in one fidelity."""
    return predict(case, (model,)).ports


def own_tones(response: Response) -> tuple[NDArray[np.float64], str]:
    """Return the lowest few impedance dips [Hz], or the middle of the band if there is none, and say which."""
    _, dips = turns(np.abs(response.impedance))
    if not len(dips):
        middle = np.array([np.sqrt(response.frequency[0] * response.frequency[-1])])
        return middle, "The case names no tones and its impedance has no dip; this is the middle of the band."
    which = "this is its impedance dip" if len(dips) == 1 else "these are its impedance dips"
    return response.frequency[dips[:_MOST_AUTOMATIC_TONES]], f"The case names no tones; {which}."


def _doubts(case: Case) -> list[str]:
    """Return what in the driver's values contradicts itself, and which drawings may be flat though they are turned."""
    driver, known = case.driver, parameters(case)
    said = []
    for odd in mechanical_set(driver.given, driver.Sd, driver.Re).disagreements:
        value = known[f"driver.{odd.name}"]
        given, derived = (f"{sig(si / value.si, 4)} {value.unit}".rstrip() for si in (odd.given, odd.derived))
        said.append(
            f"Driver: {odd.name} = {given} is given, the other values make it {derived}: they differ by "
            f"{percent(abs(odd.given / odd.derived - 1))}. Check the data sheet."
        )
    spaces: list[tuple[str, Chamber | Horn]] = [*case.chambers.items(), *case.horns.items()]
    for place, table in spaces:
        if table.outline is not None and table.outline.lower().endswith(".dxf") and table.outline_depth is None:
            said.append(f"Drawing: {table.outline} ({place}) is turned about y = 0, as it has no outline_depth; a flat "
                        "one needs it.")  # fmt: skip
    return said


def _parting(case: Case, responses: dict[str, Response]) -> str:
    """Say from which frequency the fidelities differ by more than 1 dB in level."""
    if len(responses) < 2:
        return ""
    simple, better = next(iter(responses.values())), list(responses.values())[-1]
    apart = np.flatnonzero(np.abs(simple.spl_db - better.spl_db) > _PARTING_DB)
    if not len(apart):
        return f"The {simple.model} and the {better.model} model agree within {_PARTING_DB:g} dB over the whole band."
    first = better.frequency[apart[0]]
    what = "waves inside ports, horns or chambers matter"
    if better.model == "field" and is_placed(case):
        what = "waves inside ports, horns or chambers, or the places of box, door and listener in the room matter"
    elif better.model == "field" and any(chamber.fill is not None for chamber in case.chambers.values()):
        what = "waves inside ports, horns or chambers, or the stuffing before their openings matter"
    return (
        f"The {simple.model} and the {better.model} model part by more than {_PARTING_DB:g} dB from {sig(first)} Hz: "
        f"from there on {what}, which the {simple.model} model leaves out."
    )
