"""The table of a room's door: what is solved against the closed form, words that follow the numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from airpath.air import air_at
from airpath.case import load, parse
from airpath.case.scaling import scaled
from airpath.cli.main import main
from airpath.findings.designs.cover import cover
from airpath.findings.designs.rank import rank
from airpath.findings.designs.scaling import compare_scales
from airpath.findings.explaining.explanation import explanation
from airpath.findings.predict import predict
from airpath.findings.rooms import door_words, doors, helmholtz
from airpath.live.views import results
from airpath.network.respond import solve

BOOTH = Path(__file__).parents[2] / "cases" / "ticket-booth.toml"
BOX = (
    'tones = ["20 Hz", "60 Hz"]\n[driver]\nfs = "60 Hz"\nQms = 4.0\nQes = 0.45\nVas = "6 L"\nSd = "60 cm^2"\n'
    'Re = "5.6 ohm"\nrear = "box"\n[chambers.box]\nvolume = "5 L"\n'
)
C, RHO = air_at().sound_speed, air_at().density


def table(room: str, tones: list[float], more: str = ""):
    return door_table(parse(f"{BOX}[room]\n{room}\n{more}", Path("box.toml")), tones)


def door_table(case, tones):
    return doors(case, solve(case, "line", tones), solve(case, "line", [30.0, 300.0]))


def test_a_shut_room_lifts_by_twelve_decibels_an_octave():
    """2 pi r c^2/(w^2 V) against a source in half space (Kinsler et al., ch. 10, both fields)."""
    found = table('volume = "2 m^3"\nloss_q = 1000', [20.0, 40.0], '[listener]\ndistance = "0.7 m"\n')
    (shut,) = found.states
    expected = 20 * np.log10(2 * np.pi * 0.7 * C**2 / ((2 * np.pi * np.array([20.0, 40.0])) ** 2 * 2.0))
    assert shut.closed_form_db == pytest.approx(expected, abs=1e-4)
    assert shut.gain_db == pytest.approx(expected, abs=0.25)  # the room's air is a stiffer load on the cone
    assert (shut.label, shut.helmholtz_hz) == ("shut", None)
    assert found.first_mode_hz == pytest.approx(C / (2 * 2 ** (1 / 3)))


def test_an_open_door_rings_and_then_lets_go():
    """Well below the resonance the room adds 2 pi r l/S: the pressure of the door's plug alone."""
    area = 0.05
    a = np.sqrt(area / np.pi)
    length = a * (8 / (3 * np.pi) + 0.8216)
    found = table(f'volume = "2 m^3"\nloss_q = 1000\nopening = ["{area} m^2", "0 m^2", "{area} m^2"]', [3.0, 20.0])
    opened, shut = found.states  # each state once
    assert opened.helmholtz_hz == pytest.approx(C / (2 * np.pi) * np.sqrt(area / (2.0 * length)))
    assert opened.gain_db[0] == pytest.approx(20 * np.log10(2 * np.pi * length / area), abs=0.3)
    assert opened.gain_db[1] > opened.gain_db[0] + 6
    assert shut.gain_db[0] > opened.gain_db[0]


def test_losses_bound_the_resonance():
    """At it spring and plug cancel and Q times the spring's impedance is left."""
    found = table('volume = "2 m^3"\nloss_q = 5\nopening = "0.02 m^2"', [20.0])
    ring = found.states[0].helmholtz_hz
    at_it = table('volume = "2 m^3"\nloss_q = 5\nopening = "0.02 m^2"', [ring]).states[0]
    expected = 20 * np.log10(5 * C**2 / ((2 * np.pi * ring) ** 2 * 2.0) * 2 * np.pi * 1.0)
    assert at_it.closed_form_db[0] == pytest.approx(expected, abs=1e-3)


def test_a_slot_counts_as_a_slot():
    """The same area as a narrow slot holds less air: the room rings higher (Rayleigh: mass of an aperture)."""
    round_, slot = (
        table(f'volume = "2 m^3"\nopening = "0.1 m^2"\n{height}', [20.0]).states[0].helmholtz_hz
        for height in ("", 'opening_height = "1.9 m"')
    )
    assert slot > 1.3 * round_


def test_words_follow_the_numbers():
    found = table('volume = "1.2 m^3"\nopening = ["0.9 m^2", "0 m^2"]', [20.0, 60.0, 400.0])
    for state in found.states:
        high, low = int(np.argmax(state.gain_db)), int(np.argmin(state.gain_db))
        assert f"lifts {found.tones_hz[high]:g} Hz" in state.text
        assert f"lowers {found.tones_hz[low]:g} Hz" in state.text
    assert "at best" in found.doubt  # 400 Hz is above the first standing wave, and this is the line model
    assert not table('volume = "1.2 m^3"', [20.0]).doubt
    half = C / 2 / 1.2 ** (1 / 3) / 2
    assert not table('volume = "1.2 m^3"', [0.99 * half]).doubt
    assert f"From {half:.3g} Hz on" in table('volume = "1.2 m^3"', [1.01 * half]).doubt
    assert "shut" in found.states[1].text
    assert "open by 0.9" in found.states[0].text


