"""What the page is told, as plain data: the state of the case, its tones and its features."""

from __future__ import annotations

from typing import Any

from airpath.case.problem import shown
from airpath.findings.explain import Feature
from airpath.findings.predict import Prediction
from airpath.findings.tones import ToneRow
from airpath.findings.wording import decibels, listing, sig
from airpath.live.drawing import drawing
from airpath.live.parts import knobs, part_words, parts, pretty
from airpath.live.session import Session
from airpath.report.interactive import Flag
from airpath.report.style import plain

# Colour and mark of each kind of cause: told apart without colour too.
_LOOKS = {
    "driver": ("#1c2733", "circle"), "helmholtz": ("#14508c", "square"), "pipe": ("#c4681a", "triangle"),
    "chamber-mode": ("#7d3c78", "diamond"), "horn": ("#1f8a70", "inverted_triangle"), "leak": ("#a3262a", "hex"),
    "coil": ("#6b7783", "circle"),
}  # fmt: skip


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
        "undo": bool(session.history.done or session.history.open_step),
        "redo": bool(session.history.undone),
        "parts": parts(case),
        "knobs": knobs(case, session.file_case),
        "drawing": drawing(case, part_words(case)),
        "text": session.text,
    }  # fmt: skip


def results(prediction: Prediction) -> dict[str, Any]:
    """Return the tables of a prediction's highest fidelity: tones, ports, cautions, notes."""
    case = prediction.case
    return {
        "fidelity": prediction.best,
        "tones": [_tone(prediction, row) for row in prediction.best_tones()],
        "tones_text": prediction.tones_text,
        "parting": prediction.parting,
        "ports": [
            {"name": name, "tuning": row.tuning_text, "length": f"{plain(row.effective_length_m * 1e3)} mm",
             "speed": f"{plain(row.air_speed_peak_m_s, 2)} m/s", "limit": f"{plain(row.air_speed_limit_m_s, 2)} m/s",
             "over": row.air_speed_peak_m_s > row.air_speed_limit_m_s, "words": row.verdict}
            for name, row in prediction.ports.items()
        ],
        "cautions": prediction.warnings,
        "scale": case.scale,
    }  # fmt: skip


def _tone(prediction: Prediction, row: ToneRow) -> dict[str, Any]:
    case = prediction.case
    xmax = case.driver.xmax
    shares = sorted(((v, n) for n, v in row.share_db.items() if v is not None), reverse=True)
    hertz = f"{sig(row.frequency_hz, 4)} Hz"
    return {
        "tone": hertz if case.scale == 1 else f"{hertz} ({sig(row.frequency_hz / case.scale, 4)} Hz full size)",
        "impedance": f"{plain(row.impedance_ohm)} Ω",
        "excursion": f"{plain(row.excursion_peak_m * 1e3)} mm",
        "beyond": xmax is not None and row.excursion_peak_m > xmax,
        "held": f"{decibels(row.loading_db)} dB".replace("-", "−"),
        "level": f"{row.spl_db:.1f} dB",
        "work": [f"{name} {decibels(value)} dB".replace("-", "−") for value, name in shares],
        "words": f"{row.verdict[:1].upper()}{row.verdict[1:]}.",
    }


def features(found: list[Feature], fidelity: str) -> dict[str, Any]:
    """Return the numbered features with their causes, and how each knob moves them."""
    listed = [
        {
            "number": i + 1, "kind": f.kind, "type": f.cause.type, "colour": _LOOKS[f.cause.type][0],
            "marker": _LOOKS[f.cause.type][1], "frequency": f.frequency_hz, "hertz": f"{sig(f.frequency_hz)} Hz",
            "impedance": f"{sig(f.impedance_ohm)} Ω", "q": None if f.q is None else sig(f.q, 2),
            "cause": f.cause.text, "element": f.cause.element, "seen_by": f"seen by {listing(list(f.seen_by))}",
            "evidence": f.evidence, "advice": [str(getattr(a, "text", a)) for a in f.advice],
        }
        for i, f in enumerate(found)
    ]  # fmt: skip
    turns: dict[str, list[dict[str, Any]]] = {}
    for i, f in enumerate(found):
        for s in f.sensitivity:
            way = f"{'up' if s.hz_per_unit > 0 else 'down'} {sig(abs(s.hz_per_unit), 2)} Hz"
            words = f"{f.kind} {i + 1} at {sig(f.frequency_hz)} Hz moves {way}"
            turns.setdefault(s.parameter, []).append({"number": i + 1, "words": words, "unit": pretty(s.unit)})
    return {"what": "features", "fidelity": fidelity, "features": listed, "turns": turns}


def flags(found: list[Feature]) -> list[Flag]:
    """Return the marks of the features on the impedance chart."""
    return [
        Flag(
            number=i + 1, frequency=f.frequency_hz, impedance=f.impedance_ohm, colour=_LOOKS[f.cause.type][0],
            marker=_LOOKS[f.cause.type][1], words=f.cause.text,
            heading=f"{f.kind} at {sig(f.frequency_hz)} Hz, {sig(f.impedance_ohm)} Ω",
        )
        for i, f in enumerate(found)
    ]  # fmt: skip

