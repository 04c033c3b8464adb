"""Every peak, dip and ripple of an impedance curve, and the natural frequency behind it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from airpath.elements.base import ComplexArray
from airpath.findings.explaining.poles import searched
from airpath.findings.explaining.resonances import Cone, distinct, mobility, refine_both
from airpath.network.graph import Network
from airpath.network.reuse import Admittances
from airpath.network.solve import solve_network

Kind = Literal["peak", "dip", "ripple"]
RIPPLE = 0.001  # a resonance that changes the impedance by less than this share of it is not listed
OTHER_TURN = 0.05  # of its frequency: a turn of the impedance further off, without the coil, is another
_STEP = 3e-5  # relative, of derivatives over frequency
_ROUNDS = 6  # a pole of the fit takes two or three,
_GUESS_ROUNDS = 9  # a guess from an extremum some more
_WIDTHS = (0.0007, 0.005, 0.04)  # relative: half of 1/Q
_ALONE = 0.3
_NEAR = 0.12  # an extremum and its natural frequency lie this close, or within the resonance's own width


@dataclass(frozen=True, kw_only=True)
class Spot:
    """One feature of one curve: ``impedance`` of one driver [ohm]; ``omega``: the natural frequency behind it or None.

    ``cone``: whether the cone is free (peaks, ripples) or clamped (dips) there; ``masks``: a dip of the coil's
    inductance, with a wave near it that is too weak to make one.
    """

    kind: Kind
    frequency: float
    impedance: complex
    omega: complex | None
    cone: Cone
    masks: bool = False

    @property
    def q(self) -> float | None:
        """Quality factor of the natural frequency."""
        return None if self.omega is None else abs(self.omega) / (2 * self.omega.imag)


def spots(network: Network, frequency: NDArray[np.float64]) -> list[Spot]:
    """Return the features of a network's impedance between the ends of ``frequency`` (n,) [Hz], in rising order."""
    return spots_over(network, Admittances(2 * np.pi * frequency))


def spots_over(network: Network, sweep: Admittances) -> list[Spot]:
    """Return the features between the ends of a sweep over which some elements may be known already."""
    omega = sweep.omega
    state = solve_network(network, omega, sweep.of(network.branches, network.air))  # checks its power balance
    moving = np.asarray(state.velocity / (network.cone.force_factor * state.current))
    poles, zeros = searched(network, omega, moving)
    free, held = (distinct(w) for w in refine_both(network, poles, zeros, _ROUNDS))
    close = _near(np.concatenate([free, held]), omega)
    grid, first = np.unique(np.concatenate([omega, close]), return_index=True)
    moving = np.concatenate([moving, mobility(network, close)])[first]
    highs, lows = extrema(network, grid, np.abs(motional(network, grid, moving)))
    more = refine_both(network, _guesses(highs, free), _guesses(lows, held), _GUESS_ROUNDS)
    free, held = (distinct(np.concatenate(pair)) for pair in zip((free, held), more, strict=True))
    peak, dip = _paired(highs, free), _paired(lows, held)
    taken = set(peak.values())
    masking = _coils_own(network, grid, moving, lows) if all(x in dip for x in lows.tolist()) else None
    if masking is not None:
        del dip[masking]
    every: list[tuple[Kind, float, complex | None]] = [("peak", x, peak.get(x)) for x in highs.tolist()]
    every += [("ripple", w.real, w) for w in free.tolist() if w not in taken and omega[0] <= w.real <= omega[-1]]
    every += [("dip", x, dip.get(x)) for x in lows.tolist()]
    z = impedance(network, np.array([x for _, x, _ in every]))
    ringing = [i for i, (kind, _, w) in enumerate(every) if kind != "dip" and w is not None]
    natural = np.array([every[i][2] for i in ringing], dtype=np.complex128)
    weak = {i for i, h in zip(ringing, heights(network, natural, np.abs(z[ringing])), strict=True) if h < RIPPLE}
    found = [
        Spot(
            kind=kind, frequency=x / (2 * np.pi), impedance=complex(z[i]), omega=w,
            cone="clamped" if kind == "dip" else "free", masks=x == masking,
        )
        for i, (kind, x, w) in enumerate(every)
        if not (kind == "ripple" and i in weak)
    ]  # fmt: skip
    faint = {every[i][1] / (2 * np.pi) for i in weak}
    return _without_faint(sorted(found, key=lambda spot: spot.frequency), faint)


