"""The line model at the speed of a hand: what did not change since the last turn is not worked out again."""

from __future__ import annotations

import time

from airpath.case.schema import Case
from airpath.elements.base import ComplexArray, Element, Omega
from airpath.findings.predict import Prediction, predict
from airpath.network.graph import Network
from airpath.network.solve import State, solve_network

FIDELITY = "line"
_PATIENCE = 0.015  # s for one solve under the hand
_COARSEST = 12  # points per octave
_Key = tuple[Element, bytes, object]


class Memory:
    """A solver of networks that keeps what each element did, for as long as it keeps being asked for."""

    def __init__(self) -> None:
        self._known: dict[_Key, ComplexArray] = {}
        self._used: dict[_Key, ComplexArray] = {}

    def __call__(self, network: Network, omega: Omega) -> State:
        """Solve a network at ``omega`` (n,) [rad/s]."""
        grid = omega.tobytes()
        parts = [self._admittance(branch.element, network, omega, grid) for branch in network.branches]
        return solve_network(network, omega, parts)

    def turn(self) -> None:
        """Forget what was not asked for since the last turn."""
        self._known, self._used = self._used, {}

    def _admittance(self, element: Element, network: Network, omega: Omega, grid: bytes) -> ComplexArray:
        key = (element, grid, network.air)
        try:
            found = self._used.get(key)
        except TypeError:  # an element with arrays in it
            return element.admittance(omega, network.air)
        if found is None:
            found = self._known.get(key)
        if found is None:
            found = element.admittance(omega, network.air)
        self._used[key] = found
        return found


class Engine:
    """Predicts a case by the line model, under the hand with as many frequencies as there is time for."""

    def __init__(self) -> None:
        self._memory = Memory()
        self._thin = 1

    def predict(self, case: Case, *, moving: bool = False) -> Prediction:
        """Return the prediction by the line model; ``moving``: on a sweep that may be coarser than the case's.

        Raises FidelityError, CaseError or AccuracyError.
        """
        thin = self._thin if moving else 1
        start = time.perf_counter()
        prediction = predict(thinned(case, thin), (FIDELITY,), self._memory, brief=True)
        self._memory.turn()
        if moving:
            self._pace(time.perf_counter() - start, case)
        return prediction

    def _pace(self, seconds: float, case: Case) -> None:
        """Choose how coarse the next sweep under the hand is."""
        points = case.sweep.points_per_octave // self._thin
        if seconds > _PATIENCE and points >= 2 * _COARSEST:
            self._thin *= 2
        elif seconds < _PATIENCE / 4 and self._thin > 1:
            self._thin //= 2


def thinned(case: Case, factor: int) -> Case:
    """Return the case with fewer frequencies in its sweep."""
    if factor == 1:
        return case
    points = max(1, case.sweep.points_per_octave // factor)
    return case.model_copy(update={"sweep": case.sweep.model_copy(update={"points_per_octave": points})})
