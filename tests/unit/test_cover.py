"""cover: what it counts, what it says, and that what it says is what was solved."""

from __future__ import annotations

import csv
import html
import io
import json
import re
from pathlib import Path

import numpy as np
import pytest

from airpath.acoustics.hearing import a_weighting_db
from airpath.case import load
from airpath.cli.main import main
from airpath.errors import CaseError, FidelityError
from airpath.findings.airspeed import fastest_way
from airpath.findings.designs.cover import cover
from airpath.findings.designs.covertext import state_name
from airpath.network.respond import solve
from airpath.report.figures.covers import curve_names
from airpath.report.pages.coverpage import cover_csv, cover_page, cover_pictures
from airpath.report.style import svg
from known_boxes import BOXES, case, chamber, port
from random_boxes import as_case

CASES = Path(__file__).parents[2] / "cases"
DOUBLE = BOXES["double chamber"].model_copy(update={"tones": (34.0, 52.0, 80.0, 120.0)})


def many(count: int) -> str:
    return chamber("box", "30 L") + "".join(port(f"p{i}", "box", "outside", f"{60 + 20 * i} mm") for i in range(count))


def test_every_number_is_that_of_the_box_built_so() -> None:
    found = cover(DOUBLE, "line")
    assert [state.covered for state in found.states] == [(), ("nose",), ("rear",), ("nose", "rear")]
    before = solve(DOUBLE, "line", DOUBLE.tones)
    for i, state in enumerate(found.states):
        ports = {n: p.model_copy(update={"covered": n in state.covered}) for n, p in DOUBLE.ports.items()}
        built = DOUBLE.model_copy(update={"ports": ports})
        alone, band = solve(built, "line", built.tones), solve(built, "line")
        np.testing.assert_allclose(state.spl_db, alone.spl_db, atol=1e-8)
        np.testing.assert_allclose(state.change_db, alone.spl_db - before.spl_db, atol=1e-8)
        np.testing.assert_allclose(state.impedance_ohm, abs(alone.impedance), rtol=1e-9)
        np.testing.assert_allclose(state.excursion_peak_m, alone.excursion_peak, rtol=1e-9)
        np.testing.assert_allclose(state.loading_db, alone.loading_db, atol=1e-8)
        assert state.mean_spl_db == pytest.approx(sum(alone.spl_db) / 4, abs=1e-8)
        np.testing.assert_allclose(found.band.spl_db[i], band.spl_db, atol=1e-7)
        power = band.voltage * abs(band.current) * np.cos(np.angle(band.impedance))
        np.testing.assert_allclose(found.band.power[i], power, rtol=1e-8)
        assert set(state.air_speed_peak_m_s) == set(DOUBLE.ports) - set(state.covered)
        for name, speed in state.air_speed_peak_m_s.items():
            np.testing.assert_allclose(speed, alone.openings[name].air_speed_peak, rtol=1e-8)
        for name in state.covered:
            assert np.isnan(found.band.air_speed_peak[name][i]).all()


def test_the_sentence_says_who_is_left_and_where_the_tuning_goes() -> None:
    found = cover(DOUBLE, "line")
    low, high = found.states[0].dips_hz[0], found.states[2].dips_hz[0]
    assert high < low
    rear = found.states[2].text
    assert rear.startswith(
        f'With "rear" covered, "nose" sees both chambers: the lowest tuning falls from {low:.3g} to {high:.3g} Hz, '
    )
    change = found.states[2].change_db
    for worst in (max(change), min(change)):
        assert f"{worst:+.1f} dB at {DOUBLE.tones[change.index(worst)]:g} Hz" in rear
    closed = found.states[3]
    z = abs(found.band.impedance[3])
    assert '"main" and "tail" are closed: the box resonates at' in closed.text
    peak = float(closed.text.split("resonates at ")[1].split(" Hz")[0])
    assert peak == pytest.approx(found.band.frequency[z.argmax()], rel=0.01)
    assert "tuning" not in closed.text


