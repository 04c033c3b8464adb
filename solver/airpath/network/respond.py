"""The public solve: a case in one fidelity, over its sweep or at chosen frequencies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from airpath.acoustics.radiation import disc_mass
from airpath.case.schema import Case
from airpath.elements.base import ComplexArray, Omega
from airpath.network.build import build
from airpath.network.graph import Network, Opening
from airpath.network.listening import to_listener
from airpath.network.response import FloatArray, OpeningResponse, Response
from airpath.network.solve import State, solve_network
from airpath.network.sweep import sweep_frequencies

_DIGITS = 14  # of a frequency


def solve(case: Case, model: str = "line", frequency_hz: ArrayLike | None = None) -> Response:
    """Solve a case in one fidelity ("lumped", "line" or "field") and return its Response.

    ``frequency_hz`` (n,) [Hz], above zero, or a single one, replaces the case's sweep.
    Raises FidelityError, CaseError or AccuracyError, ValueError for other frequencies.
    """
    frequency = sweep_frequencies(case) if frequency_hz is None else _asked(frequency_hz)
    network = build(case, model)
    return respond(case, network, solve_network(network, 2 * np.pi * frequency), model)


def _asked(frequency_hz: ArrayLike) -> FloatArray:
    frequency = np.atleast_1d(np.asarray(frequency_hz, dtype=np.float64))
    if frequency.ndim != 1 or not frequency.size or not np.all(np.isfinite(frequency) & (frequency > 0)):
        raise ValueError("frequency_hz: expected one frequency or a row of them, above 0 Hz")
    return frequency


def nominal_resistance(case: Case) -> float:
    """Return Re of all drivers together [ohm], as they are wired: what "power into Re" counts into."""
    return case.driver.Re * wired(case)


def wired(case: Case) -> float:
    """Return the impedance of all drivers together over that of one, as they are wired."""
    driver = case.driver
    return float(driver.count) if driver.wiring == "series" else 1 / driver.count


def source_voltage(case: Case) -> float:
    """Return the RMS voltage of the source [V], before its resistance."""
    drive = case.drive
    return drive.voltage if drive.power is None else float(np.sqrt(drive.power * nominal_resistance(case)))


def respond(case: Case, network: Network, state: State, model: str) -> Response:
    """Scale a network's solution, or those of several of its states, to the case's drive and listener."""
    omega, impedance = state.omega, wired(case) / state.current
    terminal = _at_terminals(case, impedance)
    each = _at_each(case, terminal)
    velocity = each * state.velocity
    heard = to_listener(case, network, state)
    openings = {o.name: _opening(o, state, each, heard.get(o.name)) for o in network.openings}
    radiated = [o.pressure for o in openings.values() if o.pressure is not None]
    total = sum(radiated, np.zeros_like(velocity))
    free = _free_air_velocity(case, network, state)
    return Response(
        model=model,
        frequency=_hertz(omega),
        impedance=impedance,
        current=terminal / impedance,
        voltage=np.abs(terminal),
        cone_velocity=velocity,
        excursion_peak=np.sqrt(2) * np.abs(velocity) / omega,
        loading_db=20 * np.log10(np.abs(velocity) / np.abs(free)),
        openings=openings,
        chambers={name: each * _mean_pressure(network, state, name) for name in network.chambers},
        pressure=total,
        imbalance=float(state.imbalance.max(initial=0.0)),
    )


def _at_terminals(case: Case, impedance: ComplexArray) -> ComplexArray:
    """Return the voltage [V RMS] at terminals of an ``impedance`` (n,) [ohm]."""
    return np.asarray(source_voltage(case) * impedance / (impedance + case.drive.source_resistance))


def _at_each(case: Case, terminal: ComplexArray) -> ComplexArray:
    """Return the voltage at each driver (n,), of that at the ``terminal``."""
    return terminal / case.driver.count if case.driver.wiring == "series" else terminal


def _hertz(omega: Omega) -> FloatArray:
    """Return frequencies [Hz] as they were given: 60 and not 59.99999999999999, which 2 pi f/(2 pi) may make of it."""
    frequency = np.asarray(omega / (2 * np.pi))
    shift = 10.0 ** (_DIGITS - np.ceil(np.log10(frequency)))
    return np.asarray(np.round(frequency * shift) / shift)


def _opening(opening: Opening, state: State, each: ComplexArray, heard: ComplexArray | None) -> OpeningResponse:
    flow, terminal = state.flow[opening.outflow], opening.terminal
    out = -flow[..., -1] if terminal is None else flow[..., terminal]
    entering = out if opening.inflow is None else state.flow[opening.inflow][..., 0]
    along = [np.abs(entering + share * (out - entering)) / area for share, area in opening.places]
    speed = np.sqrt(2) * np.abs(each) * np.max(along, axis=0)
    leaving = each * out
    pressure = None if heard is None else heard * leaving
    return OpeningResponse(volume_velocity=leaving, air_speed_peak=speed, pressure=pressure)


def _mean_pressure(network: Network, state: State, chamber: str) -> ComplexArray:
    """Return the mean pressure of a chamber [Pa/V]: the flow into it over what it stores per pascal."""
    flow = np.zeros(len(state.omega), dtype=np.complex128)
    storage = flow.copy()
    for index in network.chambers[chamber]:
        flow = flow + state.flow[index].sum(axis=-1)
        storage += network.branches[index].element.storage(state.omega, network.air)
    return flow / storage


def _free_air_velocity(case: Case, network: Network, state: State) -> ComplexArray:
    """Return the cone velocity [m/s] of the same driver in free air with the same drive and source resistance."""
    free = replace(network.cone, air_mass=disc_mass(case.driver.Sd, network.air.density))
    velocity = free.velocity(state.omega, np.zeros(len(state.omega), dtype=np.complex128))
    impedance = wired(case) / free.current(state.omega, velocity)
    return np.asarray(velocity * _at_each(case, _at_terminals(case, impedance)))
