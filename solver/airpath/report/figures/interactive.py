"""Charts to read with a pointer, as plain data; ``charts.js`` draws them with BokehJS, in a report and on a live page.

A page holds the data as JSON and the scripts as text, so that nothing is fetched and Bokeh's Python side isn't needed.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from airpath.case.media import case_air
from airpath.case.schema import Case
from airpath.findings.airspeed import SPEED_LIMIT_SHARE
from airpath.network.response import Response
from airpath.report.style import INK, MODEL_STYLE, opening_style, plain, tidy

_FIDELITIES = ("lumped", "line", "field")
_LEVEL_RANGE_DB, _EXCURSION_RANGE = 50.0, 1e3
_DIGITS = 6
_Columns = dict[str, list[float]]


@dataclass(frozen=True, kw_only=True)
class Curve:
    """One line: ``column`` of a source over its "frequency"; ``label`` in the key, ``reading`` under the pointer."""

    source: str
    column: str
    label: str
    reading: str
    colour: str
    dash: list[float]
    width: float
    dots: bool = False


@dataclass(frozen=True, kw_only=True)
class Chart:
    """One chart: ``picture`` is the static figure that it stands in for, ``limits`` are level lines with their names.

    ``low``, ``high``: what the vertical axis shows; ``form``: how a value is written under the pointer.
    """

    name: str
    picture: str
    axis: str
    unit: str
    form: str
    low: float
    high: float
    height: int
    curves: list[Curve]
    scale: str = "linear"
    ticks: list[float] = field(default_factory=list)
    limits: list[tuple[float, str]] = field(default_factory=list)
    flags: bool = False


@dataclass(frozen=True, kw_only=True)
class Flag:
    """A numbered mark on the impedance: ``heading`` and ``words`` are read under the pointer."""

    number: int
    frequency: float
    impedance: float
    colour: str
    marker: str
    heading: str
    words: str


@dataclass(frozen=True, kw_only=True)
class Charts:
    """What a page draws: ``sources`` by name (a fidelity, or "before", "measured" ...), each with its columns."""

    sources: dict[str, _Columns]
    charts: list[Chart]
    tones: list[float]
    scale: float
    flags: list[Flag] = field(default_factory=list)

    def to_dict(self) -> dict[str, Any]:
        """Return it as ``charts.js`` takes it."""
        return asdict(self)

    def to_json(self) -> str:
        """Return it as JSON that can stand inside a script element."""
        return json.dumps(self.to_dict(), separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")

    def only(self, picture: str) -> Charts:
        """Return the charts of one picture alone, with the columns that they need."""
        kept = [chart for chart in self.charts if chart.picture == picture]
        needed = {"frequency", "full_size", *(curve.column for chart in kept for curve in chart.curves)}
        sources = {n: {c: v for c, v in columns.items() if c in needed} for n, columns in self.sources.items()}
        return replace(self, charts=kept, sources=sources)

    def with_flags(self, flags: list[Flag]) -> Charts:
        """Return the charts with these marks on the impedance."""
        return replace(self, flags=flags, charts=[replace(c, flags=c.name == "impedance") for c in self.charts])


def charts(case: Case, responses: Mapping[str, Response], tones: NDArray[np.float64]) -> Charts:
    """Return the charts of a case: impedance and phase, excursion, level, air speed where there are openings.

    ``responses``: by fidelity, simplest first, and by any other name for curves beside them; the openings are shown of
    the last fidelity. ``tones`` (n,) [Hz].
    """
    best = [name for name in responses if name in _FIDELITIES][-1]
    drawn = [*_impedance(responses), _excursion(case, responses), _level(responses, best)]
    if case.ports or case.horns:
        drawn.append(_air_speed(case, responses[best], best))
    return Charts(
        sources={name: columns(response, case.scale) for name, response in responses.items()},
        charts=drawn,
        tones=np.asarray(tones, float).tolist(),
        scale=case.scale,
    )


def columns(response: Response, scale: float = 1.0) -> _Columns:
    """Return a response as the columns of a source: Hz, ohm, degrees, mm, dB, m/s; openings by their index."""
    out = {
        "frequency": response.frequency,
        "full_size": response.frequency / scale,
        "impedance": np.abs(response.impedance),
        "phase": np.degrees(np.angle(response.impedance)),
        "excursion": response.excursion_peak * 1e3,
        "level": response.spl_db,
    }
    for i, (name, opening) in enumerate(response.openings.items()):
        share = response.share_db(name)
        if share is not None:
            out[f"level_{i}"] = share + response.spl_db
        out[f"speed_{i}"] = opening.air_speed_peak
    return {name: rounded(values) for name, values in out.items()}


def rounded(values: NDArray[np.float64]) -> list[float]:
    """Return numbers with so many digits as can be seen."""
    size = np.floor(np.log10(np.maximum(np.abs(values), 1e-300)))
    decimal = 10.0 ** (_DIGITS - 1 - size)
    out: list[float] = (np.round(values * decimal) / decimal).tolist()
    return out


def _style(style: Mapping[str, Any]) -> dict[str, Any]:
    """Return colour, dash [px] and width [px] of a figure's line."""
    width = 1.3 * style["linewidth"]
    dash = [] if style["linestyle"] == "solid" else [round(2.0 * part, 1) for part in style["linestyle"][1]]
    return {"colour": style["color"], "dash": dash, "width": round(width, 2)}