def test_a_dip_is_where_the_solved_impedance_turns() -> None:
    for text, state in (("vented", 0), ("double chamber", 2)):
        found = cover(BOXES[text].model_copy(update={"tones": (50.0,)}), "line")
        ports = {
            n: p.model_copy(update={"covered": n in found.states[state].covered}) for n, p in BOXES[text].ports.items()
        }
        built = BOXES[text].model_copy(update={"ports": ports})
        dip = found.states[state].dips_hz[0]
        near = np.linspace(dip * 0.97, dip * 1.03, 601)
        assert dip == pytest.approx(near[abs(solve(built, "line", near).impedance).argmin()], rel=5e-4)


def test_best_is_the_loudest_and_of_equals_the_one_with_fewer_covers() -> None:
    found = cover(DOUBLE, "line")
    levels = np.array([state.spl_db for state in found.states])
    for j, i in enumerate(found.best):
        assert levels[i, j] >= levels[:, j].max() - 0.1
    means = levels.mean(axis=1)
    assert means[found.best_mean] >= means.max() - 0.1
    twins = case(chamber("box", "20 L") + port("a", "box", "outside", "90 mm") + port("b", "box", "outside", "90 mm"))
    same = cover(twins.model_copy(update={"tones": (30.0, 200.0)}), "line")
    np.testing.assert_allclose(same.states[1].spl_db, same.states[2].spl_db, atol=1e-9)
    assert 2 not in same.best


def test_what_is_marked_is_the_first_within_a_tenth_of_the_loudest() -> None:
    """No state with as many covers or fewer may show a level that the marked one does not reach."""
    found = cover(case(many(4)).model_copy(update={"tones": (34.0, 45.0, 60.0, 90.0)}), "line")
    columns = np.array([[*state.spl_db, state.mean_spl_db] for state in found.states]).T
    for levels, best in zip(columns, (*found.best, found.best_mean), strict=True):
        assert levels[best] > levels.max() - 0.1
        assert (levels[:best] <= levels.max() - 0.1).all()
    assert "within 0.1 dB the one with the fewest covers" in cover_page(found, {
        f"cover-{name}": b"<svg></svg>" for name in ("matrix", "level", "impedance", "excursion")
    })  # fmt: skip


def test_a_horn_fed_by_the_driver_is_never_said_to_be_covered_inside() -> None:
    horn = (
        '[horns.trumpet]\nprofile = "exponential"\nthroat = "90 cm^2"\nmouth = "600 cm^2"\nlength = "500 mm"\n'
        + chamber("back", "8 L")
    )
    fed = case(horn, front="trumpet", rear="back").model_copy(update={"tones": (60.0,)})
    found = cover(fed, "line", "inner")
    assert "inner end" not in found.states[-1].text
    assert "closed at its mouth" in found.states[-1].text
    assert "covered at the inner end" in cover(DOUBLE, "line", "inner").states[-1].text


def test_more_than_six_openings_give_singles_and_pairs() -> None:
    six, seven = cover(case(many(6)), "lumped"), cover(case(many(7)), "lumped")
    assert len(six.states) == 64
    assert len(seven.states) == 1 + 7 + 21
    assert any("128 combinations: singles and pairs" in note for note in seven.notes)
    assert not any("combinations" in note for note in six.notes)
    assert len(six.shown) == 24
    assert {0, six.best_mean, *six.best} <= set(six.shown)


def test_only_some_openings_are_covered_when_asked() -> None:
    found = cover(DOUBLE, "line", only=("rear",))
    assert [state.covered for state in found.states] == [(), ("rear",)]
    assert found.states[1].spl_db == pytest.approx(cover(DOUBLE, "line").states[2].spl_db)


def test_a_port_that_the_file_has_covered_takes_part() -> None:
    ports = {**DOUBLE.ports, "rear": DOUBLE.ports["rear"].model_copy(update={"covered": True})}
    found = cover(DOUBLE.model_copy(update={"ports": ports}), "line")
    np.testing.assert_allclose([s.spl_db for s in found.states], [s.spl_db for s in cover(DOUBLE, "line").states])
    assert any("The case has rear covered" in note for note in found.notes)


