"""rank: the same tones and drive for all, plain arithmetic, and a tie where a millimetre could turn the order."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from airpath.case import Case, load
from airpath.case.media import case_air
from airpath.case.parameters import parameters
from airpath.cli.main import main
from airpath.errors import CaseError, FidelityError
from airpath.findings.airspeed import SPEED_LIMIT_SHARE
from airpath.findings.clean import clean_rows
from airpath.findings.designs.rank import CommonDrive, rank
from airpath.findings.designs.ranktext import place_words
from airpath.findings.designs.spread import spread_of
from airpath.network.respond import solve
from airpath.report.pages.rankpage import rank_page
from known_boxes import BOXES, case, chamber, port

CASES = Path(__file__).parents[2] / "cases"
TONES = (40.0, 55.0, 80.0, 120.0)
FILES = [str(CASES / f"buoy-{name}.toml") for name in ("round", "slot", "double")]


def box(name: str, tones: tuple[float, ...] = TONES, **changes: Any) -> Case:
    found = BOXES[name]
    return found.model_copy(update={"tones": tones, **changes})


def of_driver(found: Case, **values: Any) -> Case:
    return found.model_copy(update={"driver": found.driver.model_copy(update=values)})


def test_levels_mean_spread_and_worst_are_plain_arithmetic() -> None:
    """Arithmetic mean of dB (common practice): (80 + 90 + 97 + 93)/4 = 90, and so on, of the solved levels."""
    found = rank([box("vented"), box("double chamber")], CommonDrive(voltage=4.0), model="line")
    assert len(found.designs) == 2
    for design in found.designs:
        one = next(built for built in (box("vented"), box("double chamber")) if _fits(built, design.spl_db))
        a, b, c, d = solve(_at(one, 4.0), "line", TONES).spl_db
        assert design.spl_db == pytest.approx([a, b, c, d], abs=1e-9)
        assert design.mean_spl_db == pytest.approx((a + b + c + d) / 4, abs=1e-9)
        assert design.spread_db == pytest.approx(max(a, b, c, d) - min(a, b, c, d), abs=1e-9)
        assert design.worst_db == min(design.spl_db)
        assert design.worst_hz == TONES[design.spl_db.index(design.worst_db)]
    means = [design.mean_spl_db for design in found.designs]
    assert means == sorted(means, reverse=True)


def _at(found: Case, voltage: float) -> Case:
    return found.model_copy(update={"drive": found.drive.model_copy(update={"voltage": voltage, "power": None})})


def _fits(found: Case, levels: list[float]) -> bool:
    return bool(np.allclose(solve(_at(found, 4.0), "line", TONES).spl_db, levels, atol=1e-6))


def test_power_is_into_the_re_of_each() -> None:
    light, heavy = box("vented"), of_driver(box("vented"), Re=12.2)
    found = rank([light, heavy], CommonDrive(power=5.0), model="line")
    volts = sorted(design.voltage_v[0] for design in found.designs)
    assert volts == pytest.approx([np.sqrt(5.0 * 6.1), np.sqrt(5.0 * 12.2)])


def test_clean_drives_each_tone_to_its_first_limit() -> None:
    one, other = of_driver(box("vented"), xmax=2.5e-3), of_driver(box("double chamber"), xmax=2.5e-3)
    found = rank([one, other], CommonDrive(clean=True), model="line")
    for built in (one, other):
        rows = clean_rows(built, solve(built, "line", TONES))
        design = next(d for d in found.designs if d.spl_db == pytest.approx([r.spl_db for r in rows]))
        assert design.voltage_v == pytest.approx([r.voltage_v for r in rows])
        margins = [m.db for m in (design.excursion_margin, design.air_speed_margin) if m is not None]
        assert min(margins) == pytest.approx(0.0, abs=1e-9)
        xmax = built.driver.xmax or 0.0
        travel = solve(built, "line", TONES).excursion_peak * np.array(design.voltage_v) / built.drive.voltage
        assert design.excursion_margin is not None  # at the drive of each tone, not at the file's
        assert design.excursion_margin.db == pytest.approx(20 * np.log10(xmax / travel.max()))
    assert not [w for w in found.warnings if "beyond" in w or "over the" in w]


def test_a_horn_alone_limits_a_clean_level() -> None:
    horn = '[horns.way]\nto = "outside"\nprofile = "conical"\n'
    horn += 'throat = "60 cm^2"\nmouth = "300 cm^2"\nlength = "0.6 m"\n'
    built = case(chamber("box", "12 L") + horn, front="way").model_copy(update={"tones": TONES})
    found = rank([built, box("vented")], CommonDrive(clean=True), model="line")
    design = next(d for d in found.designs if d.air_speed_margin and d.air_speed_margin.element == "way")
    assert design.air_speed_margin.db == pytest.approx(0.0, abs=1e-9)


def test_a_port_in_which_no_air_moves_has_no_margin_and_sets_no_clean_level() -> None:
    """Air in a chamber that only the outside joins rests: nothing to divide by, nothing that limits a drive."""
    rests = chamber("box", "12 L") + chamber("other", "3 L") + port("lonely", "other", "outside", "100 mm")
    built = case(rests).model_copy(update={"tones": TONES})
    found = rank([built, box("closed")], CommonDrive(voltage=4.0), model="line")
    assert [design.air_speed_margin for design in found.designs] == [None, None]
    json.dumps(found.to_dict(), allow_nan=False)
    with pytest.raises(CaseError, match="an open port whose air moves"):
        rank([built, box("vented")], CommonDrive(clean=True), model="line")


def test_two_drivers_may_take_what_both_are_rated_for() -> None:
    """Twice the rating into both; more is warned of with both ratings together."""
    pair = of_driver(box("vented"), power=10.0, count=2)
    allowed, over = (
        rank([pair, box("double chamber")], CommonDrive(power=watts), model="line").warnings for watts in (19.0, 21.0)
    )
    assert not [text for text in allowed if "power rating" in text]
    assert [text for text in over if "21 W into Re, over the power rating (20 W)" in text]


def test_margins_are_what_is_left_of_the_limits() -> None:
    built = of_driver(box("double chamber"), xmax=2.5e-3)
    found = rank([built, box("vented")], CommonDrive(voltage=6.0), model="line")
    design = next(d for d in found.designs if d.excursion_margin is not None)
    response = solve(_at(built, 6.0), "line", TONES)
    assert design.excursion_margin.db == pytest.approx(20 * np.log10(2.5e-3 / response.excursion_peak.max()))
    limit = SPEED_LIMIT_SHARE * case_air(built).sound_speed
    fastest = max(built.ports, key=lambda n: response.openings[n].air_speed_peak.max())
    assert design.air_speed_margin.element == fastest
    speed = response.openings[fastest].air_speed_peak
    assert design.air_speed_margin.db == pytest.approx(20 * np.log10(limit / speed.max()))
    assert design.air_speed_margin.at_hz == TONES[int(speed.argmax())]
    other = next(d for d in found.designs if d is not design)
    assert other.excursion_margin is None
    volume = 20e-3 + np.pi / 4 * 0.06**2 * 0.1
    assert other.volume_m3 == pytest.approx(volume, rel=1e-9)


def test_beyond_a_limit_is_warned_of() -> None:
    loud = of_driver(box("vented"), xmax=1e-3, power=10.0)
    found = rank([loud, box("double chamber")], CommonDrive(voltage=25.0), model="line")
    mine = [w for w in found.warnings if "beyond xmax (1 mm)" in w]
    assert len(mine) == 1
    assert any("102 W into Re, over the power rating (10 W)" in w for w in found.warnings)
    assert any('m/s in "vent"' in w for w in found.warnings)
    assert any("Hearing:" in w for w in found.warnings)


def test_spread_is_the_change_of_the_mean_over_a_millimetre_and_five_per_cent() -> None:
    built = box("vented")

    def levels(changed: Case) -> Any:
        return solve(changed, "line", TONES).spl_db

    found = spread_of(built, levels)
    shorter, longer = (
        built.model_copy(update={"ports": {"vent": built.ports["vent"].model_copy(update={"length": length})}})
        for length in (0.099, 0.101)
    )
    by_hand = (levels(longer).mean() - levels(shorter).mean()) / 2
    assert found.dimensions["ports.vent.length"] == pytest.approx(by_hand, rel=1e-9)
    given = built.driver.model_copy(update={"fs": 44.0 * 1.05}), built.driver.model_copy(update={"fs": 44.0 * 0.95})
    up, down = (levels(built.model_copy(update={"driver": d})).mean() for d in given)
    assert found.driver["driver.fs"] == pytest.approx((up - down) / 2, rel=1e-9)
    parts = [*found.dimensions.values(), *found.driver.values()]
    assert found.whole == pytest.approx(np.sqrt(np.sum(np.square(parts))))
    assert "driver.Re" in found.driver
    assert found.between(found) == pytest.approx(np.sqrt(2 * sum(x**2 for x in found.dimensions.values())))


def test_a_millimetre_of_an_area_and_of_a_volume() -> None:
    every = parameters(load(CASES / "fog-signal.toml")) | parameters(box("vented"))
    litres = every["chambers.box.volume"]
    side = litres.value ** (1 / 3)
    three = [(side + 1e-3) * side**2 - side**3] * 3
    assert 1e-3 * litres.per_metre == pytest.approx(np.sqrt(np.sum(np.square(three))), rel=1e-6)
    assert every["ports.vent.diameter"].per_metre == 1.0


def test_designs_closer_than_a_millimetre_can_move_tie_and_others_do_not() -> None:
    def built(length: str) -> Case:
        return case(chamber("box", "20 L") + port("vent", "box", "outside", length)).model_copy(update={"tones": TONES})

    near = rank([built("100 mm"), built("100.3 mm")], model="line")
    assert [design.place for design in near.designs] == [1, 1]
    assert near.texts[0].startswith("Place 1 is a tie: ")
    far = rank([built("100 mm"), built("200 mm")], model="line")
    assert [design.place for design in far.designs] == [1, 2]
    assert not [text for text in far.texts if "tie" in text]
    gap = far.designs[0].mean_spl_db - far.designs[1].mean_spl_db
    assert f"by {gap:.1f} dB" in far.texts[-1]
    both = rank([built("100 mm"), built("200 mm"), built("100.3 mm")], model="line")
    assert sorted(design.place for design in both.designs) in ([1, 1, 3], [1, 2, 2])


def test_a_lead_hardly_larger_than_its_spread_shows_that_it_is() -> None:
    said = place_words([("a", 1, 90.0), ("b", 2, 89.76), ("c", 3, 80.0)], lambda i, j: 0.17)
    assert '"a" leads "b" by 0.24 dB; 1 mm and 5 % move their difference by 0.17 dB.' in said
    assert '"b" leads "c" by 9.8 dB; 1 mm and 5 % move their difference by 0.2 dB.' in said


def test_cases_of_different_scale_meet_at_full_size() -> None:
    full = box("vented", tones=(30.0, 45.0))
    model = full.model_copy(update={"scale": 2.0, "tones": (60.0, 90.0)})
    found = rank([model, full], CommonDrive(voltage=2.0), model="line")
    assert found.tones_hz == pytest.approx([30.0, 45.0])
    expected = {1.0: solve(_at(full, 2.0), "line", (30.0, 45.0)), 2.0: solve(_at(model, 2.0), "line", (60.0, 90.0))}
    assert sorted(d.spl_db[0] for d in found.designs) == pytest.approx(sorted(e.spl_db[0] for e in expected.values()))
    volumes = sorted(design.volume_m3 for design in found.designs)
    assert volumes[1] == pytest.approx(8 * volumes[0])
    assert any("Compared at full-size frequency" in note for note in found.notes)
    loud = rank([model, full], CommonDrive(voltage=80.0), model="line")
    assert any("(the 1:2 model, at its own frequencies): Hearing" in text for text in loud.warnings)


def test_designs_without_names_of_their_own_are_told_apart() -> None:
    found = rank([box("vented"), box("closed")], model="line")
    assert len({design.name for design in found.designs}) == 2


@pytest.mark.parametrize(
    ("cases", "asked", "words"),
    [
        ((box("vented"),), {}, "two cases or more"),
        ((BOXES["vented"], BOXES["closed"]), {}, "no case names tones: give them with --tones"),
        ((box("vented"), box("closed")), {"tones_hz": [40.0, 5000.0]}, "5000 Hz is outside its sweep, 15 Hz"),
        ((box("closed"), box("vented")), {"drive": CommonDrive(clean=True)}, "xmax is missing"),
    ],
)
def test_wrong_questions_are_refused(cases: tuple[Case, ...], asked: dict[str, Any], words: str) -> None:
    with pytest.raises(CaseError, match=words):
        rank(cases, **asked)
    with pytest.raises(FidelityError):
        rank([box("vented"), box("closed")], model="field")


def test_command_writes_its_folder_and_its_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rank", *FILES, "--out", str(tmp_path / "out")]) == 0
    shown = capsys.readouterr().out
    assert "Place 1" in shown
    assert "is a tie" in shown
    assert {f.name for f in (tmp_path / "out").iterdir()} == {"rank.html", "rank.json", "rank.png", "rank.svg"}
    assert main(["rank", *FILES, "--json"]) == 0
    result = json.loads(capsys.readouterr().out)
    assert result == json.loads((tmp_path / "out" / "rank.json").read_text(encoding="utf-8"))
    assert [d["place"] for d in result["designs"]] == [1, 2, 2]
    for wrong, words in (
        (["--voltage", "5"], "--voltage"), (["--power", "0 W"], "more than zero"), (["--tones", "40,60"], "--tones"),
    ):  # fmt: skip
        assert main(["rank", *FILES, *wrong]) == 2
        assert words in capsys.readouterr().err
    assert main(["rank", FILES[0]]) == 2
    assert "two cases or more" in capsys.readouterr().err


def test_page_marks_what_is_beyond() -> None:
    found = rank([load(Path(f)) for f in FILES], CommonDrive(power=40.0))
    page = rank_page(found, b"<svg/>")
    assert page.count("over the power rating (35 W)") == 3
    assert "2, tie" in page
    assert ", beyond" in page


def test_the_same_file_twice_or_from_two_folders_is_told_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Relative paths have a folder too; the name is the file's, and its folder's only where that tells them apart."""
    for folder in (tmp_path / "one", tmp_path / "two"):
        folder.mkdir()
        (folder / "box.toml").write_text(Path(FILES[1]).read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.chdir(tmp_path / "one")
    here, there = load(Path("box.toml")), load(Path("../two/box.toml"))
    assert {d.name for d in rank([here, here], model="lumped").designs} == {"box (1)", "box (2)"}
    assert {d.name for d in rank([here, there], model="lumped").designs} == {"one/box", "two/box"}


def test_a_margin_that_is_not_there_is_said_to_be_so() -> None:
    """A box without a port has no air speed to watch, which no file could have given."""
    found = rank([box("closed"), box("vented")], CommonDrive(voltage=4.0), model="lumped")
    row = rank_page(found, b"<svg></svg>").split("<tbody>")[1]
    assert "no open port" in row
    assert "no xmax given" in row


def test_many_tones_do_not_squeeze_the_numbers_out(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The terminal shows the first few columns whole and says so; no cell is cut to an ellipsis."""
    tones = ", ".join(f'"{45 + 5 * i} Hz"' for i in range(14))
    text = re.sub(r"(?m)^tones = .*$", f"tones = [{tones}]", Path(FILES[1]).read_text(encoding="utf-8"))
    text += '\n[room]\nvolume = "9 m^3"\nopening = ["1 m^2", "0 m^2"]\n'
    (tmp_path / "many.toml").write_text(text, encoding="utf-8")
    file, out = str(tmp_path / "many.toml"), ["--out", str(tmp_path / "out")]
    for command in (["rank", file, FILES[1]], ["cover", file], ["predict", file, "--model", "lumped"]):
        assert main([*command, *out]) == 0
        printed = capsys.readouterr().out
        assert "The first 5 of 14 tones; the report has them all." in printed
        assert "…" not in printed
