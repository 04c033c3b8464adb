"""Where a misfit comes from that no free value explains: one change of the box after the other is tried."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from airpath.case.schema import Case
from airpath.measured.solution import Solution
from airpath.measured.squares import Squares


@dataclass(frozen=True, kw_only=True)
class Suspect:
    """One change of the box and how well the sweep is met with it: ``score``, lower is better."""

    change: str
    elements: tuple[str, ...]
    text: str
    rms: float
    score: float


@dataclass(frozen=True, kw_only=True)
class Misfit:
    """The suspects, the likeliest first; ``sure``: no other comes near; ``text``: the verdict."""

    suspects: list[Suspect]
    sure: bool
    text: str

    def to_dict(self) -> dict[str, Any]:
        """Return it under the names of the result."""
        return {"sure": self.sure, "text": self.text, "suspects": [asdict(one) for one in self.suspects]}


def misfit(case: Case, squares: Squares, found: Solution) -> Misfit | None:
    """Return where the misfit comes from."""
    return None