def _beside(name: str) -> dict[str, Any]:
    """Return the style of a curve beside the ones that matter, with the dashes of its fidelity."""
    dash = MODEL_STYLE.get(name, {}).get("linestyle", (0, (2, 1.5)))
    return {"color": "#7f8b96", "linestyle": dash, "linewidth": 1.2}


def _curves(responses: Mapping[str, Response], column: str, what: str) -> list[Curve]:
    return [
        Curve(source=name, column=column, label=name, reading=f"{what}, {_whose(name)}",
              **_style(MODEL_STYLE.get(name, _beside(name))))
        for name in responses
    ]  # fmt: skip


def _whose(name: str) -> str:
    return f"{name} model" if name in _FIDELITIES else name


def _impedance(responses: Mapping[str, Response]) -> list[Chart]:
    top = max(float(np.abs(r.impedance).max()) for r in responses.values())
    return [
        Chart(name="impedance", picture="impedance", axis="impedance (Ω)", unit="Ω", form="0.00", low=0.0,
              high=1.04 * top, height=300, curves=_curves(responses, "impedance", "impedance")),
        Chart(name="phase", picture="impedance", axis="phase (°)", unit="°", form="0", low=-95, high=95, height=150,
              ticks=[-90, -45, 0, 45, 90], curves=_curves(responses, "phase", "phase")),
    ]  # fmt: skip


def _excursion(case: Case, responses: Mapping[str, Response]) -> Chart:
    high = max(float(r.excursion_peak.max()) * 1e3 for r in responses.values())
    low = min(float(r.excursion_peak.min()) * 1e3 for r in responses.values())
    xmax = case.driver.xmax
    if xmax is not None:
        high = max(high, xmax * 1e3)
    return Chart(
        name="excursion", picture="excursion", axis="cone excursion, peak (mm)", unit="mm peak", form="0.000",
        low=max(low, high / _EXCURSION_RANGE) / 1.3, high=high * 1.3, height=260, scale="log",
        curves=_curves(responses, "excursion", "cone excursion"),
        limits=[] if xmax is None else [(xmax * 1e3, f"xmax {tidy(xmax * 1e3, 2)} mm")],
    )  # fmt: skip


def _level(responses: Mapping[str, Response], best: str) -> Chart:
    own = {"color": INK, "linestyle": "solid", "linewidth": 2.0}
    sums = [
        Curve(source=name, column="level", label=f"sum, {name}" if len(responses) > 1 else "sum",
              reading=f"level of all openings, {_whose(name)}", **_style(own if name == best else _beside(name)))
        for name in responses
    ]  # fmt: skip
    alone = [
        Curve(source=best, column=f"level_{i}", label=name, reading=f"level of {name} alone, {_whose(best)}",
              **_style(opening_style(i)))
        for i, (name, opening) in enumerate(responses[best].openings.items())
        if opening.pressure is not None
    ]  # fmt: skip
    shown = [_alone(responses[best], name) for name in responses[best].openings]
    high = max(float(values.max()) for values in (*(r.spl_db for r in responses.values()), *shown))
    return Chart(
        name="level", picture="level", axis="level (dB re 20 µPa)", unit="dB", form="0.0", low=high - _LEVEL_RANGE_DB,
        high=high + 2, height=320, curves=[*alone, *sums],
    )  # fmt: skip


def _alone(response: Response, name: str) -> NDArray[np.float64]:
    """Return the level of one opening alone [dB]; of a port inside the box that of the whole."""
    share = response.share_db(name)
    return response.spl_db if share is None else share + response.spl_db


def _air_speed(case: Case, response: Response, best: str) -> Chart:
    known = {*case.ports, *case.horns}
    openings = [(i, name) for i, name in enumerate(response.openings) if name in known]
    limit = SPEED_LIMIT_SHARE * case_air(case).sound_speed
    high = max(limit, *(float(response.openings[name].air_speed_peak.max()) for _, name in openings))
    return Chart(
        name="air-speed", picture="air-speed", axis="air speed, peak (m/s)", unit="m/s peak", form="0.00", low=0.0,
        high=1.06 * high, height=260, limits=[(limit, f"limit {plain(limit, 2)} m/s")],
        curves=[
            Curve(source=best, column=f"speed_{i}", label=name, reading=f"air speed in {name}, {_whose(best)}",
                  **_style(opening_style(i)))
            for i, name in openings
        ],
    )  # fmt: skip
