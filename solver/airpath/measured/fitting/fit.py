"""Which dimensions, driver values and losses explain a measured impedance sweep, and how well each is then known."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from airpath.case.problem import nearest
from airpath.case.schema import Case
from airpath.errors import CaseError, FidelityError, SweepError
from airpath.measured.fitting.covariance import Errors, ties
from airpath.measured.fitting.fitresult import FitCurve, FitResult, FittedValue
from airpath.measured.fitting.fitwords import SUSPICIOUS, cautions, how_sure, summary
from airpath.measured.fitting.freedom import DRIVER_TOLERANCE, TOLERANCE
from airpath.measured.fitting.misfit import Misfit, misfit
from airpath.measured.fitting.setting import Setting, Widths, setting
from airpath.measured.fitting.solution import Solution, solve
from airpath.measured.fitting.squares import Squares, Target
from airpath.measured.fitting.tracing import refined
from airpath.measured.reading.checks import with_coil
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.network.build import label

_MOST_POINTS = 2000  # of a sweep; more are thinned
_FEWEST_POINTS = 8
_CLOSER = 0.75  # of the difference as drawn: what another model must come down to, to be worth a word
_INTERVAL = 1.96  # standard deviations
_SEEN = 0.7  # of the prior's width: a value known no better than this was not seen


@dataclass(frozen=True, kw_only=True)
class CoveredSweep:
    """A measured sweep of the box with the openings named in ``covered`` capped."""

    measured: MeasuredSweep
    covered: tuple[str, ...] = ()


def fit(
    case: Case,
    sweeps: MeasuredSweep | CoveredSweep | Sequence[MeasuredSweep | CoveredSweep],
    free: str | Iterable[str] | None = None,
    tolerance: float = TOLERANCE,
    driver_tolerance: float = DRIVER_TOLERANCE,
    model: str = "line",
    widths: Mapping[str, float] | None = None,
    localise: bool = True,
) -> FitResult:
    """Fit values of a case to sweeps of the built box: least squares of ln Z, with normal priors at the case's values.

    ``free``: names, their ends or patterns ("ports.nose.length", "nose.length", "driver.*"; "NAME=3 mm" or "NAME=5 %"
    states how far it may be off), or "auto" (also None): what the sweeps can tell apart. ``tolerance`` [m] and
    ``driver_tolerance``: standard deviation of a dimension and, relative, of a driver value; ``widths`` [SI] by full
    name override them, 0 says that a value is exact. ``model``: the fidelity. ``localise``: look for the part that a
    remaining misfit comes from. An inductance that the case lacks and the first sweep shows is fitted too.
    Standard errors count the noise, and what the values that are not free may be off by.
    Raises CaseError, SweepError, FidelityError or AccuracyError, ValueError for a tolerance below zero.
    Source: Seber & Wild 1989, Nonlinear Regression, ch. 2 and 3 (errors of fitted values, priors as observations),
    from memory.
    Checked by: cases/test_fit_recovers, cases/test_fit_misfit.
    """
    given = [sweeps] if isinstance(sweeps, MeasuredSweep | CoveredSweep) else list(sweeps)
    if not given:
        raise CaseError(f"{label(case)}: fit: expected a sweep of the built box, or several")
    each = [CoveredSweep(measured=s) if isinstance(s, MeasuredSweep) else s for s in given]
    targets, shown, notes = [], [], []
    for one in each:
        used, note = _used(case, one)
        targets.append(target(case, used))
        shown.append(used)
        notes += note
    own = Widths(tolerance=tolerance, driver=driver_tolerance, own=widths or {})
    coiled, lacking = with_coil(case, shown[0].measured)
    notes += [doubt.text for doubt in lacking]
    asked = setting(case, free, own, targets, model, coiled)
    squares = Squares(case=asked.case, model=model, free=asked.free, targets=targets)
    found = solve(squares)
    held = found.errors(squares.linear(found.u, asked.held)[1])
    odd = found.structural or bool(np.any(np.abs(found.u) > SUSPICIOUS))
    left = misfit(squares, asked.held, found.channels) if odd and localise else None
    closer = _closer(squares) if localise else []
    return _result(case, asked, squares, found, held, shown, left, notes, closer)


def _closer(squares: Squares) -> list[str]:
    """Return the warning that waves which the line model lacks bring a case closer to its sweeps, as drawn."""
    if squares.model != "line" or any(chamber.outline for chamber in squares.case.chambers.values()):
        return []
    zero = np.zeros(len(squares.free))
    try:
        rms = [_size(squares, replace(squares, model=name).residual(zero)) for name in ("line", "field")]
    except FidelityError:
        return []
    if rms[1] > _CLOSER * rms[0]:
        return []
    sizes = f"{100 * rms[1]:.2g} % against {100 * rms[0]:.2g} %"
    return [f"As drawn, the field model comes closer to the sweep than the line model does ({sizes}): values may stand "
            "in for waves that the line model lacks. Try --model field."]  # fmt: skip


def target(case: Case, sweep: CoveredSweep) -> Target:
    """Return a sweep as the fit's target. Raises CaseError for a covered opening that the case doesn't have."""
    for name in sweep.covered:
        if name not in case.ports:
            why = f'no port "{name}" that could be covered; {nearest(name, case.ports, "port")}'
            if name in case.horns:
                why = f'"{name}" is a horn; a fit takes sweeps with ports covered, not with the mouth of a horn covered'
            raise CaseError(f"{label(case)}: {why}")
    measured = sweep.measured
    impedance = measured.impedance
    curve = np.log(measured.magnitude if impedance is None else impedance)
    return Target(omega=2 * np.pi * measured.frequency, log_impedance=curve, covered=sweep.covered)


def _used(case: Case, sweep: CoveredSweep) -> tuple[CoveredSweep, list[str]]:
    """Return the points of a sweep that the fit uses: those inside the case's own sweep, at most 2,000."""
    measured, band, notes = sweep.measured, case.sweep, []
    inside = np.flatnonzero((measured.frequency >= band.start) & (measured.frequency <= band.stop))
    if len(inside) < _FEWEST_POINTS:
        raise SweepError(
            f"{measured.source.name}: {len(inside)} of its {len(measured.frequency)} points lie in the case's sweep, "
            f"{band.start:g} to {band.stop:g} Hz; expected at least {_FEWEST_POINTS}"
        )
    if len(inside) < len(measured.frequency):
        notes.append(f"{measured.source.name}: {len(inside)} of {len(measured.frequency)} points are used, those from "
                     f"{band.start:g} to {band.stop:g} Hz, the case's own sweep.")  # fmt: skip
    if len(inside) > _MOST_POINTS:
        inside = inside[:: int(np.ceil(len(inside) / _MOST_POINTS))]
        notes.append(f"{measured.source.name}: thinned to {len(inside)} points.")
    return CoveredSweep(measured=measured.part(inside), covered=sweep.covered), notes


