"""What a fit found: values with their errors, curves before and after, what can't be told apart, what is left."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.case.edit import differences, edited
from airpath.case.schema import Case
from airpath.measured.fitting.auto import Choice
from airpath.measured.fitting.covariance import Tie
from airpath.measured.fitting.misfit import Misfit

_Complex = NDArray[np.complex128]


@dataclass(frozen=True, kw_only=True)
class FittedValue:
    """One fitted value in SI: ``was`` None for what the case doesn't have; ``std`` its standard error, of which
    ``std_noise`` would be left if all that was held were exact; ``width`` that of its prior; ``seen``: the sweep says
    more of it than the prior; ``hangs_on``: the held value that keeps it from that, or ""; ``pull``: how many prior
    widths it moved; ``low``, ``high``: its 95 % interval. ``unit`` of ``si`` SI units each is for showing; ``text``
    says how sure it is.
    """

    name: str
    value: float
    was: float | None
    std: float
    std_noise: float
    width: float
    seen: bool
    hangs_on: str
    pull: float
    low: float
    high: float
    unit: str
    si: float
    text: str

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the result: every number in ``unit``, a plain number if that is empty."""
        shown = {key: getattr(self, key) / self.si for key in ("value", "std", "std_noise", "width", "low", "high")}
        was = None if self.was is None else self.was / self.si
        words = {key: getattr(self, key) for key in ("unit", "seen", "hangs_on", "pull", "text")}
        return {**shown, "was": was, **words}


@dataclass(frozen=True, kw_only=True)
class FitCurve:
    """One sweep: ``measured``, ``before`` and ``after`` (n,) [ohm], complex, or real if only the magnitude is known;
    ``noise`` and ``rms``: relative, of the magnitude."""

    source: Path
    covered: tuple[str, ...]
    frequency: NDArray[np.float64]
    measured: _Complex | NDArray[np.float64]
    before: _Complex
    after: _Complex
    noise: float
    rms: float

    @property
    def residual(self) -> _Complex:
        """ln of measured over fitted impedance (n,): magnitude in its real part, phase [rad] in the other."""
        ratio = self.measured / (self.after if np.iscomplexobj(self.measured) else np.abs(self.after))
        return np.log(ratio.astype(np.complex128))


@dataclass(frozen=True, kw_only=True)
class FitResult:
    """A fit of ``before`` to its sweeps; ``case`` holds the fitted values.

    ``ties``: pairs that the sweeps can't tell apart; ``choices``: why values were taken or left, if the data chose;
    ``rms_error_before`` and ``after``: of ln |Z|, relative; ``noise``: its scatter; ``structural``: what is left is
    no noise, and ``misfit`` says where it may come from; ``summary``, ``warnings`` and ``notes``: sentences.
    """

    case: Case
    before: Case
    model: str
    values: list[FittedValue]
    ties: list[Tie]
    choices: list[Choice]
    curves: list[FitCurve]
    rms_error_before: float
    rms_error_after: float
    noise: float
    structural: bool
    misfit: Misfit | None
    summary: list[str]
    warnings: list[str]
    notes: list[str]

    def __getitem__(self, name: str) -> FittedValue:
        """Return a value by its full name."""
        return next(value for value in self.values if value.name == name)

    def to_dict(self) -> dict[str, Any]:
        """Return the result under the names of ``fit.json``."""
        return {
            "title": self.before.title,
            "model": self.model,
            "parameters": {value.name: value.to_dict() for value in self.values},
            "rms_error_before": self.rms_error_before,
            "rms_error_after": self.rms_error_after,
            "noise": self.noise,
            "points": sum(len(curve.frequency) for curve in self.curves),
            "sweeps": [_sweep(curve) for curve in self.curves],
            "correlated": [asdict(tie) for tie in self.ties],
            "choices": [asdict(choice) for choice in self.choices],
            "structural": self.structural,
            "misfit": None if self.misfit is None else self.misfit.to_dict(),
            "summary": self.summary,
            "warnings": self.warnings,
            "notes": self.notes,
        }

    def written(self, text: str) -> str:
        """Return the text of the case file with the fitted values in it; comments and layout stay."""
        return edited(text, differences(text, self.before, self.case))


def _sweep(curve: FitCurve) -> dict[str, Any]:
    left = curve.residual
    return {
        "source": curve.source.name,
        "covered": list(curve.covered),
        "frequency_hz": curve.frequency.tolist(),
        "measured_ohm": np.abs(curve.measured).tolist(),
        "before_ohm": np.abs(curve.before).tolist(),
        "after_ohm": np.abs(curve.after).tolist(),
        "residual_relative": left.real.tolist(),
        "residual_phase_rad": left.imag.tolist() if np.iscomplexobj(curve.measured) else None,
        "noise": curve.noise,
        "rms_error": curve.rms,
    }
