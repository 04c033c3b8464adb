"""Checks of how the box is joined: names that lead nowhere, chambers left alone, air without a way out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from airpath.case.problem import MISSING, Problem, nearest
from airpath.case.schema import Case

OUTSIDE = "outside"
_DRIVER = "[driver]"  # a graph node that no name of a user can equal: it would be given in brackets


def name_problems(case: Case) -> list[Problem]:
    """Return names given twice and names that lead nowhere."""
    return [*_repeated(case), *_dangling(case)]


def path_problems(case: Case) -> list[Problem]:
    """Return loops onto the same space, horns fed wrongly, chambers left alone, air without a way out."""
    return [*_same_space(case), *_sides(case), *_throats(case), *_lonely(case), *_sealed(case)]


def _repeated(case: Case) -> Iterator[Problem]:
    seen: dict[str, str] = {} if case.room is None else {"room": ""}
    for table, names in (("chambers", case.chambers), ("ports", case.ports), ("horns", case.horns)):
        for name in names:
            if name in seen:
                other = f"{seen[name]}.{name}" if seen[name] else name
                expected = f"needs another name: [{other}] has this one already"
                yield Problem(table=f"{table}.{name}", key="", found=name, expected=expected)
            seen.setdefault(name, table)


def _dangling(case: Case) -> Iterator[Problem]:
    chambers, horns = list(case.chambers), list(case.horns)
    sides = [*chambers, *horns, OUTSIDE]
    yield from _unknown("driver", "front", case.driver.front, sides, "space")
    yield from _unknown("driver", "rear", case.driver.rear, sides, "space")
    for kind, tables in (("ports", case.ports), ("horns", case.horns)):
        for name, opening in tables.items():
            table = f"{kind}.{name}"
            if opening.from_ == OUTSIDE:
                expected = f'expected the name of a chamber; swap the ends: from = "{opening.to}", to = "outside"'
                if opening.to == OUTSIDE:
                    expected = f"expected the name of a chamber; {nearest(OUTSIDE, chambers, 'chamber')}"
                yield Problem(table=table, key="from", found=OUTSIDE, expected=expected)
            elif opening.from_ is not None:
                yield from _unknown(table, "from", opening.from_, chambers, "chamber")
            yield from _unknown(table, "to", opening.to, [*chambers, OUTSIDE], "space")


def _unknown(table: str, key: str, name: str, known: list[str], what: str) -> Iterator[Problem]:
    if name not in known:
        expected = f"expected the name of a {what}; {nearest(name, known, what)}"
        yield Problem(table=table, key=key, found=name, expected=expected)


def _same_space(case: Case) -> Iterator[Problem]:
    for kind, tables in (("ports", case.ports), ("horns", case.horns)):
        for name, opening in tables.items():
            if opening.from_ == opening.to:
                expected = f'expected another space than the one it starts in (from = "{opening.from_}")'
                yield Problem(table=f"{kind}.{name}", key="to", found=opening.to, expected=expected)


def _sides(case: Case) -> Iterator[Problem]:
    """Both sides of the cone on one space, and places along horns."""
    driver = case.driver
    for side, space, along in (
        ("front", driver.front, driver.front_along),
        ("rear", driver.rear, driver.rear_along),
    ):
        horn = case.horns.get(space)
        length = horn.known_length if horn is not None else None
        if along is not None and horn is None:
            expected = f'goes only where {side} names a horn ({side} = "{space}" is none)'
            yield _along(side, along, expected)
        elif along is not None and length is not None and along > length:
            yield _along(side, along, f"expected a place on the horn, which is {length * 1e3:g} mm long")
    if driver.front != driver.rear or driver.front == OUTSIDE:
        return
    if driver.front in case.horns:
        if (driver.front_along or 0.0) == (driver.rear_along or 0.0):
            expected = "expected two places on the horn: give front_along and rear_along different distances"
            yield Problem(table="driver", key="rear", found=driver.rear, expected=expected)
    elif case.chambers[driver.front].size is None or driver.front_at is None or driver.rear_at is None:
        expected = "expected another space than front; one chamber on both sides needs a size, front_at and rear_at"
        yield Problem(table="driver", key="rear", found=driver.rear, expected=expected)


def _along(side: str, along: float, expected: str) -> Problem:
    return Problem(table="driver", key=f"{side}_along", found=f"{along * 1e3:g} mm", expected=expected)


def _throats(case: Case) -> Iterator[Problem]:
    """A throat is fed by one thing; a closed throat needs the driver somewhere along the horn."""
    driver = case.driver
    for name, horn in case.horns.items():
        sides = [
            (side, along or 0.0)
            for side, space, along in (
                ("front", driver.front, driver.front_along),
                ("rear", driver.rear, driver.rear_along),
            )
            if space == name
        ]
        at_throat = [side for side, along in sides if along == 0.0]
        if horn.from_ is not None and at_throat:
            expected = f'expected no chamber at a throat that the driver feeds ({at_throat[0]} = "{name}")'
            yield Problem(table=f"horns.{name}", key="from", found=horn.from_, expected=expected)
        if horn.from_ is None and not sides:
            expected = f'expected the chamber at the throat, or a driver side that feeds it (front = "{name}")'
            yield Problem(table=f"horns.{name}", key="from", found=MISSING, expected=expected)


def _links(case: Case, *, open_only: bool) -> Iterator[tuple[str, str]]:
    """Yield the pairs of places that something joins; ``open_only`` leaves out covered ports."""
    yield from ((_DRIVER, case.driver.front), (_DRIVER, case.driver.rear))
    for port in case.ports.values():
        if not (open_only and port.covered):
            yield port.from_, port.to
    for name, horn in case.horns.items():
        yield name, horn.to
        if horn.from_ is not None:
            yield horn.from_, name
    for name, chamber in case.chambers.items():
        if chamber.leak is not None:
            yield name, OUTSIDE


def _reached(links: Iterable[tuple[str, str]], start: str) -> set[str]:
    links, reached, fresh = list(links), {start}, {start}
    while fresh:
        fresh = {b for a, b in links if a in fresh} | {a for a, b in links if b in fresh}
        fresh -= reached
        reached |= fresh
    return reached


def _lonely(case: Case) -> Iterator[Problem]:
    reached = _reached(_links(case, open_only=False), _DRIVER)
    for name in case.chambers:
        if name not in reached:
            expected = "is left alone: no port, horn or driver side joins it to the driver's side of the box"
            yield Problem(table=f"chambers.{name}", key="", found=MISSING, expected=expected)


def _sealed(case: Case) -> Iterator[Problem]:
    if OUTSIDE not in _reached(_links(case, open_only=True), _DRIVER):
        expected = "the air needs a way from the driver to the outside: a side of it, an open port or a horn"
        yield Problem(table="driver", key="front", found=case.driver.front, expected=expected)