def _coils_own(
    network: Network, grid: NDArray[np.float64], moving: ComplexArray, lows: NDArray[np.float64]
) -> float | None:
    """Return the deepest of the dips ``lows`` [rad/s] that are none without the coil's inductance, None without one.

    It turns the impedance upwards once, wherever that is: a wave nearby shifts this dip but does not make it.
    ``moving`` (n,): the cone's mobility on ``grid`` (n,) [rad/s].
    """
    _, there = turns(np.abs(network.cone.Re + network.cone.force_factor**2 * moving))
    made = [x for x in lows.tolist() if np.all(np.abs(grid[there] / x - 1) > OTHER_TURN)]
    return made[int(np.argmin(np.abs(impedance(network, np.array(made)))))] if made else None


def _without_faint(found: list[Spot], faint: set[float]) -> list[Spot]:
    """Leave out the peaks of resonances too weak to be listed, each with the dip beside it that it hardly parts from.

    ``faint``: where they are [Hz].
    """
    kept = list(found)
    for spot in found:
        if spot.kind != "peak" or spot.frequency not in faint:
            continue
        i = kept.index(spot)
        beside = [j for j in (i - 1, i + 1) if 0 <= j < len(kept) and kept[j].kind == "dip"]
        if beside:
            j = min(beside, key=lambda j: abs(abs(kept[j].impedance / spot.impedance) - 1))
            kept = [other for k, other in enumerate(kept) if k not in (i, j)]
    return kept


