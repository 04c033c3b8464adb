"""What the page is told, as plain data: the state of the case, its tones and its features."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from typing import Any

from airpath.case.parameters import parameters
from airpath.case.problem import shown
from airpath.case.schema import Case
from airpath.findings.clean import CLEAN_NOTE, CleanRow
from airpath.findings.designs.cover import Covering
from airpath.findings.explaining.explain import Feature
from airpath.findings.predict import Prediction
from airpath.findings.rooms import Doors, solved_by
from airpath.findings.wording import capital, listing, sig
from airpath.live.drawing import drawing
from airpath.live.parts import knobs, little, part_words, parts, pretty
from airpath.live.session import Session
from airpath.network.response import SILENT_DB
from airpath.report.cells import port_cells, room_note, tone_cells
from airpath.report.pages.explained import flags
from airpath.report.style import signed

_SHOWN = 3  # features named of each knob
_FULL_SHADE_DB = 12.0


def state(session: Session) -> dict[str, Any]:
    """Return what the page shows of a case besides results: title, drawing, parts, knobs, what is not written yet."""
    case = session.case
    return {
        "what": "state",
        "title": case.title or case.name,
        "notes": case.notes,
        "scale": case.scale,
        "file": session.path.name,
        "fate": session.fate,
        "trouble": session.trouble,
        "unwritten": session.unwritten,
        "differences": [
            {"place": d.place, "was": "nothing" if d.was is None else shown(d.was),
             "now": "nothing" if d.now is None else shown(d.now)}
            for d in session.differences()
        ],
        "undo": session.history.can_undo,
        "redo": session.history.can_redo,
        "parts": parts(case),
        "shutting": _shutting(case),
        "knobs": knobs(case, session.file_case),
        "drawing": drawing(case, part_words(case)),
        "text": session.text,
    }  # fmt: skip


def _shutting(case: Case) -> str:
    """Return how openings are shut in the drawing, and which can't be."""
    ports = "Click the end of a port to shut it, and again to open it." if case.ports else ""
    mouths = [f'"{name}"' for name, horn in case.horns.items() if horn.to == "outside"]
    if not mouths:
        return ports
    horns = f"A case file has no cover for the mouth of {listing(mouths)}; the table of covered openings tells what one"
    return f"{ports} {horns} would do.".strip()


def results(prediction: Prediction) -> dict[str, Any]:
    """Return the tables of a prediction's highest fidelity: tones, ports, cautions."""
    return {
        "what": "results",
        "fidelity": prediction.best,
        "by": f"{capital(solved_by(prediction.case, prediction.best))}.",
        "tones": [tone_cells(prediction, row) for row in prediction.best_tones()],
        "tones_text": prediction.tones_text,
        "clean": [_clean(row) for row in prediction.clean],
        "clean_note": CLEAN_NOTE if any(row.limit for row in prediction.clean) else "",
        "parting": prediction.parting,
        "ports": [port_cells(prediction, name, row) for name, row in prediction.ports.items()],
        "brief": _brief(prediction),
        "cautions": prediction.warnings,
        "scale": prediction.case.scale,
        "room": None if prediction.doors is None else _room(prediction.doors),
    }


def _brief(prediction: Prediction) -> bool:
    """Whether the tables of ports and of the room follow."""
    case = prediction.case
    return bool(case.ports and not prediction.ports) or (case.room is not None and prediction.doors is None)


def _room(doors: Doors) -> dict[str, Any]:
    """Return the table of a room: level at the tones and its change against outdoors for every state of the door."""
    return {
        "tones": [f"{sig(hertz, 4)} Hz" for hertz in doors.tones_hz],
        "note": room_note(doors),
        "states": [
            {
                "label": state.label,
                "rings": "–" if state.helmholtz_hz is None else f"{sig(state.helmholtz_hz)} Hz",
                "cells": [
                    (f"{level:.1f} dB", f"{signed(gain)} dB")
                    for level, gain in zip(state.spl_db, state.gain_db, strict=True)
                ],
                "words": state.text,
            }
            for state in doors.states
        ],
    }