def _result(
    case: Case, asked: Setting, squares: Squares, found: Solution, errors: Errors,
    shown: list[CoveredSweep], left: Misfit | None, notes: list[str],
    closer: list[str],
) -> FitResult:  # fmt: skip
    values = [_value(asked, squares, found, i, errors) for i in range(len(asked.free))]
    curves = [_curve(squares, i, sweep, found) for i, sweep in enumerate(shown)]
    before, after = _size(squares, found.before), _size(squares, found.left)
    pairs = ties([value.name for value in values], errors.total)
    fitted = _without_unseen_leaks(squares.at(found.u), values)
    noise = float(np.sqrt(np.mean([curve.noise**2 for curve in curves])))
    return FitResult(
        case=fitted, before=case, model=squares.model, values=values, ties=pairs, choices=asked.choices, curves=curves,
        rms_error_before=before, rms_error_after=after, noise=noise, misfit=left,
        structural=found.structural,
        summary=summary(values, asked.choices, pairs, before, after, noise, found.structural, left),
        warnings=[*closer, *cautions(values, found.structural)], notes=notes,
    )  # fmt: skip


def _size(squares: Squares, left: NDArray[np.float64]) -> float:
    """Return the rms of the magnitudes in a residual (rows,)."""
    sizes = [rows for rows, first in zip(squares.channels, _magnitudes(squares), strict=True) if first]
    return float(np.sqrt(np.mean(np.concatenate([left[rows] for rows in sizes]) ** 2)))


def _magnitudes(squares: Squares) -> list[bool]:
    """Return which channels are magnitudes."""
    return [first for t in squares.targets for first in (True, False)[: t.channels]]


def _curve(squares: Squares, i: int, sweep: CoveredSweep, found: Solution) -> FitCurve:
    measured, one = sweep.measured, squares.targets[i]
    before, after = (np.exp(squares.curve(u, i)) for u in (np.zeros(len(found.u)), found.u))
    channel = sum(t.channels for t in squares.targets[:i])
    said = found.channels[channel]
    impedance = measured.magnitude if one.channels == 1 else measured.impedance
    assert impedance is not None
    return FitCurve(
        source=measured.source, covered=sweep.covered, frequency=measured.frequency, measured=impedance,
        before=before, after=after, noise=said.noise if found.structural else said.rms, rms=said.rms,
    )  # fmt: skip


def _value(asked: Setting, squares: Squares, found: Solution, i: int, errors: Errors) -> FittedValue:
    one, u = asked.free[i], float(found.u[i])
    alone, whole = (float(np.sqrt(c[i, i])) for c in (errors.noise, errors.total))
    most = max(1.0, abs(u))  # prior widths: a held value takes nothing from what was known before
    deviation = min(whole, most)
    seen, ends = whole < _SEEN, (u - _INTERVAL * deviation, u + _INTERVAL * deviation)
    if one.is_leak:
        tried = refined(squares, i, found.weights, found.u, alone, found.profiles[i])
        (left, right), wider, known = tried.interval(), whole / alone, _INTERVAL * most
        ends = (min(left, max(u + (left - u) * wider, -known)), max(right, min(u + (right - u) * wider, known)))
        seen = tried.seen and seen
    low, high = 0.0 if one.is_leak and not seen else one.value(ends[0]), one.value(ends[1])
    worst = asked.held[int(np.argmax(np.abs(errors.carried[i])))].parameter.name if asked.held else ""
    hangs_on = worst if alone < _SEEN <= whole and not one.is_leak else ""
    return FittedValue(
        name=one.parameter.name, value=one.value(u), was=None if one.new else one.parameter.value,
        std=one.spread(u, deviation), std_noise=one.spread(u, alone), width=one.width, seen=seen, hangs_on=hangs_on,
        pull=u, low=low, high=high, unit=one.parameter.unit, si=one.parameter.si,
        text=how_sure(one, u, deviation, seen, hangs_on, high),
    )  # fmt: skip


def _without_unseen_leaks(case: Case, values: list[FittedValue]) -> Case:
    """Return the case without the leaks that were looked for and not seen."""
    for value in values:
        if value.was is None and not value.seen and "leak" in value.name:
            chamber = value.name.split(".")[1]
            table = case.chambers[chamber].model_copy(update={"leak": None})
            case = case.model_copy(update={"chambers": {**case.chambers, chamber: table}})
    return case
