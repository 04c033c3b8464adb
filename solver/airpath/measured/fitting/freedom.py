"""Which values of a case may move in a fit, and how far each is expected to be off: its prior width."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from fnmatch import fnmatchcase

import numpy as np

from airpath.case.parameters import Parameter, parameters
from airpath.case.problem import nearest
from airpath.case.schema import Case
from airpath.case.spaces import Leak
from airpath.errors import CaseError
from airpath.network.build import label
from airpath.units import parse_quantity

TOLERANCE = 1e-3  # m: how well a box is built and measured
DRIVER_TOLERANCE = 0.05  # relative: how well a data sheet holds for one driver
LOSS_FACTOR = 2.0  # a loss is known within a factor of this
NEW_LEAK = 1e-3  # m: where the search for a leak starts
_NEW_LEAK_FACTOR = 3.0
_STEP = 1e-6  # of a difference, relative
_FURTHEST = 20.0  # prior widths


@dataclass(frozen=True, kw_only=True)
class Free:
    """One value that may move: value = start * exp(u width / start), or start + u width for a place.

    ``u`` is 0 at the case's own value and has a normal prior of standard deviation 1; ``width`` [SI] is that standard
    deviation in the value itself. ``new``: a leak or an inductance that the
    case doesn't have.
    """

    parameter: Parameter
    width: float
    new: bool = False

    @property
    def scaled(self) -> bool:
        """Whether it moves by factors, so that it stays positive."""
        return self.parameter.kind != "place"

    def value(self, u: float) -> float:
        """Return the value [SI]."""
        start = self.parameter.value
        return start * float(np.exp(u * self.width / start)) if self.scaled else start + u * self.width

    @property
    def is_leak(self) -> bool:
        """Whether it is the width of a leak."""
        return self.parameter.name.endswith("leak.diameter")

    def spread(self, u: float, deviation: float) -> float:
        """Return a standard deviation of u as one of the value [SI]."""
        return deviation * self.width * (self.value(u) / self.parameter.value if self.scaled else 1.0)

    def limits(self) -> tuple[float, float]:
        """Return the range of u: what a case file may hold, within 20 widths."""
        start, ends = self.parameter.value, (self.parameter.low, self.parameter.high)
        low, high = (np.log(max(end, 1e-12) / start) * start if self.scaled else end - start for end in ends)
        return max(low / self.width, -_FURTHEST), min(high / self.width, _FURTHEST)

    def step(self) -> float:
        """Return the step of u for a difference."""
        size = self.parameter.value if self.scaled else max(abs(self.parameter.value), self.width)
        return _STEP * size / self.width

    def put(self, case: Case, value: float) -> Case:
        """Return a case with another value [SI]; ``case`` may differ from the one that the parameter was read from."""
        if self.scaled and self.parameter.path[0] == "chambers" and self.parameter.path[2] == "size":
            size = case.chambers[str(self.parameter.path[1])].size
            assert size is not None
            return replace(self.parameter, case=case, value=size[int(self.parameter.path[3])]).changed(value)
        return replace(self.parameter, case=case).changed(value)


def with_leak(case: Case, chamber: str) -> Case:
    """Return a case with a small leak in a chamber that has none."""
    leak = Leak.model_validate({"diameter": f"{NEW_LEAK * 1e3:g} mm"})
    table = case.chambers[chamber].model_copy(update={"leak": leak})
    return case.model_copy(update={"chambers": {**case.chambers, chamber: table}})


def possible(case: Case) -> dict[str, Parameter]:
    """Return every value that may be freed: those of the case, and the leak that a chamber may have."""
    known = parameters(case)
    for name, chamber in case.chambers.items():
        if chamber.leak is None:
            key = f"chambers.{name}.leak.diameter"
            known[key] = parameters(with_leak(case, name))[key]
    return known


def chosen(case: Case, words: Iterable[str]) -> list[str]:
    """Return the full names of the values that words name, in the order of the words.

    A word is a full name ("ports.nose.length"), its end ("nose.length") or a pattern of either ("nose.*"; patterns name
    no places, and no leaks that the case doesn't have). Raises CaseError for a word that names nothing or several.
    """
    known, own = possible(case), parameters(case)
    out: dict[str, None] = {}
    for word in words:
        if "*" in word or "?" in word:
            usual = [name for name, parameter in own.items() if parameter.kind != "place"]
            found = [name for name in usual if fnmatchcase(name, word) or fnmatchcase(name, f"*.{word}")]
        else:
            found = [name for name in known if name == word] or [n for n in known if n.endswith(f".{word}")]
            if len(found) > 1:
                raise CaseError(f'{label(case)}: --free "{word}" names several values: {", ".join(found)}; '
                                "write one of them in full")  # fmt: skip
        if not found:
            raise CaseError(f'{label(case)}: --free "{word}": expected a value of the case; {_near(word, known)}')
        out.update(dict.fromkeys(found))
    return list(out)


def _near(word: str, known: Mapping[str, Parameter]) -> str:
    short = {name.split(".", 1)[1]: name for name in known}
    names = list(known) if word.split(".")[0] in {name.split(".")[0] for name in known} else list(short)
    return nearest(word, names, "value")


def width(
    parameter: Parameter, tolerance: float = TOLERANCE, driver_tolerance: float = DRIVER_TOLERANCE, new: bool = False
) -> float:
    """Return how far a value is expected to be off, one standard deviation [SI].

    A length, an area or a volume: as far as its lengths are off by ``tolerance`` [m] (`Parameter.per_metre`). A value
    of the driver, or a number without a unit: ``driver_tolerance`` of it. A loss, and an inductance that the case
    doesn't have: a factor of two; a leak that it doesn't have: a factor of three about 1 mm.
    """
    value = parameter.value
    if new and parameter.kind != "driver":
        return value * float(np.log(_NEW_LEAK_FACTOR))
    if new or parameter.kind == "loss":
        return value * float(np.log(LOSS_FACTOR))
    if parameter.kind == "driver" or not parameter.dimension:
        return value * driver_tolerance
    return parameter.per_metre * tolerance


def stated_width(case: Case, parameter: Parameter, text: str) -> float:
    """Return the prior width [SI] written in a text, "3 mm" or "5 %". Raises CaseError."""
    try:
        if text.strip().endswith("%"):
            size = abs(parameter.value) * float(text.strip()[:-1]) / 100
        else:
            size = parse_quantity(text, parameter.dimension) if parameter.dimension else float(text)
    except ValueError:
        size = -1.0
    if not 0 < size < np.inf:
        example = f' or "{parameter.name}=1 {parameter.unit}"' if parameter.unit else ""
        raise CaseError(f'{label(case)}: --free "{parameter.name}={text}": expected how far it may be off, as in '
                        f'"{parameter.name}=5 %"{example}')  # fmt: skip
    return size
