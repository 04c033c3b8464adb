"""Loading a case file: SI values, defaults, names unchanged, and messages that a builder can use."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from airpath.case import Case, load, parse
from airpath.errors import CaseError
from case_texts import DRAWN, INSIDE, ROUND, TAPPED, changed, toml, write

SMALL = """
title = "Ticket booth"
[driver]
fs = "62 Hz"
Qms = 4.1
Qes = 0.52
Vas = "1.9 L"
Sd = "55 cm^2"
Re = "3.4 ohm"
rear = "Kasse 1"
[chambers."Kasse 1"]
volume = "16 L"
"""


def refusal(text: str, name: str = "rumble.toml") -> str:
    with pytest.raises(CaseError) as refused:
        parse(text, Path(name))
    return str(refused.value)


def test_values_are_si(tmp_path: Path) -> None:
    case = load(write(tmp_path, ROUND))
    assert case.driver.Sd == pytest.approx(55e-4)
    assert case.driver.Le == pytest.approx(0.25e-3)
    assert case.air.temperature == pytest.approx(293.15)
    assert case.ports["nose"].from_ == "main"
    assert case.ports["nose"].from_at == pytest.approx((0.11, 0.05, 0.02))
    assert case.ports["taper"].area == pytest.approx(20e-4)
    assert case.ports["slot"].area == pytest.approx(6e-4)
    assert case.chambers["main"].known_volume == pytest.approx(0.42 * 0.3 * 0.333)
    assert case.horns["fog"].known_length == pytest.approx(1.4)
    assert case.tones == (112.0, 160.0)
    assert case.room is not None
    assert case.room.known_volume == pytest.approx(28.8)
    assert case.driver.given == pytest.approx({"fs": 62.0, "Qms": 4.1, "Qes": 0.52, "Qts": 0.46, "Vas": 1.9e-3})


def test_defaults() -> None:
    case = parse(SMALL, Path("booth.toml"))
    assert (case.scale, case.tones, case.measured, case.room) == (1.0, (), None, None)
    assert (case.air.temperature, case.air.pressure, case.air.relative_humidity) == (293.15, 101325.0, 0.5)
    assert (case.drive.voltage, case.drive.power, case.drive.source_resistance) == (2.83, None, 0.0)
    assert (case.sweep.start, case.sweep.stop, case.sweep.points_per_octave) == (20.0, 2000.0, 96)
    assert (case.listener.distance, case.listener.space) == (1.0, "half")
    assert (case.driver.front, case.driver.count, case.driver.wiring) == ("outside", 1, "parallel")
    assert list(case.chambers) == ["Kasse 1"]


def test_a_single_opening_of_a_room_counts_as_a_list_of_one(tmp_path: Path) -> None:
    room = load(write(tmp_path, TAPPED)).room
    assert room is not None
    assert room.opening == pytest.approx((0.4,))


def test_source_name_and_paths(tmp_path: Path) -> None:
    case = load(str(write(tmp_path, DRAWN)))
    assert case.source == tmp_path / "rumble.toml"
    assert case.name == "rumble"
    assert case.resolve("data/fold.dxf") == tmp_path / "data" / "fold.dxf"


def test_a_case_made_in_python_has_no_file() -> None:
    case = Case.model_validate({"driver": ROUND["driver"]})
    assert (case.source, case.name, case.resolve("x")) == (None, "case", Path("x"))


def test_a_case_is_frozen() -> None:
    case = parse(SMALL, Path("booth.toml"))
    with pytest.raises(ValidationError):
        case.title = "another"  # type: ignore[misc]
    with pytest.raises(ValidationError):
        case.driver.Sd = 1.0  # type: ignore[misc]


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ('"55 cm^2"', "55", '[driver] Sd = 55: an area needs its unit, as in "60 cm^2" (m^2, cm^2, mm^2, in^2, ft^2)'),
        ('"16 L"', '"16 mm"',
         '[chambers.Kasse 1] volume = "16 mm": "mm" is no unit of volume: a volume needs its unit, '
         'as in "38 L" (L, mL, m^3, cm^3, in^3, ft^3)'),
        ("title =", "titel =",
         'top of the file: titel = "Ticket booth": unknown key; "title" is the nearest known key'),
        ('Sd = "55 cm^2"', "", '[driver] Sd is missing: an area needs its unit, as in "60 cm^2" (m^2, cm^2, mm^2, '
         'in^2, '
         'ft^2)'),
        ('"16 L"', '"16000 m^3"', '[chambers.Kasse 1] volume = "16000 m^3": a volume here is from 1 mL to 10000 m^3'),
        ("Qms = 4.1", "Qts = 0.6",
         "[driver] Qts = 0.6: expected a value below Qes, since 1/Qts = 1/Qms + 1/Qes"),
        ("4.1", "4100", "[driver] Qms = 4100: expected a plain number from 0.05 to 200"),
        ('rear = "Kasse 1"', 'rear = "Kase"', '[driver] rear = "Kase": expected the name of a space; "Kasse 1" is the '
         'nearest known space'),
        ("[driver]", "[driver", "not valid TOML: Expected ']' at the end of a table declaration (at line 3, column 8)"),
        ('"16 L"', '"1 mL"\noutline = "x.toml"',
         '[chambers.Kasse 1] outline = "x.toml": expected exactly one of volume, '
         'size, outline (volume and outline are given)'),
    ],
)  # fmt: skip
def test_messages(old: str, new: str, message: str) -> None:
    assert old in SMALL
    assert refusal(SMALL.replace(old, new)) == f"rumble.toml: {message}"


def test_several_problems_stand_below_one_heading() -> None:
    lines = refusal(SMALL.replace('"55 cm^2"', "55").replace('"16 L"', "16")).splitlines()
    assert lines[0] == "rumble.toml: 2 problems"
    assert [line.split("]")[0] for line in lines[1:]] == ["  [driver", "  [chambers.Kasse 1"]


def test_at_most_six_problems_are_listed() -> None:
    lines = refusal("".join(f"key{number} = 1\n" for number in range(20)) + SMALL).splitlines()
    assert lines[0] == "rumble.toml: 20 problems"
    assert len(lines) == 8
    assert lines[-1] == "  and 14 more"


def test_a_file_cannot_steer_the_terminal() -> None:
    message = refusal('"\\u001b[31mred" = "\\u009b2J"\n' + SMALL)
    assert message.isprintable()


def test_very_long_and_deep_values_are_shortened() -> None:
    assert len(refusal("depth = " + "[" * 90 + "]" * 90 + SMALL)) < 300
    assert "a very long number" in refusal(f"scale = 0x{'f' * 9000}\n" + SMALL)
    assert "nested too deeply" in refusal("depth = " + "[" * 9000 + "]" * 9000)


def test_files_that_are_no_case_files(tmp_path: Path) -> None:
    (tmp_path / "latin.toml").write_bytes('title = "Brücke"'.encode("latin-1"))
    (tmp_path / "large.toml").write_bytes(b"#" * 1_000_001)
    for name, words in (
        ("latin.toml", "is not UTF-8"),
        ("large.toml", "larger than 1 MB"),
        ("none.toml", "No such file"),
        ("", "a folder was found"),
        ("a\0b", "cannot be read"),
    ):
        with pytest.raises(CaseError, match=words):
            load(tmp_path / name if "\0" not in name else name)


def test_byte_order_mark_and_line_ends_of_other_systems(tmp_path: Path) -> None:
    path = tmp_path / "booth.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert load(path) == parse(SMALL, path)


def test_files_named_by_the_case_must_exist(tmp_path: Path) -> None:
    for data, place in (
        (ROUND, ("measured",)),
        (DRAWN, ("chambers", "drawn", "outline")),
        (DRAWN, ("horns", "fold", "outline")),
    ):
        with pytest.raises(CaseError, match=rf'{place[-1]} = "data/none.x": expected a file that exists'):
            load(write(tmp_path, changed(data, place, "data/none.x")))


def test_values_are_shown_as_written() -> None:
    text = toml(changed(INSIDE, ("ports", "nose", "diameter"), "1.2 ft"))
    assert 'diameter = "1.2 ft": expected an opening' in refusal(text)
