"""Sentences about a folded path, made from its numbers."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from airpath.field.outline import LENGTH_UNITS, Outline
from airpath.findings.folding.expansion import LEAST_GROWTH
from airpath.findings.wording import listing, sig

if TYPE_CHECKING:
    from airpath.findings.folding.fold import Fold
    from airpath.findings.folding.foldrows import FoldRow

_NOTHING = 0.015  # differences of area below this are none
_LIKE_A_CONE = 10.0  # T of the hyperbolic family from which it says nothing more than a cone
_FITS_WELL = 0.10  # RMS of ln S


def describe(row: FoldRow, outline: Outline) -> str:
    """Return what one fold is, and which board puts it right."""
    side = "left" if row.turn_deg > 0 else "right"
    shorter = row.centre_length_m - row.length_m
    share = f"{100 * abs(shorter) / row.centre_length_m:.0f} % {'less' if shorter > 0 else 'more'}"
    meant = f"{_cm2(row.meant_m2)} is intended" if row.intended else f"the gap promises {_cm2(row.meant_m2)}"
    parts = [
        f"Fold {row.number} turns {abs(row.turn_deg):.0f} degrees to the {side} at {at(outline, row.place)}. Sound "
        f"takes {_mm(row.length_m)} where the centre line takes {_mm(row.centre_length_m)} ({share}), through "
        f"{_cm2(row.area_m2)} on average where {meant} ({_percent(row.area_error)})."
    ]
    parts.append(_remedy(row, outline))
    if row.reflection is not None:
        parts.append(_back(row))
    return " ".join(part for part in parts if part)


def _remedy(row: FoldRow, outline: Outline) -> str:
    board = row.restored
    if abs(row.area_error) < _NOTHING:
        return "That is as it should be."
    if board is None:
        return "No single board at this fold restores the area."
    if board.by_m == 0.0:
        return "That is as it should be to the millimetre."
    where, length = at(outline, (float(board.move.place[0]), float(board.move.place[1]))), _mm(abs(board.by_m))
    if board.move.kind == "bevel":
        what = f"Set a board across the outer corner at {where}, both of its ends {length} from the corner"
    else:
        what = f"{'Lengthen' if board.by_m > 0 else 'Shorten'} the board that ends at {where} by {length}"
    left = board.area_m2 / row.meant_m2 - 1.0
    solved = f"(solved again: {_cm2(board.area_m2)}, {_percent(left)})"
    if abs(left) < _NOTHING:
        return f"{what}: that restores the area {solved}."
    choked = board.move.kind == "tip" and board.by_m > board.move.most - 1e-3
    return f"{what}: that comes nearest {solved}{'; further in it would choke the turn' * choked}."


def _back(row: FoldRow) -> str:
    back = row.reflection
    assert back is not None
    if back.size - back.straight < 0.02:
        return f"Up to {_hz(back.highest_hz)} it turns back no more sound than a straight horn with the same ends."
    edge = ", the highest looked at" if back.frequency_hz > 0.999 * back.highest_hz else ""
    return (
        f"It turns back most at {_hz(back.frequency_hz)}{edge}: {100 * back.size:.0f} % of the sound pressure, a "
        f"straight horn with the same ends {100 * back.straight:.0f} %."
    )


def summary(found: Fold) -> tuple[str, ...]:
    """Return what the whole path is, in sentences."""
    return tuple(sentence for sentence in (
        _lengths(found), _meaning(found), _profile(found), _together(found), _parting(found), _across(found),
        _limits(found),
    ) if sentence)  # fmt: skip


def _lengths(found: Fold) -> str:
    horn, line = found.horn, found.centreline
    whose = "drawn" if line.drawn else "computed"
    length = float(horn.distance_m[-1])
    share = length / line.length_m - 1.0
    compare = "as long as"
    if abs(share) >= 0.005:
        compare = f"{100 * abs(share):.0f} % {'shorter' if share < 0 else 'longer'} than"
    what = "duct" if found.profiles[0].cutoff_hz is None else "horn"
    return (
        f"For sound much longer than the path is wide it is a {what} of {_m(length)}, {compare} the {whose} "
        f"centre line ({_m(line.length_m)}); it holds {sig(horn.volume_m3 * 1e3)} L. As a plug of air it equals "
        f"{_m(horn.inertance_length_m)} of a duct with the throat's area, {_cm2(horn.throat_area_m2)}."
    )


def _meaning(found: Fold) -> str:
    meant = found.source.intended
    if meant is None:
        return "No intended profile is given, so each fold is compared with the gap between its walls."
    length, throat = float(found.horn.distance_m[-1]), found.horn.throat_area_m2
    end = float(meant.area(np.array([meant.length]))[0])
    drawn = {"throat": throat, "mouth": found.horn.mouth_area_m2}
    text = f"Intended are {_m(meant.length)} from {_cm2(meant.throat)} to {_cm2(end)}"
    wanted = {"throat": meant.throat, "mouth": end}
    off = [name for name in drawn if abs(drawn[name] / wanted[name] - 1) > _NOTHING]
    if off:
        text += "; drawn are " + listing([f"{_cm2(drawn[name])} at the {name}" for name in off])
    if abs(length / meant.length - 1.0) > 0.01:
        share = length / meant.length - 1.0
        text += f"; to the air the path is {100 * abs(share):.0f} % {'shorter' if share < 0 else 'longer'} than that"
    return text + "."


def _profile(found: Fold) -> str:
    exponential, hyperbolic, conical = found.profiles
    if exponential.cutoff_hz is None:
        ends = found.horn.throat_area_m2, found.horn.mouth_area_m2
        if ends[1] < ends[0] / LEAST_GROWTH:
            return f"The path narrows from {_cm2(ends[0])} to {_cm2(ends[1])}: it is no horn, and has no cut-off."
        return "The path hardly widens: it is a duct, not a horn, and has no cut-off."
    assert hyperbolic.cutoff_hz is not None
    text = (
        f"The exponential horn that fits best has its cut-off at {_hz(exponential.cutoff_hz)} (areas off by "
        f"{100 * exponential.misfit:.0f} % RMS), "
    )
    if (hyperbolic.T or 0.0) < _LIKE_A_CONE:
        text += (
            f"the hyperbolic one with T = {sig(hyperbolic.T or 0.0, 2)} at {_hz(hyperbolic.cutoff_hz)} "
            f"({100 * hyperbolic.misfit:.0f} %), "
        )
    text += f"a cone has none ({100 * conical.misfit:.0f} %)"
    meant = found.source.intended
    if meant is not None and meant.curvature > 0.0:
        cut_off = meant.curvature**0.5 * found.source.air.sound_speed / (2.0 * math.pi)
        text += f"; the intended profile has it at {_hz(cut_off)}"
    best = min(fit.misfit for fit in found.profiles)
    text += ". None of them is near: at the folds the area jumps." if best > _FITS_WELL else "."
    rates = [rate * found.source.air.sound_speed / (4.0 * math.pi) for rate in found.stretches_per_m]
    if len(rates) > 1 and min(rates) > 1.0:
        where = listing([_hz(rate) for rate in rates])
        text += f" Outside the folds it flares like exponential horns with cut-offs at {where}, throat first."
    return text


def _together(found: Fold) -> str:
    boards = [row.restored for row in found.rows if row.restored is not None and row.restored.by_m != 0.0]
    if len(boards) < 2:
        return ""
    return "The boards named at the folds were moved all together before their areas were solved again."


def _parting(found: Fold) -> str:
    low = float(found.frequency[0])

    def since(hz: float | None) -> str:
        if hz is None:
            return f"nowhere up to {_hz(float(found.frequency[-1]))}"
        return f"at every frequency from {_hz(low)} on" if hz <= low * 1.001 else f"from {_hz(hz)} on"

    centre, line = found.parts["centreline"], found.parts["line"]
    if centre is None and line is None:
        return f"Neither line is off the field by more than 1 dB up to {_hz(float(found.frequency[-1]))}."
    text = f"At the throat the horn of the centre line is off the full field by more than 1 dB {since(centre)}"
    if line is None:
        return f"{text}; the equivalent horn is right to 1 dB up to {_hz(float(found.frequency[-1]))}."
    what = "folds and a wide mouth are" if found.rows else "the width is"
    other = "and so is the equivalent horn" if line == centre else f"the equivalent horn {since(line)}"
    return f"{text}, {other}: from there on {what} more than a matter of length and area."


def _across(found: Fold) -> str:
    return (
        f"Waves run across the widest place of the path from {_hz(found.cut_on_hz)} on; above that no line of any kind "
        "can be relied on."
    )


def _limits(found: Fold) -> str:
    text = "The mouth radiates as a piston in a wall; walls are rigid, and the air is linear."
    if found.source.stuffed:
        text += " Stuffing is left out."
    holes = len(found.source.outline.holes)
    if holes:
        parts = "part that stands" if holes == 1 else f"{holes} parts that stand"
        text += f" The areas along the centre line leave out the {parts} in the way."
    return text


def at(outline: Outline, place: tuple[float, float]) -> str:
    """Return a place in the drawing's own unit."""
    x, y = (round(v / LENGTH_UNITS.get(outline.unit, 1.0), 1) + 0.0 for v in place)
    return f"({x:g}, {y:g}) {outline.unit}"


def _mm(metres: float) -> str:
    return f"{metres * 1e3:.0f} mm"


def _m(metres: float) -> str:
    return f"{metres:.3f} m" if metres >= 0.1 else _mm(metres)


def _cm2(square_metres: float) -> str:
    return f"{sig(square_metres * 1e4)} cm²"


def _percent(share: float) -> str:
    text = f"{100 * share:+.0f} %" if abs(share) >= 0.095 else f"{100 * share:+.1f} %"
    return "0 %" if text in ("+0.0 %", "-0.0 %") else text


def _hz(hertz: float) -> str:
    return f"{sig(hertz)} Hz"
