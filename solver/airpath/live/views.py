"""What the page is told, as plain data: the state of the case, its curves, its tones and its features."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from airpath.case.schema import Case
from airpath.case.problem import shown
from airpath.findings.explain import Feature
from airpath.findings.predict import Prediction
from airpath.findings.tones import ToneRow
from airpath.findings.wording import decibels, sig
from airpath.live.drawing import drawing
from airpath.live.parts import knobs, part_words, parts
from airpath.live.session import Session
from airpath.network.response import Response
from airpath.report.interactive import Charts, Flag, charts, columns
from airpath.report.style import plain, tidy

BEFORE, OPENINGS = "before this change", "openings"
_SHOWN_SENSITIVITIES = 3


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
        "can": {"undo": bool(session.history.done or session.history.open_step), "redo": bool(session.history.undone)},
        "parts": parts(case),
        "knobs": knobs(case, session.file_case),
        "drawing": drawing(case, part_words(case)),
        "text": session.text,
    }  # fmt: skip