def test_a_box_without_openings_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = cover(BOXES["closed"])
    assert [state.covered for state in found.states] == [()]
    assert found.notes == ("This box has no port or horn that ends outside: there is nothing to cover.",)
    cover_page(found, {name: svg(figure) for name, figure in cover_pictures(found).items()})


def test_a_box_that_is_closed_all_round_is_silent() -> None:
    text = chamber("front", "5 L") + chamber("back", "12 L") + port("way", "front", "outside", "60 mm")
    found = cover(case(text, front="front", rear="back").model_copy(update={"tones": (60.0,)}), "line")
    assert found.states[1].text == (
        'With "way" covered, "front" is closed: nothing opens to the outside, no sound comes out.'
    )
    pages = cover_page(found, {name: svg(figure) for name, figure in cover_pictures(found).items()})
    assert "silent" in pages
    assert "-200" not in pages


def test_a_tuning_that_is_gone_is_not_said_to_move() -> None:
    text = chamber("front", "5 L") + chamber("back", "9 L") + port("a", "front", "outside", "80 mm")
    found = cover(case(text + port("b", "back", "outside", "140 mm"), front="front", rear="back"), "line")
    low, high = found.states[0].dips_hz[:2]
    assert abs(found.states[2].dips_hz[0] / high - 1) < 0.03
    assert f"the tuning at {low:.3g} Hz is gone, that at {high:.3g} Hz stays" in found.states[2].text


def test_of_many_states_the_ones_worth_it_are_told() -> None:
    found = cover(case(many(6)).model_copy(update={"tones": (40.0, 90.0)}), "lumped")
    told = [found.states[i].covered for i in found.told]
    assert all((name,) in told for name in found.openings)
    assert {(), found.openings, found.states[found.best_mean].covered} <= set(told)
    assert len(told) < 16
    page = cover_page(found, {name: svg(figure) for name, figure in cover_pictures(found).items()})
    shown = found.shown
    assert {0, found.best_mean, *found.best} <= set(shown)
    assert f"the other {len(found.states) - len(shown)} states are in the table" in page


def test_many_covers_are_named_by_what_is_left() -> None:
    found = cover(case(many(6)).model_copy(update={"tones": (40.0, 90.0)}), "lumped")
    text = {state.covered: state.text for state in found.states}
    assert text["p0",].startswith('With "p0" covered, the other five stay open: ')
    assert text["p0", "p1", "p2"].startswith('With "p0", "p1" and "p2" covered, "p3", "p4" and "p5" stay open: ')
    assert text[found.openings[:4]].startswith('With all but "p4" and "p5" covered, "p4" and "p5" stay open: ')
    assert text[found.openings[:5]].startswith('With all but "p5" covered, "p5" alone opens "box": ')
    assert text[found.openings].startswith('With all six covered, "box" is closed: ')
    some = cover(case(many(6)).model_copy(update={"tones": (40.0,)}), "lumped", only=found.openings[:4])
    assert some.states[-1].text.startswith('With all but "p4" and "p5" covered')


def test_curves_that_would_be_cut_to_one_name_have_a_letter_and_a_key() -> None:
    pipes = "".join(
        port(f'"pipe {i}"', "box", "outside", f"{60 + 40 * i} mm", f'diameter = "{60 - 5 * i} mm"') for i in range(5)
    )
    tones = (22.0, 30.0, 45.0)
    found = cover(case(chamber("box", "30 L") + pipes).model_copy(update={"tones": tones}), "lumped")
    names = curve_names(found)
    assert len(set(names.values())) == len(names)
    assert all(len(name) <= 16 for name in names.values())
    page = cover_page(found, {name: svg(figure) for name, figure in cover_pictures(found).items()})
    lettered = [i for i, name in names.items() if len(name) == 1]
    assert len(lettered) >= 2
    for i in lettered:
        assert f"; {names[i]}: {state_name(found.case, found.states[i].covered)}" in html.unescape(page)


