"""The public names are what they promise, whatever of the package has been imported before."""

from __future__ import annotations

import importlib
import pkgutil

import airpath


def test_public_functions_stay_functions():
    for module in pkgutil.walk_packages(airpath.__path__, "airpath."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    for name in ("load", "solve", "predict", "ports", "modes", "explain", "fit"):
        assert callable(getattr(airpath, name)), name
    assert set(airpath.__all__) <= {name for name in airpath.__all__ if hasattr(airpath, name)}
