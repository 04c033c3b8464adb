"""What a report says, cell by cell: the same words on the page and on paper."""

from __future__ import annotations

from typing import Any

from airpath.case.schema import Case
from airpath.findings.ports import PortRow
from airpath.findings.predict import Prediction
from airpath.findings.rooms import Doors
from airpath.findings.tones import ToneRow
from airpath.findings.wording import capital, listing
from airpath.measured.reading.sweep import MeasuredSweep
from airpath.report.sketching.drawnspace import outlined
from airpath.report.style import plain, signed, tidy

_SUMMED_TONES = 4
_PIPES = 4  # resonances listed of one port
CAPTIONS = {
    "sketch": "The box as the case draws it, seen from the side.",
    "impedance": "Impedance at the terminals, size and phase.",
    "excursion": "How far the cone travels, one way.",
    "level": "Level at the listener: every opening alone, and their sum.",
    "air-speed": "How fast the air moves in the openings.",
    "room": "Level in the room for every state of its door, and of the same box outdoors.",
}


def summary(prediction: Prediction) -> str:
    """Return the findings as one paragraph in plain words."""
    case, rows = prediction.case, prediction.best_tones()
    volts, watts = f"{tidy(case.drive.voltage)}\u00a0V", case.drive.power
    drive = volts if watts is None else f"{tidy(watts)}\u00a0W into Re"
    place = f"at {tidy(case.listener.distance)} m" if case.listener.at is None else "at the listener"
    place = "in the room" if case.room is not None else place
    parts = [f"{_contents(case)}, driven with {drive}, heard {place}."]
    parts += [
        f"At {_hz(row.frequency_hz)}\u00a0Hz ({row.spl_db:.1f}\u00a0dB) {row.verdict}."
        for row in rows[:_SUMMED_TONES]
    ]
    if len(rows) > _SUMMED_TONES:
        parts.append(f"The table has {len(rows) - _SUMMED_TONES} more tones.")
    return " ".join([*parts, prediction.parting]).strip()


def _contents(case: Case) -> str:
    def some(number: int, what: str) -> str:
        words = ("no", "one", "two", "three", "four", "five", "six")
        return f"{words[number] if number < len(words) else number} {what}{'' if number == 1 else 's'}"

    kinds = ((len(case.chambers), "chamber"), (len(case.ports), "port"), (len(case.horns), "horn"))
    listed = [some(case.driver.count, "driver"), *(some(n, what) for n, what in kinds if n)]
    return f"A box with {listing(listed)}"


def _hz(value: float) -> str:
    return tidy(value, 4)


def tone_cells(prediction: Prediction, row: ToneRow) -> dict[str, Any]:
    """Return the cells of one tone, as texts."""
    case = prediction.case
    xmax = case.driver.xmax
    limits = {name: port.air_speed_limit_m_s for name, port in prediction.ports.items()}
    shares = sorted(((v, n) for n, v in row.share_db.items() if v is not None), reverse=True)
    return {
        "hz": _hz(row.frequency_hz),
        "full_hz": _hz(row.frequency_hz / case.scale),
        "impedance": f"{plain(row.impedance_ohm)} Ω",
        "phase": f"{_whole(row.phase_deg)}°",
        "excursion": f"{plain(row.excursion_peak_m * 1e3)} mm",
        "of_xmax": None if xmax is None else f"{plain(row.excursion_peak_m / xmax * 100, 2)} % of xmax",
        "beyond": xmax is not None and row.excursion_peak_m > xmax,
        "held": f"{signed(row.loading_db)} dB",
        "level": f"{row.spl_db:.1f} dB",
        "shares": [(name, f"{signed(value)} dB", name == row.leader) for value, name in shares],
        "speeds": [
            (name, f"{plain(value, 2)} m/s", name in limits and value > limits[name])
            for name, value in row.air_speed_peak_m_s.items()
        ],
        "verdict": row.verdict,
    }


def _whole(value: float) -> str:
    return f"{value:.0f}".replace("-", "−")


def port_cells(prediction: Prediction, name: str, row: PortRow) -> dict[str, Any]:
    """Return the cells of one port, as texts."""
    case, pipes = prediction.case, row.pipe_resonances_hz
    port = case.ports[name]
    listed = ", ".join(plain(hz) for hz in pipes[:_PIPES]) + " Hz" if pipes else "nothing in the band"
    if len(pipes) > _PIPES:
        listed += f" and {len(pipes) - _PIPES} more"
    far = f"none at {port.to}: covered" if port.covered else f"{plain(row.end_correction_to_m * 1e3)} mm at {port.to}"
    return {
        "name": name,
        "length": f"{plain(row.effective_length_m * 1e3, 4)} mm",
        "ends": (f"{plain(row.end_correction_from_m * 1e3)} mm at {port.from_}", far),
        "tuning": row.tuning_text,
        "full_tuning": f"{plain(row.tuning_hz / case.scale)} Hz" if row.tuning_hz and case.scale != 1 else None,
        "pipes": listed,
        "speed": f"{plain(row.air_speed_peak_m_s, 2)} m/s",
        "limit": f"{plain(row.air_speed_limit_m_s, 2)} m/s",
        "over": row.air_speed_peak_m_s > row.air_speed_limit_m_s,
        "verdict": row.verdict,
    }


