"""What every acoustic element promises, and the registry that finds them.

Conventions, the same everywhere: time factor e^{+j w t}; pressure p in Pa, volume velocity U in m^3/s, both RMS;
U is positive from a space into the element. An element with n terminals is its admittance matrix, U = Y p.

Invariants tested for every registered element: Y is symmetric (reciprocity), its Hermitian part is positive
semi-definite (passivity), and Y is analytic in w, so that complex natural frequencies can be looked for.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from airpath.air import Air

ComplexArray = NDArray[np.complex128]
Omega = NDArray[Any]  # angular frequency [rad/s], shape (n,), real or complex

REGISTRY: dict[str, type[Element]] = {}


@dataclass(frozen=True, kw_only=True)
class Element(ABC):
    """One acoustic part with a fixed number of terminals.

    Subclasses are frozen dataclasses in a file of their own; setting ``kind`` registers them.
    """

    kind: ClassVar[str] = ""

    def __init_subclass__(cls, **options: Any) -> None:
        super().__init_subclass__(**options)
        if cls.kind:
            REGISTRY[cls.kind] = cls

    @property
    @abstractmethod
    def terminals(self) -> int:
        """Number of terminals."""

    @abstractmethod
    def admittance(self, omega: Omega, air: Air) -> ComplexArray:
        """Return Y [m^3/(s Pa)], shape (len(omega), terminals, terminals); ``omega`` in rad/s, shape (n,)."""

    def storage(self, omega: Omega, air: Air) -> ComplexArray:
        """Return what a uniform pressure drives in at all terminals together [m^3/(s Pa)], (n,): j w kappa V."""
        return np.asarray(self.admittance(omega, air).sum(axis=(1, 2)))

    @classmethod
    @abstractmethod
    def examples(cls) -> list[Element]:
        """Return a few typical instances, for the tests that run over every registered element."""


def series(impedance: ComplexArray) -> ComplexArray:
    """Return the two-terminal admittance (n, 2, 2) of one series impedance Z [Pa s/m^3], shape (n,)."""
    y = 1.0 / impedance
    return two_port(y, -y, y)


def two_port(y11: ComplexArray, y12: ComplexArray, y22: ComplexArray) -> ComplexArray:
    """Return a reciprocal two-terminal admittance (n, 2, 2) from its three entries, each of shape (n,)."""
    matrix = np.empty((*y11.shape, 2, 2), dtype=np.complex128)  # ten times quicker than stacking
    matrix[..., 0, 0], matrix[..., 1, 1] = y11, y22
    matrix[..., 0, 1] = matrix[..., 1, 0] = y12
    return matrix


def cascade(stages: list[ComplexArray]) -> ComplexArray:
    """Join two-terminal admittances (n, 2, 2) end to end and return that of the whole.

    The inner joint is eliminated (its net flow is zero): stable for short and for strongly damped stages alike.
    """
    whole = stages[0]
    for stage in stages[1:]:
        joint = whole[:, 1, 1] + stage[:, 0, 0]
        whole = two_port(
            whole[:, 0, 0] - whole[:, 0, 1] ** 2 / joint,
            -whole[:, 0, 1] * stage[:, 0, 1] / joint,
            stage[:, 1, 1] - stage[:, 0, 1] ** 2 / joint,
        )
    return whole
