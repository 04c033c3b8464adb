"""What fills the spaces of a case, as the acoustics takes it: its air and its stuffing."""

from __future__ import annotations

from airpath.acoustics.porous import Fill
from airpath.air import Air, air_at
from airpath.case.schema import Case, Chamber, Horn


def case_air(case: Case) -> Air:
    """Return the air of a case."""
    return air_at(case.air.temperature, case.air.pressure, case.air.relative_humidity)


def fill_of(table: Chamber | Horn) -> Fill | None:
    """Return the stuffing of a chamber or along a horn; None where there is none."""
    return None if table.fill is None else Fill(**table.fill.model_dump())