def test_one_state_that_is_always_the_loudest_is_said_once() -> None:
    vented = case(chamber("box", "25 L") + port("vent", "box", "outside", "90 mm"))
    found = cover(vented.model_copy(update={"tones": (70.0, 90.0)}), "line")
    assert found.best == (0, 0)
    assert found.answer == (
        f"Loudest at every tone with all open. The mean over the tones is {found.states[0].mean_spl_db:.1f} dB."
    )
    low = cover(vented.model_copy(update={"tones": (20.0,)}), "line")
    gain, level = low.states[1].change_db[0], low.states[1].spl_db[0]
    assert gain > 3
    assert low.answer == f'Loudest at 20 Hz with "vent" covered (+{gain:.1f} dB). The level is {level:.1f} dB.'


def test_the_caution_for_ears_is_of_the_state_that_is_loudest_to_ears() -> None:
    """At a low tone one state is loudest, in dBA another one at a high tone is."""
    loud = case(many(3)).model_copy(update={"tones": (50.0, 400.0)})
    loud = loud.model_copy(update={"drive": loud.drive.model_copy(update={"voltage": 20.0})})
    found = cover(loud, "line")
    weighted = found.at_tones.spl_db + a_weighting_db(found.tones_hz)
    worst = int(weighted.max(axis=1).argmax())
    assert worst != int(found.at_tones.spl_db.max(axis=1).argmax())
    said = next(text for text in found.warnings if text.startswith("Hearing"))
    assert f"{weighted.max():.0f} dBA" in said
    names = found.states[worst].covered
    assert said.endswith(" covered." if names else "This is with all open.")
    assert all(f'"{name}"' in said for name in names)


def test_a_travel_hardly_beyond_xmax_shows_that_it_is() -> None:
    most = cover(DOUBLE, "line").at_tones.excursion_peak[:, 0].max()
    driver = DOUBLE.driver.model_copy(update={"xmax": float(most) / 1.004})
    said = next(t for t in cover(DOUBLE.model_copy(update={"driver": driver}), "line").warnings if "beyond xmax" in t)
    travel, limit = re.search(r"most, ([\d.]+) mm of ([\d.]+) mm", said).groups()  # type: ignore[union-attr]
    assert float(travel) > float(limit)


def test_a_loudest_state_beyond_xmax_is_called_so() -> None:
    driver = DOUBLE.driver.model_copy(update={"xmax": 1e-5})
    assert "beyond xmax at" in cover(DOUBLE.model_copy(update={"driver": driver}), "line").answer
    assert "beyond" not in cover(DOUBLE, "line").answer


def test_a_leak_that_is_left_is_named() -> None:
    text = BOXES["leak"].model_copy(update={"tones": (50.0,)})
    leaky = as_case(
        '[driver]\nfs = "44 Hz"\nQms = 4.6\nQes = 0.41\nVas = "16 L"\nSd = "130 cm^2"\nRe = "6.1 ohm"\n'
        'front = "outside"\nrear = "box"\n' + chamber("box", "25 L", 'leak = { diameter = "4 mm" }')
        + port("vent", "box", "outside", "90 mm")
    )  # fmt: skip
    assert text.chambers["box"].leak is not None
    assert '"box" is closed but for its leak: ' in cover(leaky, "line").states[1].text


def test_chambers_that_nothing_joins_are_closed_together() -> None:
    text = chamber("front", "5 L") + chamber("back", "9 L") + port("a", "front", "outside", "80 mm")
    found = cover(case(text + port("b", "back", "outside", "140 mm"), front="front", rear="back"), "line")
    assert '"front" and "back" are closed: nothing opens to the outside' in found.states[-1].text


def test_air_in_a_leak_is_not_called_the_fastest() -> None:
    """A hole of 4 mm has by far the fastest air in a linear model; what a builder can change is the port."""
    leaky = case(chamber("box", "25 L", 'leak = { diameter = "4 mm" }') + port("vent", "box", "outside", "90 mm"))
    found = cover(leaky.model_copy(update={"tones": (40.0,)}), "line")
    speeds = found.states[0].air_speed_peak_m_s
    assert speeds["box.leak"][0] > speeds["vent"][0]
    page = cover_page(found, {name: svg(figure) for name, figure in cover_pictures(found).items()})
    assert "m/s in vent" in page
    assert "m/s in box.leak" not in page
    assert fastest_way(leaky, {"box.leak": 9.0, "vent": 3.0}) == ("vent", 3.0)
    assert fastest_way(leaky, {"box.leak": 9.0}) is None


