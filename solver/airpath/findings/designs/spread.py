"""How far a millimetre of the workshop and five per cent of the driver move the levels of a design."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from airpath.case.parameters import Parameter, parameters
from airpath.case.schema import Case
from airpath.errors import AirpathError
from airpath.network.response import FloatArray

MILLIMETRE, DRIVER_SHARE = 1e-3, 0.05


@dataclass(frozen=True, kw_only=True)
class Spread:
    """Change of the mean level [dB] when one value is off: ``dimensions`` by 1 mm, ``driver`` by 5 %, by name.

    Half the difference between a value too large and too small: a slope taken over the very step that it is for.
    ``values``: those of the driver.
    """

    dimensions: dict[str, float]
    driver: dict[str, float]
    values: dict[str, float]

    @property
    def whole(self) -> float:
        """All of them together, as independent errors: the root of the sum of squares [dB]."""
        return float(np.sqrt(sum(x**2 for x in (*self.dimensions.values(), *self.driver.values()))))

    def between(self, other: Spread) -> float:
        """Return how far the difference of two designs moves [dB].

        Each box has its own millimetres. The same driver in both has the same spread in both, which partly cancels.
        """
        parts = [*self.dimensions.values(), *other.dimensions.values()]
        if self.values == other.values:
            parts += [self.driver[name] - other.driver[name] for name in self.driver]
        else:
            parts += [*self.driver.values(), *other.driver.values()]
        return float(np.sqrt(sum(x**2 for x in parts)))

    @property
    def most(self) -> str:
        """The value that moves the mean level most."""
        every = {**self.dimensions, **self.driver}
        return max(every, key=lambda name: abs(every[name]), default="")


def spread_of(case: Case, levels: Callable[[Case], FloatArray]) -> Spread:
    """Return the spread of a design; ``levels``: returns what it is of, (tones,) [dB], for a changed case."""
    dimensions, driver, values = {}, {}, {}
    for name, parameter in parameters(case).items():
        if parameter.kind == "driver":
            values[name] = parameter.value
            driver[name] = _change(parameter, DRIVER_SHARE * parameter.value, levels)
        elif parameter.kind == "dimension":
            dimensions[name] = _change(parameter, MILLIMETRE * parameter.per_metre, levels)
    return Spread(dimensions=dimensions, driver=driver, values=values)


def _change(parameter: Parameter, step: float, levels: Callable[[Case], FloatArray]) -> float:
    """Return the change of the mean level per step; one-sided where the other side can't be built."""
    if step == 0.0:
        return 0.0
    found: list[tuple[float, float]] = []
    for sign in (1.0, -1.0):
        value = parameter.value + sign * step
        if not parameter.low <= value <= parameter.high:
            continue
        try:
            found.append((sign, float(levels(parameter.changed(value)).mean())))
        except AirpathError:
            continue  # a port pushed out of its wall, say
    if len(found) < 2:
        here = float(levels(parameter.case).mean())
        return found[0][0] * (found[0][1] - here) if found else 0.0
    return (found[0][1] - found[1][1]) / 2
