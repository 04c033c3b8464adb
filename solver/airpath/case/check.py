"""Checks across the tables of a case: what makes the box impossible although each table is fine by itself."""

from __future__ import annotations

import math
import os

from airpath.acoustics.driver import MECHANICAL, SMALL_SIGNAL, MechanicalSet, mechanical_set
from airpath.acoustics.radiation import FLANGED_LENGTH
from airpath.air import Air
from airpath.case.geometry import geometry_problems
from airpath.case.media import case_air, included_air_mass
from airpath.case.openings import Port
from airpath.case.problem import MISSING, Problem
from airpath.case.schema import Case
from airpath.case.surroundings import surroundings_problems
from airpath.case.topology import name_problems, path_problems

_HIGHEST_TUNING = 1000.0  # Hz: a port that tunes higher, and above the sweep, has a wrong unit somewhere


def check(case: Case) -> list[Problem]:
    """Return what is wrong with the case as a whole: names first, since the rest needs them right."""
    names = name_problems(case)
    if names:
        return names
    return [
        *_file_problems(case),
        *_driver_problems(case),
        *path_problems(case),
        *geometry_problems(case),
        *surroundings_problems(case),
        *_tuning_problems(case),
    ]


def _file_problems(case: Case) -> list[Problem]:
    """Files that the case names and that are not there; a case without a file of its own is not asked."""
    if case.source is None:
        return []
    named = [("", "measured", case.measured)]
    named += [(f"chambers.{name}", "outline", chamber.outline) for name, chamber in case.chambers.items()]
    named += [(f"horns.{name}", "outline", horn.outline) for name, horn in case.horns.items()]
    return [
        Problem(
            table=table, key=key, found=path, expected="expected a file that exists, seen from the case file's folder"
        )
        for table, key, path in named
        if path is not None and not os.path.isfile(case.resolve(path))
    ]


def _driver_problems(case: Case) -> list[Problem]:
    driver = case.driver
    try:
        mechanical = mechanical_set(driver.given, driver.Sd, driver.Re)
    except ValueError as error:
        only_mechanical = driver.given and not any(name in driver.given for name in (*SMALL_SIGNAL, "Qts"))
        wanted = MECHANICAL if only_mechanical else SMALL_SIGNAL
        key = next(name for name in wanted if name not in driver.given)
        return [Problem(table="driver", key=key, found=MISSING, expected=f"expected {error}")]
    return _mass_problems(case, mechanical)


def _mass_problems(case: Case, mechanical: MechanicalSet) -> list[Problem]:
    """The measured moving mass includes the air that moved along."""
    air_mass = included_air_mass(case.driver)
    if mechanical.Mms > air_mass:
        return []
    given = case.driver.Mms
    return [
        Problem(
            table="driver",
            key="Sd" if given is None else "Mms",
            found=f"{case.driver.Sd * 1e4:g} cm^2" if given is None else f"{given * 1e3:g} g",
            expected="expected a moving mass above that of the air that moves with the cone, "
            f"{air_mass * 1e3:.3g} g (these values make it {mechanical.Mms * 1e3:.3g} g)",
        )
    ]


def _tuning_problems(case: Case) -> list[Problem]:
    air = case_air(case)
    problems = []
    for name, port in case.ports.items():
        spaces = [case.chambers[space] for space in (port.from_, port.to) if space in case.chambers]
        volumes = [chamber.known_volume for chamber in spaces]
        known = [volume for volume in volumes if volume is not None]
        if not known or len(known) < len(volumes):
            continue
        tuning = port_tuning(port, max(known), air)
        highest = max(case.sweep.stop, _HIGHEST_TUNING)
        if tuning > highest:
            expected = (
                f"expected a Helmholtz tuning below {highest:g} Hz; this port with its chamber of "
                f"{max(known) * 1e3:.4g} L tunes to {tuning:.4g} Hz: is a unit wrong?"
            )
            length = f"{port.length * 1e3:g} mm"
            problems.append(Problem(table=f"ports.{name}", key="length", found=length, expected=expected))
    return problems


def port_tuning(port: Port, volume: float, air: Air) -> float:
    """Return the Helmholtz frequency [Hz] of a port on a chamber of ``volume`` [m^3], to find absurd ones.

    The length counts with both of its ends, each in a wide wall. Source: Rayleigh, Theory of Sound, vol. 2, sections
    304 to 307 and appendix A.
    Checked by: cases/test_box_checks.
    """
    length = port.length + 2.0 * FLANGED_LENGTH * math.sqrt(port.area / math.pi)
    return air.sound_speed / (2.0 * math.pi) * math.sqrt(port.count * port.area / (volume * length))