def test_a_box_with_one_state_has_no_other_to_tell_it_from() -> None:
    closed = case(chamber("box", "20 L"))
    loud = closed.model_copy(update={"tones": (90.0,), "drive": closed.drive.model_copy(update={"voltage": 60.0})})
    found = cover(loud, "line")
    assert found.warnings
    assert not [text for text in found.warnings if "all open" in text]


def test_excursion_and_air_speed_of_a_state_are_warned_of() -> None:
    driver = DOUBLE.driver.model_copy(update={"xmax": 1e-3})
    loud = DOUBLE.model_copy(update={"driver": driver, "drive": DOUBLE.drive.model_copy(update={"voltage": 20.0})})
    found = cover(loud, "line")
    travel = np.array([state.excursion_peak_m for state in found.states])
    for j, tone in enumerate(loud.tones):
        text = next(w for w in found.warnings if w.startswith(f"Excursion at {tone:g} Hz"))
        assert f"in {(travel[:, j] > 1e-3).sum()} of 4 states" in text
    assert any(w.startswith('Air in "nose"') and "over the usual limit of 17 m/s" in w for w in found.warnings)
    assert any(w.startswith("Hearing:") for w in found.warnings)
    worst = int(found.band.excursion_peak.max(axis=1).argmax())
    covered = " and ".join(f'"{name}"' for name in found.states[worst].covered)
    assert worst > 0  # a cover is what takes it farthest, so it has to be named
    told = next(w for w in found.warnings if w.startswith("Excursion: the cone passes xmax"))
    assert told.endswith(f"This is with {covered} covered.")
    assert not [w for w in cover(DOUBLE, "line").warnings if w.startswith("Air in")]


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"only": ("raer",)}, 'there is no opening "raer" to cover; "rear" is the nearest known opening'),
        ({"only": ("throat",)}, '"throat" leads to chamber "tail", where no hand reaches it'),
        ({"cap": "middle"}, 'cap = "middle": expected one of outer, inner'),
    ],
)
def test_wrong_questions_are_refused(asked: dict[str, object], words: str) -> None:
    with pytest.raises(CaseError, match=words.replace("[", r"\[")):
        cover(DOUBLE, "line", **asked)  # type: ignore[arg-type]
    with pytest.raises(FidelityError):
        cover(DOUBLE, "field")


def test_command_writes_its_folder_and_its_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = CASES / "rumble-bench.toml"
    assert main(["cover", str(path), "--model", "line", "--out", str(tmp_path / "out")]) == 0
    shown = capsys.readouterr().out
    assert 'With "rear" covered, "nose" sees both chambers' in shown
    written = {file.name for file in (tmp_path / "out").iterdir()}
    assert {"cover.html", "cover.json", "cover.csv", "cover-matrix.png", "cover-level.svg"} <= written
    assert main(["cover", str(path), "--model", "line", "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result == json.loads((tmp_path / "out" / "cover.json").read_text(encoding="utf-8"))
    assert result["tones_hz"] == [112.0, 128.0, 160.0, 288.0]
    for state in result["states"]:
        for key in ("spl_db", "change_db", "impedance_ohm", "excursion_peak_m"):
            assert len(state[key]) == 4, key
    assert main(["cover", str(path), "--only", "nosy"]) == 2
    assert '"nose" is the nearest known opening' in capsys.readouterr().err


def test_curves_file_has_a_column_for_every_state() -> None:
    found = cover(load(CASES / "rumble-bench.toml"), "lumped")
    rows = list(csv.DictReader(io.StringIO(cover_csv(found))))
    assert len(rows) == len(found.band.frequency)
    assert float(rows[10]["nose+rear.spl_db"]) == pytest.approx(found.band.spl_db[3, 10], rel=1e-6)
    assert "nose.rear.air_speed_peak_m_s" in rows[0]
    assert "nose.nose.air_speed_peak_m_s" not in rows[0]