def _near(natural: ComplexArray, omega: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return points around natural frequencies, finer than the grid: up to four half-widths away, closest inside."""
    step = np.linspace(-1, 1, 33)
    points = (natural.real[:, None] + 4 * natural.imag[:, None] * step * np.abs(step)).ravel()
    return np.asarray(points[(points > omega[0]) & (points < omega[-1])])


def _guesses(extrema: NDArray[np.float64], natural: ComplexArray) -> ComplexArray:
    """Return starts for the extrema that have no natural frequency yet: very sharp, sharp and broad ones."""
    paired = _paired(extrema, natural)
    bare = np.array([x for x in extrema.tolist() if x not in paired])
    return np.asarray((bare[:, None] * (1 + 1j * np.array(_WIDTHS))).ravel())


def motional(network: Network, omega: NDArray[Any], moving: ComplexArray) -> ComplexArray:
    """Return the electrical impedance of one driver [ohm] from the cone's mobility, (n,)."""
    return np.asarray(network.cone.coil(omega) + network.cone.force_factor**2 * moving)


def impedance(network: Network, omega: NDArray[Any]) -> ComplexArray:
    """Return the electrical impedance of one driver [ohm], (n,)."""
    return motional(network, omega, mobility(network, omega))


def extrema(
    network: Network, grid: NDArray[np.float64], size: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the maxima and minima of |Z| [rad/s] that show in ``size`` on a grid (n,) [rad/s], placed to 1e-7."""
    high, low = turns(size)
    middle = np.concatenate([high, low])
    rises = np.arange(len(middle)) < len(high)
    found = _settle(network, grid[middle - 1], grid[middle], grid[middle + 1], rises)
    return found[: len(high)], found[len(high) :]


def turns(size: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return where samples have their maxima and their minima, ends left out."""
    high = np.flatnonzero((size[1:-1] > size[:-2]) & (size[1:-1] >= size[2:])) + 1
    low = np.flatnonzero((size[1:-1] < size[:-2]) & (size[1:-1] <= size[2:])) + 1
    return high, low


def vertex(frequency: NDArray[np.float64], values: NDArray[np.float64], i: int) -> tuple[float, float]:
    """Return frequency and value at the vertex of the parabola through a turn ``i`` and its neighbours, over log f."""
    x, y = np.log(frequency[i - 1 : i + 2]), values[i - 1 : i + 2]
    a, b, c = np.polyfit(x - x[1], y, 2)
    if a == 0:
        return float(frequency[i]), float(values[i])
    return float(frequency[i] * np.exp(-b / (2 * a))), float(c - b**2 / (4 * a))


def _settle(
    network: Network, low: NDArray[np.float64], omega: NDArray[np.float64], high: NDArray[np.float64],
    rises: NDArray[np.bool_],
) -> NDArray[np.float64]:  # fmt: skip
    """Find the zero of d ln|Z|/dw between ``low`` and ``high``, (n,) each: Newton, or bisection where it leaves.

    ``rises``: whether |Z| does from ``low`` on.
    """
    low, high = low.copy(), high.copy()
    if not len(omega):
        return omega
    for _ in range(40):
        rise, change = steepness(network, omega)
        same = (rise > 0) == rises
        low, high = np.where(same, omega, low), np.where(same, high, omega)
        new = omega - rise / change
        new = np.where((new > low) & (new < high), new, (low + high) / 2)
        still = np.all(np.abs(new - omega) < 1e-7 * omega)
        omega = new
        if still:
            break
    return omega


def steepness(network: Network, omega: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return d ln|Z|/dw [s] and its own derivative [s^2] at ``omega`` (n,) [rad/s]; zero at an extremum."""
    return steepness_of(omega, impedance(network, surroundings(omega)))


def surroundings(omega: NDArray[np.float64]) -> ComplexArray:
    """Return the four points around each of ``omega`` (n,) [rad/s] that its derivatives are taken from, (4 n,)."""
    return np.concatenate([omega * (1 + _STEP * 1j**k) for k in range(4)])


def steepness_of(
    omega: NDArray[np.float64], around: ComplexArray
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return d ln|Z|/dw [s] and its own derivative [s^2] at ``omega`` (n,) from the impedances ``around`` (4 n,).

    Cauchy's integrals over a circle in the plane of complex frequency, by four points: the error falls with the fourth
    power of the step over the half-width (Lyness & Moler 1967, SIAM J. Numer. Anal. 4, 202).
    """
    h, z = _STEP * omega, around.reshape(4, -1)
    middle = z.mean(axis=0)
    slope, bend = (sum(z[k] * 1j ** (-n * k) for k in range(4)) / (4 * h**n) for n in (1, 2))
    return (slope / middle).real, (2 * bend / middle - (slope / middle) ** 2).real


def _paired(extrema: NDArray[np.float64], natural: ComplexArray) -> dict[float, complex]:
    """Give each extremum the natural frequency behind it, if one is near enough."""
    distance = np.abs(natural.real[None, :] / extrema[:, None] - 1)
    wide = 1.5 * natural.imag[None, :] / extrema[:, None]
    pull = np.abs(natural[None, :] / extrema[:, None] - 1)  # in the complex plane: the sharper of two is the nearer
    behind = matching(np.where(distance < np.maximum(_NEAR, wide), pull, np.inf), _ALONE)
    return {float(extrema[i]): complex(natural[j]) for i, j in behind.items()}


def matching(distance: NDArray[np.float64], limit: float) -> dict[int, int]:
    """Return the best one-to-one pairing {row: column} of a table of distances; infinite ones are never paired.

    A row that stays alone counts as ``limit``.
    """
    from scipy.optimize import linear_sum_assignment

    rows, columns = linear_sum_assignment(np.minimum(distance, limit))
    return {int(i): int(j) for i, j in zip(rows, columns, strict=True) if np.isfinite(distance[i, j])}


def heights(network: Network, natural: ComplexArray, size: NDArray[np.float64] | None = None) -> NDArray[np.float64]:
    """Return by what share of it each free resonance (n,) [rad/s] changes the impedance: its residue (n,).

    ``size`` (n,): |Z| there, where it is known.
    """
    if not len(natural):
        return np.zeros(0)
    turn = np.exp(2j * np.pi * np.arange(8) / 8)
    gap = np.min(np.abs(natural[:, None] - natural[None, :]) + np.eye(len(natural)) * np.abs(natural), axis=1)
    circle = np.minimum(0.3 * natural.imag, 0.3 * gap)[:, None] * turn
    moving = mobility(network, (natural[:, None] + circle).ravel()).reshape(circle.shape)
    residue = network.cone.force_factor**2 * (moving * circle).mean(axis=1)
    size = np.abs(impedance(network, natural.real)) if size is None else size
    return np.asarray(np.abs(residue) / natural.imag / size)
