"""airpath: predicts and explains what the air in a loudspeaker box does.

>>> import airpath
>>> case = airpath.load("cases/rumble-bench.toml")  # doctest: +SKIP
>>> response = airpath.solve(case, model="line")  # doctest: +SKIP

The names below load their modules on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from airpath.case import Case, load
    from airpath.case.scaling import scaled
    from airpath.errors import AccuracyError, AirpathError, CaseError, FidelityError, SweepError
    from airpath.findings.cover import Covering, cover
    from airpath.findings.explain import Feature, explain
    from airpath.findings.explanation import Explanation, explanation
    from airpath.findings.fold import Fold, fold
    from airpath.findings.modes import ModeTable, modes
    from airpath.findings.predict import Prediction, ports, predict
    from airpath.findings.rank import CommonDrive, Ranking, rank
    from airpath.findings.scaling import Scaling, compare_scales
    from airpath.measured.compare import Comparison, compare
    from airpath.measured.driver import DriverValues, driver_values
    from airpath.measured.fit import fit
    from airpath.measured.fitresult import FitResult
    from airpath.measured.sweep import MeasuredSweep, read_sweep
    from airpath.network.respond import solve
    from airpath.network.response import Response

__version__ = "0.1.0"

_HOMES = {
    "load": "case", "Case": "case", "solve": "network.respond", "Response": "network.response",
    "explain": "findings.explain", "Feature": "findings.explain",
    "explanation": "findings.explanation", "Explanation": "findings.explanation",
    "predict": "findings.predict", "Prediction": "findings.predict", "ports": "findings.predict",
    "cover": "findings.cover", "Covering": "findings.cover",
    "rank": "findings.rank", "Ranking": "findings.rank", "CommonDrive": "findings.rank",
    "modes": "findings.modes", "ModeTable": "findings.modes",
    "compare": "measured.compare", "Comparison": "measured.compare",
    "fold": "findings.fold", "Fold": "findings.fold",
    "driver_values": "measured.driver", "DriverValues": "measured.driver",
    "fit": "measured.fit", "FitResult": "measured.fitresult",
    "read_sweep": "measured.sweep", "MeasuredSweep": "measured.sweep",
    "AirpathError": "errors", "CaseError": "errors", "FidelityError": "errors", "AccuracyError": "errors",
    "SweepError": "errors",
    "scaled": "case.scaling", "compare_scales": "findings.scaling", "Scaling": "findings.scaling",
}  # fmt: skip

__all__ = [
    "AccuracyError", "AirpathError", "Case", "CaseError", "CommonDrive", "Comparison", "Covering", "DriverValues",
    "Explanation", "Feature", "FidelityError", "FitResult", "Fold", "MeasuredSweep", "ModeTable", "Prediction",
    "Ranking", "Response", "Scaling", "SweepError", "compare", "compare_scales", "cover", "driver_values",
    "explain", "explanation", "fit", "fold", "load", "modes", "ports", "predict", "rank", "read_sweep", "scaled",
    "solve",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load a public name from its module."""
    if name not in _HOMES:
        raise AttributeError(f"module 'airpath' has no attribute {name!r}")
    return getattr(import_module(f"airpath.{_HOMES[name]}"), name)
