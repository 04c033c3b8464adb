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
    from airpath.errors import AccuracyError, AirpathError, CaseError, FidelityError, GeometryError, SweepError
    from airpath.findings.designs.cover import Covering, cover
    from airpath.findings.designs.rank import CommonDrive, Ranking, rank
    from airpath.findings.designs.scaling import Scaling, compare_scales
    from airpath.findings.explaining.explain import Feature, explain
    from airpath.findings.explaining.explanation import Explanation, explanation
    from airpath.findings.folding.fold import Fold, fold
    from airpath.findings.modes import ModeTable, modes
    from airpath.findings.predict import Prediction, ports, predict
    from airpath.measured.compare import Comparison, compare
    from airpath.measured.drivers.driver import DriverValues, driver_values
    from airpath.measured.fitting.fit import CoveredSweep, fit
    from airpath.measured.fitting.fitresult import FitResult
    from airpath.measured.reading.sweep import MeasuredSweep, read_sweep
    from airpath.network.respond import solve
    from airpath.network.response import Response

__version__ = "0.1.0"

_HOMES = {
    "load": "case", "Case": "case", "solve": "network.respond", "Response": "network.response",
    "explain": "findings.explaining.explain", "Feature": "findings.explaining.explain",
    "explanation": "findings.explaining.explanation", "Explanation": "findings.explaining.explanation",
    "predict": "findings.predict", "Prediction": "findings.predict", "ports": "findings.predict",
    "cover": "findings.designs.cover", "Covering": "findings.designs.cover",
    "rank": "findings.designs.rank", "Ranking": "findings.designs.rank", "CommonDrive": "findings.designs.rank",
    "modes": "findings.modes", "ModeTable": "findings.modes",
    "compare": "measured.compare", "Comparison": "measured.compare",
    "fold": "findings.folding.fold", "Fold": "findings.folding.fold",
    "driver_values": "measured.drivers.driver", "DriverValues": "measured.drivers.driver",
    "fit": "measured.fitting.fit", "CoveredSweep": "measured.fitting.fit", "FitResult": "measured.fitting.fitresult",
    "read_sweep": "measured.reading.sweep", "MeasuredSweep": "measured.reading.sweep",
    "AirpathError": "errors", "CaseError": "errors", "FidelityError": "errors", "AccuracyError": "errors",
    "GeometryError": "errors", "SweepError": "errors",
    "scaled": "case.scaling", "compare_scales": "findings.designs.scaling", "Scaling": "findings.designs.scaling",
}  # fmt: skip

__all__ = [
    "AccuracyError", "AirpathError", "Case", "CaseError", "CommonDrive", "Comparison", "CoveredSweep", "Covering",
    "DriverValues", "Explanation", "Feature", "FidelityError", "FitResult", "Fold", "GeometryError", "MeasuredSweep",
    "ModeTable", "Prediction", "Ranking", "Response", "Scaling", "SweepError", "compare", "compare_scales", "cover",
    "driver_values", "explain", "explanation", "fit", "fold", "load", "modes", "ports", "predict", "rank",
    "read_sweep", "scaled", "solve",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load a public name from its module."""
    if name not in _HOMES:
        raise AttributeError(f"module 'airpath' has no attribute {name!r}")
    return getattr(import_module(f"airpath.{_HOMES[name]}"), name)


def __dir__() -> list[str]:
    """Return the public names, loaded or not."""
    return [*__all__, "__version__"]
