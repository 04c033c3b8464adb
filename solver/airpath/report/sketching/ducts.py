"""Ports and horns as outlines on the sketch, with their names and dimensions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from airpath.case.openings import Port
from airpath.case.schema import Case
from airpath.network import passages
from airpath.network.horns import horn_way
from airpath.report.sketching.sheet import Point, Sheet
from airpath.report.style import ALARM, INK, shortened, tidy

DUCT_FILL = "#c9dcea"
_POINTS = 24
END = " end"  # after a duct's name: the part of the drawing where it opens


@dataclass(frozen=True, kw_only=True)
class Duct:
    """A port or horn: ``start`` and ``to`` name its spaces; ``along`` (n,) and ``halves`` (n,) are its outline [m].

    ``shown``: the drawn length [m]; ``by_driver``: its start is a side of the cone.
    """

    name: str
    start: str
    to: str
    along: tuple[float, ...]
    halves: tuple[float, ...]
    count: int
    covered: bool
    words: str
    by_driver: bool

    @property
    def shown(self) -> float:
        """Drawn length [m]."""
        return self.along[-1]

    @property
    def half(self) -> float:
        """Half of the largest drawn width [m]."""
        return max(self.halves)

    def draw(
        self, sheet: Sheet, start: Point, way: tuple[int, int], gap: float | None = None, squeeze: float = 1.0
    ) -> None:
        """Draw the duct from a point on a wall to the right, left or up.

        ``gap``: the length to fill [m]; ``squeeze``: a factor on the width where the wall is too small.
        """
        pull = 1.0 if gap is None else gap / self.shown
        # a hair's breadth would not show
        halves = np.maximum(np.array(self.halves) * squeeze, 0.02 * sheet.inch)
        along = np.array(self.along) * pull

        def put(distance: float, aside: float) -> Point:
            return (
                start[0] + way[0] * distance - way[1] * aside,
                start[1] + way[1] * distance + way[0] * aside,
            )

        one = [put(d, h) for d, h in zip(along, halves, strict=True)]
        other = [put(d, -h) for d, h in zip(along, halves, strict=True)]
        sheet.shape([*one, *reversed(other)], facecolor=DUCT_FILL, edgecolor="none")
        sheet.stroke(one)
        sheet.stroke(other)
        for i in range(1, min(self.count, 6)):
            side = (2 * i / min(self.count, 6) - 1) * halves
            sheet.stroke([put(d, s) for d, s in zip(along, side, strict=True)], linewidth=0.7)
        over = float(halves[-1]) + (0.04 * sheet.inch if self.covered else 0.0)
        self._draw_end(sheet, [put(along[-1], over), put(along[-1], -over)])

    def mark_end(self, sheet: Sheet, at: Point, half: float) -> None:
        """Draw the end of a duct that meets a chamber's wall from above."""
        self._draw_end(sheet, [(at[0] - half, at[1]), (at[0] + half, at[1])])

    def _draw_end(self, sheet: Sheet, line: list[Point]) -> None:
        sheet.part = f"{self.name}{END}"
        if self.covered:
            sheet.stroke(line, color=ALARM, linewidth=4)
        else:
            sheet.stroke(line, linewidth=0.7, linestyle=(0, (2, 2)), color=INK)
        sheet.part = self.name



def ducts_of(case: Case, longest: float) -> list[Duct]:
    """Return the case's ports and horns; those longer than ``longest`` [m] are shortened and say so."""
    fed = (case.driver.front, case.driver.rear)
    out = [_port(name, port, longest) for name, port in case.ports.items()]
    return out + [_horn(case, name, longest, name in fed) for name in case.horns]


def _port(name: str, port: Port, longest: float) -> Duct:
    if port.stations is not None:
        along = np.array([d for d, _ in port.stations])
        halves = np.sqrt(np.array([a for _, a in port.stations]) / np.pi)
        size = f"{_areas(port.stations)} × {_mm(port.length)} mm"
    else:
        section = passages.port_section(port)
        along, halves = np.array([0.0, port.length]), np.full(2, section.height / 2)
        if section.width is None:
            size = f"⌀{_mm(section.height)} × {_mm(port.length)} mm"
        else:
            size = f"{_mm(section.width)} × {_mm(section.height)} × {_mm(port.length)} mm"
    if port.flare_radius is not None and port.stations is None:
        along, halves = _flared(port, float(halves[0]))
    # count ports of one height are drawn as one bundle
    return _duct(
        name, port.from_, port.to, along, halves * (1 if port.stations else port.count), size, longest,
        count=port.count, covered=port.covered,
    )  # fmt: skip


def _flared(port: Port, half: float) -> tuple[np.ndarray, np.ndarray]:
    radius = port.flare_radius or 0.0
    turn = radius * np.sin(np.linspace(0, np.pi / 2, 8))
    grown = radius - np.sqrt(np.maximum(radius**2 - turn**2, 0.0))
    along, halves = np.array([0.0, port.length]), np.array([half, half])
    if port.from_end == "flared":
        along = np.concatenate([(radius - turn)[::-1], along[1:]])
        halves = np.concatenate([(half + grown)[::-1], halves[1:]])
    if port.to_end == "flared":
        along = np.concatenate([along[:-1], port.length - radius + turn])
        halves = np.concatenate([halves[:-1], half + grown])
    return along, halves


def _horn(case: Case, name: str, longest: float, by_driver: bool) -> Duct:
    horn, path = case.horns[name], horn_way(case, name)
    if horn.stations is not None:
        along, areas = np.array(horn.stations).T
        size = f"{_areas(horn.stations)} × {_mm(float(along[-1]))} mm"
    else:
        ends = np.cumsum([0.0, *(piece.length for piece in path.pieces)])
        along = np.linspace(0, path.length, _POINTS)
        place = np.clip(np.searchsorted(ends, along, side="right") - 1, 0, len(path.pieces) - 1)
        areas = np.array([path.pieces[i].area(np.array([x - ends[i]]))[0] for i, x in zip(place, along, strict=True)])
        size = f"{_areas(((0.0, path.throat.area), (0.0, path.mouth.area)))} × {_mm(path.length)} mm"
        if path.drawn is not None:
            size += "\nthe drawn path, stretched out"
    start = horn.from_ or ""
    return _duct(name, start, horn.to, along, np.sqrt(areas / np.pi), size, longest, by_driver=by_driver)


def _duct(
    name: str, start: str, to: str, along: np.ndarray, halves: np.ndarray, size: str, longest: float, *,
    count: int = 1, covered: bool = False, by_driver: bool = False,
) -> Duct:  # fmt: skip
    words = f"{shortened(name, 18)}\n" + (f"{count} × " if count > 1 else "") + size
    if along[-1] > longest:
        along = along * (longest / along[-1])
        words += "\n(shortened)"
    if covered:
        words += "\ncovered"
    return Duct(
        name=name, start=start, to=to, along=tuple(along.tolist()), halves=tuple(halves.tolist()), count=count,
        covered=covered, words=words, by_driver=by_driver,
    )  # fmt: skip


def _areas(stations: tuple[tuple[float, float], ...]) -> str:
    ends = dict.fromkeys(tidy(stations[i][1] * 1e4) for i in (0, -1))
    return f"{'–'.join(ends)} cm²"


def _mm(length: float) -> str:
    return tidy(length * 1e3)
