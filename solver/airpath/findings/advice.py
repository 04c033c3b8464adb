"""What to change: the smallest change of one dimension that takes a feature off a tone, out of the band, or away."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

from airpath.case.schema import Case
from airpath.network.respond import solve
from airpath.network.response import Response

Aim = Literal["off a tone", "out of the band", "silence", "damp"]


@dataclass(frozen=True, kw_only=True)
class Advice:
    """One change, solved again before it is said: ``parameter`` from ``was`` to ``value``, both in ``unit``.

    ``becomes_hz``: where the feature lies then, None if it is gone; ``changed``: the case with the change in it,
    ``model``: the fidelity of the advice.
    """

    aim: Aim
    parameter: str
    unit: str
    was: float
    value: float
    becomes_hz: float | None
    text: str
    changed: Case
    model: str

    @cached_property
    def response(self) -> Response:
        """The changed box over the sweep, solved when first asked for."""
        return solve(self.changed, self.model)

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the ``explain`` result."""
        keys = ("aim", "parameter", "unit", "was", "value", "becomes_hz", "text")
        return {key: getattr(self, key) for key in keys}