def test_the_booth_shows_three_states(tmp_path, capsys):
    prediction = predict(load(BOOTH))
    assert prediction.best == "field"
    assert [state.label for state in prediction.doors.states] == ["1.2 m² open", "0.12 m² open", "shut"]
    first = [row.spl_db for row in prediction.best_tones()]
    assert prediction.doors.states[0].spl_db == pytest.approx(first)
    shut = prediction.doors.states[2]
    f = prediction.responses["field"].frequency
    assert np.interp(45.0, f, shut.curve_spl_db) == pytest.approx(shut.spl_db[1], abs=0.05)
    assert main(["predict", str(BOOTH), "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr().out
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert (tmp_path / "out" / "room.png").is_file()
    for state in prediction.doors.states:
        assert state.label in said
        assert state.label in page
    assert prediction.to_dict()["room"]["states"][2]["opening_m2"] == 0


def test_a_box_outdoors_has_no_door():
    assert door_table(parse(BOX, Path("box.toml")), [20.0]) is None


def test_what_is_missing_for_standing_waves_is_named(tmp_path, capsys):
    text = BOX + '[room]\nsize = ["2 m", "3 m", "2.4 m"]\nopening = "0.4 m^2"\n'
    (tmp_path / "box.toml").write_text(text, encoding="utf-8")
    assert main(["predict", str(tmp_path / "box.toml"), "--model", "field"]) == 2
    said = capsys.readouterr().err
    assert all(key in said for key in ("driver.front_at", "listener.at", "room.opening_at"))
    notes = predict(parse(text, tmp_path / "box.toml")).notes
    assert any("no place for driver.front_at" in note and f"{C / 6:.4g} Hz" in note for note in notes)


def test_helmholtz_is_the_textbooks():
    """f = 1/(2 pi sqrt(M C))."""
    room = parse(BOX + '[room]\nvolume = "2 m^3"\n', Path("box.toml")).room
    assert helmholtz(room, 3.0, air_at()) == pytest.approx(1 / (2 * np.pi * np.sqrt(3.0 * 2 / (RHO * C**2))))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('["0.55 m", "0.25 m", "0.9 m"]', '["0.03 m", "0.04 m", "0.9 m"]', "the cone at 0.03 x 0.04 x 0.9 m reaches"),
        ('opening_at = ["0.55 m"', 'opening_at = ["0.2 m"', "the opening of 1.2 m^2 at 0.2 x 1 x 1 m reaches through"),
    ],
)
def test_what_reaches_through_a_wall_is_refused(old, new, said, tmp_path, capsys):
    text = BOOTH.read_text(encoding="utf-8")
    assert old in text
    (tmp_path / "booth.toml").write_text(text.replace(old, new), encoding="utf-8")
    assert main(["predict", str(tmp_path / "booth.toml"), "--out", str(tmp_path / "out")]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


VENT = '[ports.vent]\nfrom = "box"\nto = "outside"\nlength = "10 cm"\ndiameter = "5 cm"\n'
ROOM = 'size = ["3 m", "2.2 m", "2.4 m"]\nopening = ["1.6 m^2", "0 m^2"]'


def test_the_doubt_names_what_this_room_lacks():
    """A room with a size is not told to give its size; one that has every place needs only the other model."""
    high = [30.0, 90.0]
    assert "give the room's size and every place in it" in table('volume = "15 m^3"', high).doubt
    lacking = table(ROOM, high).doubt
    assert "give driver.front_at, listener.at and room.opening_at for the field model" in lacking
    full = door_table(load(BOOTH), high).doubt
    assert full.endswith("at best; the field model has them.")


def test_from_half_its_first_standing_wave_on_a_room_is_no_spring():
    """What the sentence says, by the solved waves of a closed box in the booth: up to there about a decibel, then more.

    A port close to the cone needs no higher tone: below its tuning the two flows cancel, and what is left is their
    places.
    """
    booth = load(BOOTH)
    assert booth.room is not None
    tight = booth.room.model_copy(update={"opening": (0.0,), "leak": None})
    shut = booth.model_copy(update={"room": tight, "ports": {}})
    tones = door_table(shut, [100.0]).first_mode_hz * np.array([0.1, 0.25, 0.5, 0.8])
    state = doors(shut, solve(shut, "field", tones), solve(shut, "field", [30.0])).states[0]
    apart = np.abs(np.subtract(state.gain_db, state.closed_form_db))
    assert np.all(np.diff(apart) > 0)
    assert apart[1] < 0.5
    assert 0.8 < apart[2] < 1.2
    assert apart[3] > 3


def test_one_state_of_the_door_is_said_where_one_is_solved():
    case = parse(f"{BOX}{VENT}[room]\n{ROOM}\n", Path("box.toml"))
    words = "with the room's door open by 1.6 m², the first of its 2 states"
    assert door_words(case) == words
    assert cover(case, "line").answer.endswith(f" All of this {words}.")
    assert explanation(case, "line").by == f"by the line model, {words}"
    assert results(predict(case, ("line",)))["by"] == f"By the line model, {words}."
    toned = case.model_copy(update={"tones": (40.0,)})
    assert f'"box (1)" is heard {words}.' in rank([toned, toned], model="line").notes
    assert compare_scales(case, scaled(case, 2.0), model="line").sentences[-1] == f"All of this {words}."
    single = parse(f"{BOX}{VENT}[room]\nvolume = \"2 m^3\"\n", Path("box.toml"))
    assert door_words(single) == ""
    assert "door" not in cover(single, "line").answer


@pytest.mark.parametrize("space", ["", 'space = "quarter"'])
def test_a_listeners_space_is_not_used_in_a_room_and_that_is_said(space):
    case = parse(f'{BOX}[room]\nvolume = "2 m^3"\n[listener]\n{space}\n', Path("box.toml"))
    notes = [note for note in predict(case, ("line",)).notes if "listener.space" in note]
    assert len(notes) == (1 if space else 0)
