"""What a case says of its air and its stuffing, as the acoustics takes it."""

from __future__ import annotations

from airpath.acoustics.porous import Fill
from airpath.acoustics.radiation import disc_mass
from airpath.air import Air, air_at
from airpath.case.drivers import Driver
from airpath.case.schema import Case, Chamber, Horn


def case_air(case: Case) -> Air:
    """Return the air of a case."""
    return air_at(case.air.temperature, case.air.pressure, case.air.relative_humidity)


def included_air_mass(driver: Driver) -> float:
    """Return the air [kg] that Mms includes: both sides of a free cone, twice that of a baffled one; reference air."""
    return disc_mass(driver.Sd, air_at().density) * (1 if driver.measured_in == "free air" else 2)


def fill_of(table: Chamber | Horn) -> Fill | None:
    """Return the stuffing of a chamber or along a horn; None where there is none."""
    return None if table.fill is None else Fill(**table.fill.model_dump())