def _clean(row: CleanRow) -> str:
    level = "" if row.spl_db is None else f"{row.spl_db:.1f} dB at "
    return f"{sig(row.frequency_hz, 4)} Hz: {level}{row.text}."


def features(case: Case, found: list[Feature], fidelity: str) -> dict[str, Any]:
    """Return the numbered features with their causes, and how each knob moves them."""
    listed = [
        {
            "number": flag.number, "type": f.cause.type, "colour": flag.colour, "marker": flag.marker,
            "heading": flag.heading, "q": None if f.q is None else f"Q {sig(f.q, 2)}", "cause": f.cause.text,
            "seen_by": f"seen by {listing(list(f.seen_by))}", "advice": [advice.text for advice in f.advice],
        }
        for flag, f in zip(flags(found), found, strict=True)
    ]  # fmt: skip
    return {"what": "features", "fidelity": fidelity, "features": listed, "turns": _turns(case, found)}


def _turns(case: Case, found: list[Feature]) -> dict[str, str]:
    """Say of each knob how a small turn of it moves the features that it moves most."""
    known = parameters(case)
    words: dict[str, list[str]] = {}
    for number, f in enumerate(found, 1):
        for s in f.sensitivity:
            if s.parameter in known and len(words.get(s.parameter, [])) < _SHOWN:
                hertz = s.hz_per_unit * little(known[s.parameter])
                way = f"{'up' if hertz > 0 else 'down'} {sig(abs(hertz), 2)} Hz"
                words.setdefault(s.parameter, []).append(f"{f.kind} {number} goes {way}")
    return {
        name: f"{sig(little(known[name]))} {pretty(known[name].unit)}".strip() + f" more: {listing(moves)}."
        for name, moves in words.items()
    }


def covering(found: Covering) -> dict[str, Any]:
    """Return the matrix of covered openings: level and its change per state and tone, the best of each tone marked."""
    return {
        "what": "covering",
        "fidelity": found.model,
        "tones": [f"{sig(hertz, 4)} Hz" for hertz in found.tones_hz.tolist()],
        "states": [
            {
                "covered": list(state.covered),
                "now": set(state.covered) == {name for name in found.openings if _is_covered(found.case, name)},
                "name": listing([*state.covered]) if state.covered else "nothing",
                "cells": [
                    _cell(level, change, i == best)
                    for level, change, best in zip(state.spl_db, state.change_db, found.best, strict=True)
                ],
                "mean": _level(state.mean_spl_db), "best": i == found.best_mean, "words": state.text,
                "can_be": all(name in found.case.ports for name in state.covered),
            }
            for i, state in enumerate(found.states)
        ],
        "answer": found.answer, "notes": list(found.notes), "cautions": list(found.warnings),
    }  # fmt: skip


def _cell(level: float, change: float, best: bool) -> dict[str, Any]:
    """Return level and change in words; ``by``: the change from -1 to 1, for a shade."""
    by = max(-1.0, min(1.0, change / _FULL_SHADE_DB))
    told = "" if level < SILENT_DB else f"{signed(change)} dB"
    return {"level": _level(level), "change": told, "best": best, "by": by}


def _level(level: float) -> str:
    return "silent" if level < SILENT_DB else f"{level:.1f} dB"


def _is_covered(case: Case, name: str) -> bool:
    return name in case.ports and case.ports[name].covered


def pictures(found: Sequence[tuple[str, bytes]]) -> dict[str, Any]:
    """Return pictures that stand in the page itself, each with what it shows."""
    return {
        "what": "pictures",
        "pictures": [
            {"source": f"data:image/png;base64,{b64encode(data).decode()}", "words": words}
            for words, data in found
        ],
    }