def room_note(doors: Doors) -> str:
    """Return what the table of the room's door shows."""
    text = (
        "Level in the room, below it the change against the same box in free half space at "
        f"{plain(doors.distance_m)} m ({doors.model} model); the closed form takes the room as one spring and the air "
        f"in the door as one plug (formula). {doors.doubt}"
    ).strip()
    if len(doors.states) > 1:
        text += f" All other tables and curves are for the first state, {doors.states[0].label}."
    return text


def caption(prediction: Prediction, name: str, sweep: MeasuredSweep | None = None) -> str:
    """Return what stands below a figure."""
    case, text = prediction.case, CAPTIONS[name]
    if name == "sketch":
        text += " Ports and horns stand outside their chambers."
        if any(chamber.volume is not None for chamber in case.chambers.values()):
            text += " A chamber that has only a volume is drawn as a square of matching area."
        drawn = [name for name, chamber in case.chambers.items() if chamber.outline is not None]
        if any(outlined(case, name) is None for name in drawn):
            text += " A chamber with a solid mesh is a plain square here."
        if any(outlined(case, name) is not None for name in drawn):
            text += " A drawn chamber has its outline, with what joins it at its openings."
    elif name == "room" and prediction.doors is not None:
        text += f" By the {prediction.doors.model} model."
    elif name != "air-speed" and len(prediction.responses) > 1:
        text += f" Fidelities: {', '.join(prediction.responses)}."
    if name == "impedance" and sweep is not None:
        text += f" Round marks: measured, {sweep.source.name}."
    return text


def alternative(prediction: Prediction, name: str) -> str:
    """Return what the picture shows, for those who can't see it."""
    best = prediction.responses[prediction.best]
    low, high = tidy(float(best.frequency[0])), tidy(float(best.frequency[-1]))
    if name == "sketch":
        case = prediction.case
        joins = [f"{n} from {p.from_} to {p.to}" for n, p in case.ports.items()]
        joins += [f"horn {n} from {h.from_ or 'the driver'} to {h.to}" for n, h in case.horns.items()]
        sides = f"driver with its front to {case.driver.front} and its rear to {case.driver.rear}"
        return f"Side view: {'; '.join([sides, *joins])}."
    if name == "impedance":
        z = abs(best.impedance)
        what = f"between {plain(float(z.min()))} and {plain(float(z.max()))} ohm"
    elif name == "excursion":
        what = f"up to {plain(float(best.excursion_peak.max() * 1e3), 2)} mm"
    elif name == "level":
        what = f"up to {plain(float(best.spl_db.max()))} dB"
    elif name == "room" and prediction.doors is not None:
        what = f"up to {plain(max(float(state.curve_spl_db.max()) for state in prediction.doors.states))} dB"
    else:
        top = max(float(o.air_speed_peak.max()) for n, o in best.openings.items() if n != "cone")
        what = f"up to {plain(top, 2)} m/s"
    return f"Curves from {low} to {high} Hz. {CAPTIONS[name]} It runs {what}; the tones are marked."


def assumptions(prediction: Prediction) -> list[tuple[str, list[str]]]:
    """Return what the prediction took for granted, as pairs of a subject and its sentences."""
    case, air = prediction.case, prediction.air
    table = case.air
    out = [
        (
            "Air",
            f"{tidy(table.temperature - 273.15)} °C, {tidy(table.pressure / 1e3, 4)} kPa, "
            f"{tidy(table.relative_humidity * 100)} % humidity: density {plain(air.density, 4)} kg/m³, "
            f"sound speed {plain(air.sound_speed, 4)} m/s.",
        ),
        ("Fidelities", f"{', '.join(prediction.responses)}; the tables show the {prediction.best} model."),
        ("Level", f"{_space(case)}. Levels and voltages are RMS, excursion and air speed peak values."),
        ("Losses", _losses(case)),
    ]
    listed = [(subject, [sentence]) for subject, sentence in out]
    ends = [_ends(case, name, row) for name, row in prediction.ports.items()]
    notes = [f"{capital(note)}." for note in prediction.notes]
    return listed + [("End corrections", ends)] * bool(ends) + [("Notes", notes)] * bool(notes)


def _ends(case: Case, name: str, row: PortRow) -> str:
    port = case.ports[name]
    to = "none (covered)" if port.covered else f"{plain(row.end_correction_to_m * 1e3)} mm ({port.to_end})"
    return (
        f"{name}: {plain(row.end_correction_from_m * 1e3)} mm ({port.from_end}) at {port.from_}, {to} at {port.to}, "
        f"added to {tidy(port.length * 1e3)} mm."
    )


def _space(case: Case) -> str:
    if case.room is not None:
        return f"In a room of {tidy(case.room.known_volume)} m³"
    if case.listener.at is not None:
        return f"At the listener's place in {case.listener.space} space"
    return f"At {tidy(case.listener.distance)} m in {case.listener.space} space"


def _losses(case: Case) -> str:
    parts = ["Friction and heat exchange at the walls of ports and horns"]
    for name, chamber in case.chambers.items():
        own = f"absorption Q {tidy(chamber.loss_q)}" if chamber.loss_q else "heat exchange at the walls"
        if chamber.fill is not None:
            own += (
                f" and stuffing of {tidy(chamber.fill.flow_resistivity)} Pa·s/m² in "
                f"{tidy(chamber.fill.fraction * 100)} % of it"
            )
        parts.append(f'in chamber "{name}" {own}')
    return "; ".join(parts) + ". Walls are rigid, and the air is linear: no turbulence."
